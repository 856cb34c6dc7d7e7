"""Which districts really sagged when a load came on: judged on the model's own volts, before and after."""

from dataclasses import dataclass

from monitor.rehearsal.model_frame import SCANS_PER_TICK, Frame
from monitor.rehearsal.model_record import SlowRecord
from monitor.rehearsal.model_specs import BenchSpec
from monitor.rehearsal.truth import Truth
from monitor.values import Cause

CLEAR_SAG = 0.06
"""A fall of volts by this share, made by a load that is meant to, is a sag to be found."""
SLIGHT_SAG = 0.02
"""A fall by this share may be called a sag."""
START_SAG = 0.05
"""A fall by this share when trains start, seen by neighbours, may be called a sag."""
_TAIL_TICKS = 600


@dataclass(frozen=True, slots=True, kw_only=True)
class _Probe:
    district: int
    start_scan: int
    end_scan: int
    look_scan: int
    expected: bool
    neighbours_only: bool


class SagProbes:
    """Looks at volts around steps of load."""

    def __init__(self, spec: BenchSpec, truth: Truth) -> None:
        self._spec = spec
        self._truth = truth
        self._probes: list[_Probe] = []
        self._tail: list[list[float]] = []
        self._tail_scan = 0

    def watch(
        self,
        district: int,
        start_scan: int,
        end_scan: int,
        *,
        expected: bool = False,
        neighbours_only: bool = False,
        after_scans: int = 300,
    ) -> None:
        """A load comes on in a district at start_scan and stays until end_scan.

        Args:
            district: Where.
            start_scan: When.
            end_scan: When it goes.
            expected: A clear sag is a fault to be found, not a judgement call.
            neighbours_only: Leave the district itself out.
            after_scans: How long after the start volts are looked at.
        """
        look = min(start_scan + after_scans, end_scan)
        self._probes.append(
            _Probe(
                district=district,
                start_scan=start_scan,
                end_scan=end_scan,
                look_scan=look,
                expected=expected,
                neighbours_only=neighbours_only,
            )
        )

    def close_block(self, frame: Frame, record: SlowRecord) -> None:
        """Take the volts of a block and settle what can be settled."""
        self._tail = (self._tail + record.volts)[-_TAIL_TICKS:]
        self._tail_scan = frame.end_scan - len(self._tail) * SCANS_PER_TICK
        due = [probe for probe in self._probes if probe.look_scan < frame.end_scan]
        self._probes = [probe for probe in self._probes if probe.look_scan >= frame.end_scan]
        for probe in due:
            for district in self._spec.districts_of(self._spec.districts[probe.district].supply):
                if not (probe.neighbours_only and district == probe.district):
                    self._settle(probe, district)

    def _settle(self, probe: _Probe, district: int) -> None:
        before = self._mean(district, probe.start_scan - 300, probe.start_scan)
        after = self._mean(district, probe.start_scan + SCANS_PER_TICK, probe.look_scan)
        if before < 1.0 or after < 0.05 * before:
            return
        fall = 1 - after / before
        if fall >= (START_SAG if probe.neighbours_only else SLIGHT_SAG):
            optional = not (probe.expected and fall >= CLEAR_SAG)
            label = self._truth.note(Cause.SUPPLY_SAG, district, probe.start_scan, probe.end_scan, optional=optional)
            label.stays = True

    def _mean(self, district: int, start_scan: int, end_scan: int) -> float:
        low = max((start_scan - self._tail_scan) // SCANS_PER_TICK, 0)
        high = max((end_scan - self._tail_scan) // SCANS_PER_TICK, low + 1)
        rows = self._tail[low:high]
        return sum(row[district] for row in rows) / len(rows) if rows else 0.0
