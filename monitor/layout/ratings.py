"""What nameplates and copper wire allow: usable volt-amperes, winding current, resistance and ampacity.

Sources: gauge sizes ASTM B258 (d = 0.127 mm x 92^((36 - n) / 39)); annealed copper 58 MS/m at 20 degrees Celsius and 0.00393 per
kelvin, IEC 60028; resistance over temperature with the zero-resistance temperature of -234.5 degrees Celsius, and the most that a
flexible wire of a nominal cross-section may have (class 5), IEC 60228. A gauge is taken as solid wire; stranded has 2-3 % more.
"""

import math
from typing import Literal

import numpy as np

from monitor.errors import LayoutError
from monitor.layout.schema import Feeder, Output, Supply

CONDUCTIVITY_S_PER_M = 58e6
ZERO_RESISTANCE_CELSIUS = -234.5
REFERENCE_CELSIUS = 20.0
CLASS_5_OHMS_PER_KM = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91}
"""By nominal square millimetres: most ohms a kilometre of plain flexible wire at 20 degrees (IEC 60228; 6 and 10 mm2 from memory)."""
WARM_CELSIUS = 40.0
"""What a feeder under a layout reaches on a busy evening: common practice, no published source."""

AMPACITY_OF_AWG = {10: 30.0, 12: 20.0, 14: 15.0, 16: 10.0, 18: 7.0, 20: 5.0, 22: 3.0, 24: 2.0}
"""Amps that a feeder may carry for long. 10-18 AWG: overcurrent limits of NEC 240.4(D) (from memory); thinner
ones from memory, common practice for short open wiring. Local codes come first."""


def awg_diameter_mm(awg: int) -> float:
    """Diameter of a solid wire of that gauge, millimetres."""
    return float(0.127 * 92 ** ((36 - awg) / 39))


def awg_area_mm2(awg: int) -> float:
    """Cross-section of a solid wire of that gauge, square millimetres."""
    return math.pi / 4 * awg_diameter_mm(awg) ** 2


def area_mm2(feeder: Feeder) -> float:
    """Cross-section of a feeder's wire, square millimetres.

    Raises:
        LayoutError: The feeder gives neither awg nor mm2.
    """
    if feeder.mm2 is not None:
        return feeder.mm2
    if feeder.awg is None:
        raise LayoutError("a feeder needs its wire: give awg or mm2", key="feeder")
    return awg_area_mm2(feeder.awg)


def ohms_per_m(cross_section_mm2: float, celsius: float = REFERENCE_CELSIUS) -> float:
    """Resistance of one metre of copper wire, ohms."""
    warmer = (celsius - ZERO_RESISTANCE_CELSIUS) / (REFERENCE_CELSIUS - ZERO_RESISTANCE_CELSIUS)
    return warmer / (CONDUCTIVITY_S_PER_M * cross_section_mm2 * 1e-6)


def wire_ohms_per_m(feeder: Feeder, celsius: float = REFERENCE_CELSIUS) -> float:
    """Resistance of one metre of a feeder's wire, ohms: of a gauge by its size, of square millimetres as flexible wire may have at most.

    Sizes between those of the standard take their share of the excess over solid copper.
    """
    excess = 1.0 if feeder.mm2 is None else float(np.interp(feeder.mm2, list(CLASS_5_OHMS_PER_KM), _CLASS_5_EXCESS))
    return ohms_per_m(area_mm2(feeder), celsius) * excess


def loop_ohms(feeder: Feeder, celsius: float = REFERENCE_CELSIUS) -> float:
    """Resistance out and back, ohms."""
    return 2 * feeder.one_way_m * wire_ohms_per_m(feeder, celsius)


_CLASS_5_EXCESS = [ohms * 1e-3 / ohms_per_m(mm2) for mm2, ohms in CLASS_5_OHMS_PER_KM.items()]


def ampacity_amps(feeder: Feeder) -> float:
    """Amps that the feeder may carry for long: of the next thinner listed gauge."""
    area = area_mm2(feeder)
    fitting = [amps for awg, amps in AMPACITY_OF_AWG.items() if awg_area_mm2(awg) <= area * 1.001]
    return max(fitting, default=1.0)


INPUT_EFFICIENCY = 0.75
"""Share of a primary-side rating that comes out. Common practice, no published source: 0.70-0.80 on old plates."""

TOY_LIMIT_VA, TOY_LIMIT_AMPS = 200.0, 10.0
"""Most that a toy transformer may be rated for (IEC 61558-2-7; these two are repeated in NEM 609:2010 section 6.1)."""
TOY_LIMIT_VOLTS = {"ac": 24.0, "dc": 33.0}
"""Highest rated output volts (IEC 61558-2-7)."""


def usable_va(supply: Supply) -> float:
    """Volt-amperes that all outputs together may give; a plate that rates the input is derated.

    A plate in watts is taken as volt-amperes: watts never exceed them (P <= S), so this errs on the safe side.
    """
    return supply.plate_va * (INPUT_EFFICIENCY if supply.rating_is == "input" else 1.0)


def winding_amps(supply: Supply) -> float:
    """Amps that the winding may carry at any throttle: the rating at the highest volts, since copper heats by current alone."""
    return usable_va(supply) / supply.max_volts


def safe_amps(supply: Supply) -> float:
    """Amps that a supply may give for long: what winding and protection both stand."""
    rated = supply.protection.rated_amps if supply.protection is not None else None
    return winding_amps(supply) if rated is None else min(winding_amps(supply), rated)


def output_amps(output: Output, supply: Supply) -> float:
    """Amps that one output may give for long: its own limit, else the winding's."""
    return output.max_amps if output.max_amps is not None else winding_amps(supply)


def output_current(output: Output, supply: Supply) -> Literal["ac", "dc"]:
    """What comes out of an output."""
    return output.current or supply.current


def output_volts(output: Output, supply: Supply) -> float:
    """The most volts of an output: what a constant one gives where that is known, else the supply's highest."""
    return output.volts if output.control == "constant" and output.volts is not None else supply.max_volts
