"""The picture: how everything stands at one moment."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from monitor.standing import DistrictNow, StandingWarning
from monitor.values import Action, BoardSeen, Event, Finding, Health, Pattern, Phasing, PortStatus, SlowFigure, SupplyLoad
from monitor.values import Warning as RaisedWarning


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
