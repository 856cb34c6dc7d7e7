"""Figures of power that follow from RMS volts, RMS amps, real power and peaks."""

from typing import Protocol

import numpy as np

from monitor.values.arrays import Floats


class _Measured(Protocol):
    """What the figures are made of; all of one shape."""

    @property
    def volts_rms(self) -> Floats: ...
    @property
    def amps_rms(self) -> Floats: ...
    @property
    def watts(self) -> Floats: ...
    @property
    def volts_peak(self) -> Floats: ...
    @property
    def amps_peak(self) -> Floats: ...


class PowerFigures:
    """What readings and aggregates have in common; each figure has the shape of what it is made of."""

    __slots__ = ()

    @property
    def volt_amperes(self: _Measured) -> Floats:
        """Apparent power S = Urms x Irms (IEEE 1459, single phase)."""
        return self.volts_rms * self.amps_rms

    @property
    def non_active_va(self: _Measured) -> Floats:
        """Non-active power N = sqrt(S2 - P2) (IEEE 1459)."""
        return np.sqrt(np.maximum(0.0, (self.volts_rms * self.amps_rms) ** 2 - self.watts**2))

    @property
    def power_factor(self: _Measured) -> Floats:
        """P / S; NaN where S is 0."""
        return _ratio(self.watts, self.volts_rms * self.amps_rms)

    @property
    def volts_crest(self: _Measured) -> Floats:
        """Peak over RMS of volts; NaN where RMS is 0."""
        return _ratio(self.volts_peak, self.volts_rms)

    @property
    def amps_crest(self: _Measured) -> Floats:
        """Peak over RMS of amps; NaN where RMS is 0."""
        return _ratio(self.amps_peak, self.amps_rms)


def _ratio(over: Floats, under: Floats) -> Floats:
    quotient = np.full(np.shape(under), np.nan)
    np.divide(over, under, out=quotient, where=np.asarray(under) > 0)
    return quotient
