"""Changing a layout that is there: a new engine, a moved wire, another fuse, zero and gain again."""

from collections.abc import Callable, Iterable
from typing import Any

import msgspec

from monitor.layout import Layout, parse_layout
from monitor.layout.check import check_isolation
from monitor.layout.edit import Plain, add_load, set_keys, set_protection
from monitor.setup.calibration_flow import CalibrationFlow
from monitor.setup.draft import FoundBoard, SetupDraft
from monitor.setup.interview import Flow, Walk, walk
from monitor.setup.layout_flow import NO_AMPS, OPENS
from monitor.setup.questions import SetupQuestion

CHAPTER = "A change"
CHANGES = (
    ("engine", "a new engine, lamps or accessories"),
    ("wire", "a district on another output, or measured by another pair of channels"),
    ("protection", "another fuse or breaker in a supply"),
    ("calibration", "zero and gain with a meter again"),
)


class ChangeSetup:
    """A change as far as its draft goes.

    Args:
        draft: What was typed and seen; its boards bear the layout's names.
        layout: As the file has it.

    Attributes:
        walk: The questions.
    """

    def __init__(self, draft: SetupDraft, layout: Layout) -> None:
        self._layout = layout
        self._boards = draft.boards
        self._calibration = CalibrationFlow(draft, layout)
        self._change: Callable[[str], str] = str
        self.walk: Walk = walk(self._flow(), draft.answers)

    def text(self, text: str) -> str:
        """The layout file with the change.

        Raises:
            LayoutError: What comes out is no layout, or joins the commons of two supplies on a board.
        """
        changed = self._change(text)
        check_isolation(parse_layout(changed))
        return changed

    def _flow(self) -> Flow:
        (what,) = yield [_ask("change", "What has changed?", takes="choice", choices=CHANGES)]
        yield from {"engine": self._engine, "wire": self._wire, "protection": self._protection, "calibration": self._calibrate}[
            what
        ]()

    def _engine(self) -> Flow:
        taken = tuple(load.name for load in self._layout.load)
        kinds = (("locomotive", ""), ("lighting", ""), ("accessory", ""))
        amps: dict[str, Any] = {"takes": "figure", "unit": "A", "limits": (0.001, 1000)}
        name, district, kind, running, starting = yield [
            _ask("load.name", "What is it called?", card="load", taken=taken),
            _ask(
                "load.district",
                "Where does it run?",
                card="load",
                takes="choice",
                choices=_words(d.name for d in self._layout.district),
            ),
            _ask("load.kind", "What is it?", card="load", takes="choice", choices=kinds, proposal="locomotive"),
            _ask(
                "load.running",
                "Amps when it runs?",
                card="load",
                **amps,
                note="Measured is best: pilotlamp learn, or Before the show.",
            ),
            _ask("load.starting", "Amps for a moment when it starts (empty: not known)?", card="load", **amps, optional=True),
        ]
        load = {"name": name, "district": district, "kind": kind, "running_amps": running}
        self._change = lambda text: add_load(text, load if starting is None else load | {"starting_amps": starting})

    def _wire(self) -> Flow:
        (name,) = yield [
            _ask(
                "wire.district",
                "Which district's wire moved?",
                takes="choice",
                choices=_words(d.name for d in self._layout.district),
            )
        ]
        row = next(district for district in self._layout.district if district.name == name)
        outputs = {f"{output.supply} / {output.name}": output for output in self._layout.output}
        pairs = {
            f"pair {pair} of {board.name}": (board.name, *both)
            for board in self._boards
            for pair, both in enumerate(board.pairs, 1)
        }
        here = (row.board, row.volts_channel, row.amps_channel)
        measured = next((word for word, place in pairs.items() if place == here), "as before")
        output, pair = yield [
            _ask("wire.output", "Which output feeds it now?", card="wire", takes="choice", choices=_words(outputs),
                 proposal=f"{row.supply} / {row.output}", note="Strip off before a wire is moved, and the meter at 0 V."),
            _ask("wire.pair", "Which pair measures it now?", card="wire", takes="choice", choices=_words({measured: here} | pairs),
                 proposal=measured),
        ]  # fmt: skip
        board, volts, amps = ({measured: here} | pairs)[pair]
        fed = outputs[output]
        values: dict[str, Plain] = {
            "supply": fed.supply,
            "output": fed.name,
            "board": board,
            "volts_channel": volts,
            "amps_channel": amps,
        }
        self._change = lambda text: set_keys(text, "district", name, values)

    def _protection(self) -> Flow:
        supplies = _words(supply.name for supply in self._layout.supply)
        name, kind, amps = yield [
            _ask("fuse.supply", "In which supply?", card="fuse", takes="choice", choices=supplies,
                 note="Never fit a larger one than plate or maker says; work inside a case is for a licensed practitioner."),
            _ask("fuse.kind", "What opens now when too much is drawn?", card="fuse", takes="choice", choices=OPENS),
            _ask("fuse.amps", "Its amps (empty where none are printed)?", card="fuse", takes="figure", unit="A", limits=(0.01, 10_000),
                 optional=True, unless=("fuse.kind", NO_AMPS)),
        ]  # fmt: skip
        self._change = lambda text: set_protection(text, name, kind if amps or kind == "none" else "unknown", amps)

    def _calibrate(self) -> Flow:
        yield from self._calibration.flow()
        self._change = self._calibration.text


def boards_of(layout: Layout, found: Iterable[FoundBoard]) -> tuple[FoundBoard, ...]:
    """Boards that were found, by the names that a layout gives them."""
    names = {(board.port, board.number): board.name for board in layout.board}
    return tuple(
        msgspec.structs.replace(each, name=names[each.port, each.identity.number])
        for each in found
        if (each.port, each.identity.number) in names
    )


def _words(words: Iterable[str]) -> tuple[tuple[str, str], ...]:
    return tuple((word, "") for word in words)


def _ask(key: str, text: str, *, card: str | None = None, **more: Any) -> SetupQuestion:  # noqa: ANN401 - of the question itself
    return SetupQuestion(key=key, chapter=CHAPTER, text=text, card=card or key, **more)
