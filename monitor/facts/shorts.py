"""Shorts: what amps and volts show that no load takes."""

import numpy as np
from numpy.typing import NDArray

from monitor.facts import thresholds as t
from monitor.values.arrays import Floats


def collapsed(amps: Floats, volts: Floats, usual_amps: Floats | float, usual_volts: Floats | float) -> NDArray[np.bool_]:
    """Amps that leapt while the volts collapsed."""
    return np.asarray((amps > t.SHORT_LEAP * usual_amps) & (volts < t.SHORT_COLLAPSED_SHARE * usual_volts))


def folded(amps: Floats, volts: Floats, usual_amps: Floats | float, usual_volts: Floats | float) -> NDArray[np.bool_]:
    """Amps that flow on though the volts are all but gone: a limiter that folds back into a short, however little it gives."""
    return np.asarray((amps > t.SHORT_FOLDED_AMPS_SHARE * usual_amps) & (volts < t.SHORT_FOLDED_VOLTS_SHARE * usual_volts))


def beyond(amps: Floats, volts: Floats, rated_amps: Floats | float, usual_volts: Floats | float) -> NDArray[np.bool_]:
    """Far more than the supply is made for, and some of the volts lost: a short on a stiff supply."""
    return np.asarray((amps > t.SHORT_BEYOND * rated_amps) & (volts < t.SHORT_BEYOND_SHARE * usual_volts))
