"""What a nameplate allows: usable volt-amperes and winding current."""

from monitor.layout.schema import Supply

INPUT_EFFICIENCY = 0.75
"""Share of a primary-side rating that comes out. Common practice, no published source: 0.70-0.80 on old plates."""


def usable_va(supply: Supply) -> float:
    """Volt-amperes that all outputs together may give; a plate that rates the input is derated.

    A plate in watts is taken as volt-amperes: watts never exceed them (P <= S), so this errs on the safe side.
    """
    return supply.plate_va * (INPUT_EFFICIENCY if supply.rating_is == "input" else 1.0)


def winding_amps(supply: Supply) -> float:
    """Amps that the winding may carry at any throttle: the rating at the highest volts, since copper heats by current alone."""
    return usable_va(supply) / supply.max_volts
