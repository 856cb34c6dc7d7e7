"""What a standing is made of: the latest figures, warnings, events and loads, as plain data."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from monitor.standing import thresholds as th
from monitor.values import Event, Finding, PortStatus, SupplyLoad
from monitor.values import Warning as RaisedWarning


@dataclass(frozen=True, slots=True, kw_only=True)
class DistrictNow:
    """The latest figures of one district: means over its last fifth of a second. None where nothing was measured.

    Attributes:
        name: Its name.
        age_s: Seconds since its last reading; None when none ever came.
        volts_rms: RMS volts.
        amps_rms: RMS amps.
        watts: Real power.
        volts_mean: DC volts.
        amps_mean: DC amps.
        volts_peak: Highest absolute volts.
        amps_peak: Highest absolute amps.
        far_volts_rms: RMS volts at the far end.
        frequency_hz: Mains frequency that the windows are locked to.
        findings: What stands against its sensing, newest first; a figure beside one of them is not good.
        volts_clipped: Volts stood at the end of the sensor's range: they, and all that is made of them, are lower bounds.
        amps_clipped: The same of amps.
        is_doubtful: Its sensing is known to be at fault, whatever findings say of it.
        stale_after_s: From which age on its figures are too old to be shown as live.
    """

    name: str
    age_s: float | None = None
    volts_rms: float | None = None
    amps_rms: float | None = None
    watts: float | None = None
    volts_mean: float | None = None
    amps_mean: float | None = None
    volts_peak: float | None = None
    amps_peak: float | None = None
    far_volts_rms: float | None = None
    frequency_hz: float | None = None
    findings: tuple[Finding, ...] = ()
    volts_clipped: bool = False
    amps_clipped: bool = False
    is_doubtful: bool = False
    stale_after_s: float = th.STALE_AFTER_S

    @property
    def is_stale(self) -> bool:
        """True where no reading came or the last one is too old to be shown as live."""
        return self.age_s is None or self.age_s > self.stale_after_s

    @property
    def is_good(self) -> bool:
        """True where nothing is known against its figures."""
        return not self.findings and not self.is_doubtful

    @property
    def power_clipped(self) -> bool:
        """True where its VA and watts are lower bounds."""
        return self.volts_clipped or self.amps_clipped

    @property
    def volt_amperes(self) -> float | None:
        """Apparent power S = Urms x Irms (IEEE 1459, single phase)."""
        return None if self.volts_rms is None or self.amps_rms is None else self.volts_rms * self.amps_rms


@dataclass(frozen=True, slots=True, kw_only=True)
class StandingWarning:
    """A warning with what operators did about it.

    Attributes:
        warning: The warning itself.
        acknowledged: Somebody has seen it.
        shelved_until_s: It is put aside until this moment of the stream; None where it is not.
    """

    warning: RaisedWarning
    acknowledged: bool = False
    shelved_until_s: float | None = None


class Seen(Protocol):
    """How everything was measured and judged at one moment; see :class:`monitor.runtime.Picture` for each field."""

    @property
    def now_s(self) -> float: ...  # noqa: D102
    @property
    def districts(self) -> Sequence[DistrictNow]: ...  # noqa: D102
    @property
    def warnings(self) -> Sequence[StandingWarning]: ...  # noqa: D102
    @property
    def past_warnings(self) -> Sequence[RaisedWarning]: ...  # noqa: D102
    @property
    def events(self) -> Sequence[Event]: ...  # noqa: D102
    @property
    def loads(self) -> Sequence[SupplyLoad]: ...  # noqa: D102
    @property
    def ports(self) -> Sequence[PortStatus]: ...  # noqa: D102
