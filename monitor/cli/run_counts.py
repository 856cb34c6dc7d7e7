"""What a headless watch saw, counted, for one JSON line at its end."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import asdict

import msgspec

from monitor.layout import Layout
from monitor.runtime import SummaryBuilder
from monitor.values import PortStatus, Step


class Tally:
    """Counts steps; a sink of the watch."""

    def __init__(self, layout: Layout) -> None:
        self._summary = SummaryBuilder(layout)
        self._events: dict[int, str] = {}
        self._warnings: dict[int, str] = {}
        self._findings: dict[int, str] = {}
        self._readings = 0
        self._scans = 0
        self._boards: set[str] = set()

    @property
    def anything_read(self) -> bool:
        """True once any board gave a reading."""
        return self._readings > 0

    def take(self, step: Step) -> None:
        """Take one step."""
        self._summary.add(step)
        self._events.update((event.id, event.cause.value) for event in step.events)
        self._warnings.update((warning.id, f"{warning.priority.word} {warning.rule}") for warning in step.warnings)
        self._findings.update((finding.id, finding.kind.value) for finding in step.findings)
        self._readings += sum(len(block) for block in step.readings)
        self._scans += sum(len(block.counts) for block in step.samples)
        self._boards.update(seen.board for seen in step.boards if seen.board is not None)

    def json_line(self, statuses: Sequence[PortStatus]) -> str:
        """The summary as one line; counts by kind, figures as in ``sift``'s summary, how the ports stood at the end."""
        return msgspec.json.encode(
            {
                "kind": "watched",
                "boards": sorted(self._boards),
                "scans": self._scans,
                "readings": self._readings,
                "warnings": dict(Counter(self._warnings.values())),
                "events": dict(Counter(self._events.values())),
                "findings": dict(Counter(self._findings.values())),
                "ports": [{"port": status.port, "state": status.state, "sentence": status.sentence} for status in statuses],
                **asdict(self._summary.build()),
            }
        ).decode()
