"""What a nameplate allows: usable volt-amperes and winding current."""

from typing import Literal

from monitor.layout.schema import Output, Supply

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
