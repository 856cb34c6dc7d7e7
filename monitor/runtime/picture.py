"""The picture: how everything stands at one moment, for whoever looks."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.values import Action, BoardSeen, Event, Finding, Health, Pattern, Phasing, PortStatus, SlowFigure, SupplyLoad
from monitor.values import Warning as RaisedWarning

STALE_AFTER_S = 1.0
"""Older figures are never shown as live."""


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
    is_doubtful: bool = False
    stale_after_s: float = STALE_AFTER_S

    @property
    def is_stale(self) -> bool:
        """True where no reading came or the last one is too old to be shown as live."""
        return self.age_s is None or self.age_s > self.stale_after_s

    @property
    def is_good(self) -> bool:
        """True where nothing is known against its figures."""
        return not self.findings and not self.is_doubtful

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """How everything stands.

    Attributes:
        now_s: The moment, seconds of the stream.
        districts: In the order of the layout file.
        warnings: Those that stand: highest priority first, then newest first.
        past_warnings: Those that cleared lately, newest first.
        events: The latest ones, newest first; likewise marks.
        marks: Remarks of operators.
        patterns: As they now stand.
        phasings: As they now stand.
        slow_figures: What changes over an evening, the latest of each kind and name.
        findings: Those that go on or ended lately, newest first.
        loads: Every supply with what binds it, what is left, heat and forecast; empty before anything was judged.
        boards: Who said what of itself, by the name in the layout file, or by the board's own name where it has none.
        healths: By board number.
        ports: How it stands with each port.
        troubles: What is wrong with the watching program itself, a sentence each.
        recording: What the recorder says of itself; None while it said nothing.
        recording_is_well: False where something is wrong with it.
        muted_until_s: Sounds are muted until this moment of the stream; None where they are not.
        news: Counts up whenever events, samples around them, patterns, slow figures or marks came.
    """

    now_s: float
    districts: tuple[DistrictNow, ...]
    warnings: tuple[StandingWarning, ...] = ()
    past_warnings: tuple[RaisedWarning, ...] = ()
    events: tuple[Event, ...] = ()
    marks: tuple[Action, ...] = ()
    patterns: tuple[Pattern, ...] = ()
    phasings: tuple[Phasing, ...] = ()
    slow_figures: tuple[SlowFigure, ...] = ()
    findings: tuple[Finding, ...] = ()
    loads: tuple[SupplyLoad, ...] = ()
    boards: Mapping[str, BoardSeen]
    healths: Mapping[int, Health]
    ports: tuple[PortStatus, ...] = ()
    troubles: tuple[str, ...] = ()
    recording: str | None = None
    recording_is_well: bool = True
    muted_until_s: float | None = None
    news: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Wave:
    """The last samples of one district, n of them.

    Attributes:
        start_s: Time of the first one, seconds of the stream.
        interval_s: Seconds between two.
        volts: Shape (n,), volts.
        amps: Shape (n,), amps.
        volts_skew_s: From the start of a scan to the volts' conversion; amps_skew_s likewise.
        amps_skew_s: To the amps' conversion.
    """

    start_s: float
    interval_s: float
    volts: NDArray[np.float64]
    amps: NDArray[np.float64]
    volts_skew_s: float
    amps_skew_s: float
