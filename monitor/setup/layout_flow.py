"""The questions that make a layout: mains, supplies as their plates read, what each pair of a board's channels measures."""

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, cast

import msgspec

from monitor.errors import LayoutError
from monitor.layout import Board, District, Layout, Mains, Output, Protection, Supply
from monitor.planning.bench_questions import QUESTIONS, Question, answer_of
from monitor.setup.draft import FoundBoard, SetupDraft
from monitor.setup.interview import Flow
from monitor.setup.questions import BENCH, BOARDS, DISTRICTS, LAYOUT, SUPPLIES, Answer, SetupQuestion, figure_of
from monitor.values import Identity
from monitor.wire.reading_lines import line_channels

USUAL_BAUD = 500_000
PLANNED_BOARD = FoundBoard(
    name="bench-1", port="", baud=USUAL_BAUD, identity=Identity(number=0, name="bench-1", scan_interval_s=0.1, channels=())
)
"""Stands in where no board was found."""
NOT_USED = "-"
VOLTS_OF_50_HZ = 180.0
OPENS = (
    ("thermal", "a breaker that warms up: opens after some seconds, comes back by itself or by a button"),
    ("electronic", "cuts off or limits at once, comes back once the load is gone"),
    ("fuse", "a wire in a cartridge that burns through once"),
    ("none", "nothing: not to be used before a licensed practitioner or its maker says how it is protected"),
    ("unknown", "cannot tell, which is a good answer"),
)
NO_AMPS = frozenset({"", "none", "unknown"})
YES_NO = (("yes", ""), ("no", ""))
ASKED_BEFORE = ("protection.kind", "protection.rated_amps", "supply.input_volts", "supply.input_hertz")
"""Bench questions that the plate has answered."""


class LayoutFlow:
    """Asks for a layout; what came together so far is ``layout``.

    Args:
        draft: What boards there are, and what was typed.
        bench: Whether to ask the bench check too, before anything is energised.
    """

    def __init__(self, draft: SetupDraft, *, bench: bool = False) -> None:
        self._typed = draft.answers
        self._boards = draft.boards
        self._asks_bench = bench
        self._isolated: set[str] = set()
        self.layout = Layout(title="My layout", mains=Mains(volts=120, hertz=60))
        self.findings: dict[str, dict[str, Any]] = {}

    def flow(self) -> Flow:
        """All of it."""
        if self._asks_bench:
            yield [
                _ask("boards", BOARDS, "Is every board plugged in and sending?", takes="look", proposal="yes", check=self._check_boards,
                     note="Each port that is plugged in appears here with what its board says. Nothing is ever sent to a board.")
            ]  # fmt: skip
        title, volts, hertz = yield [
            _ask("title", LAYOUT, "What is the layout called?", card="layout", proposal="My layout"),
            _ask("mains.volts", LAYOUT, "Mains volts where you are?", card="layout", takes="figure", unit="V", limits=(90, 260)),
            _ask(
                "mains.hertz",
                LAYOUT,
                "Mains hertz?",
                card="layout",
                takes="figure",
                unit="Hz",
                limits=(15, 65),
                proposal=self._hertz(),
            ),
        ]
        self.layout = Layout(title=title, mains=Mains(volts=volts, hertz=hertz))
        more, n = True, 0
        while more:
            yield from self._supply(n)
            (more,) = yield [_ask(f"supply.{n}.more", SUPPLIES, "Is there another supply?", takes="yes or no", proposal="no")]
            n += 1
        boards = self._boards or (yield from _planned_boards())
        for board in boards:
            yield from self._board(board)

    def _hertz(self) -> str:
        """What mains of the volts typed usually have (common practice); nothing before they are."""
        try:
            return "60" if figure_of(self._typed.get("mains.volts", ""), "V", (0, 1000)) < VOLTS_OF_50_HZ else "50"
        except LayoutError:
            return ""

    def _check_boards(self, yes: Answer) -> None:
        if not (yes and self._boards):
            raise LayoutError(
                "nothing has come from a board yet: plug one in and wait until it is shown, or try it on the rehearsal board"
            )

    def _supply(self, n: int) -> Flow:
        at = f"supply.{n}"
        taken = tuple(supply.name for supply in self.layout.supply)
        name, current, rated, max_volts, side, input_volts, input_hertz = yield _plate_questions(at, taken)
        kind, amps = yield [
            _ask(f"{at}.protection", SUPPLIES, f"What opens in {name} when too much is drawn?", card=f"{at}.protection", takes="choice",
                 choices=OPENS, proposal="unknown"),
            _ask(f"{at}.protection_amps", SUPPLIES, "Its amps (empty where none are printed)?", card=f"{at}.protection",
                 takes="figure", unit="A", limits=(0.01, 10_000), optional=True, unless=(f"{at}.protection", NO_AMPS)),
        ]  # fmt: skip
        # Without its rating a protection limits nothing that could be judged: then it is as good as unknown.
        protection = Protection(kind=kind if amps or kind == "none" else "unknown", rated_amps=amps)
        in_watts = re.search("w", self._typed[f"{at}.rated"], re.IGNORECASE) is not None
        supply = Supply(
            name=name,
            current=current,
            rated_va=None if in_watts else rated,
            rated_watts=rated if in_watts else None,
            rating_is=side,
            max_volts=max_volts,
            input_volts=input_volts,
            input_hertz=input_hertz,
            protection=protection,
        )
        outputs = yield from self._outputs(at, name)
        self._put(supply=(*self.layout.supply, supply), output=(*self.layout.output, *outputs))
        if self._asks_bench:
            self.findings[name] = yield from _bench_answers(at)

    def _outputs(self, at: str, supply: str) -> Flow:
        card = f"{at}.outputs"
        (count,) = yield [
            _ask(f"{at}.outputs", SUPPLIES, f"How many outputs (pairs of posts) has {supply}?", card=card, takes="figure", limits=(1, 20),
                 proposal="1", check=_whole)
        ]  # fmt: skip
        keys = [f"{at}.output.{k}" for k in range(int(count))]
        questions = []
        for k, key in enumerate(keys):
            taken = tuple(self._typed.get(f"{each}.name", "") for each in keys[:k])
            questions += [
                _ask(f"{key}.name", SUPPLIES, f"Name of output {k + 1}, as marked?", card=f"{card}.names", taken=taken,
                     proposal=chr(ord("A") + k)),
                _ask(f"{key}.throttle", SUPPLIES, f"Does a throttle move output {k + 1}?", card=f"{card}.names", takes="yes or no",
                     proposal="yes" if k == 0 else "no"),
            ]  # fmt: skip
        values = yield questions
        return [
            Output(supply=supply, name=name, control="variable" if throttle else "constant")
            for name, throttle in zip(values[::2], values[1::2], strict=True)
        ]

    def _board(self, board: FoundBoard) -> Flow:
        pairs = list(enumerate(board.pairs, 1))
        values = yield [question for pair, channels in pairs for question in self._pair_questions(board, pair, channels)]
        rows = [values[3 * k : 3 * k + 3] for k in range(len(pairs))]
        supplies = list(dict.fromkeys(self._by_word[output].supply for name, output, _ in rows if name != NOT_USED))
        if len(supplies) > 1:
            (isolated,) = yield [
                _ask(f"board.{board.name}.isolated", DISTRICTS, f"Is every volts input of board {board.name} isolated from the others?",
                     takes="yes or no", proposal="no", note=f"It measures {' and '.join(supplies)}. Its common wire would join their "
                     "commons: only isolated inputs (firmware_notes/wiring.md) allow that. Otherwise each supply needs a board of its own.")
            ]  # fmt: skip
            if isolated:
                self._isolated.add(board.name)
            else:
                # Asked again with what may be answered: the outputs of one supply.
                yield [
                    question
                    for pair, channels in pairs
                    for question in self._pair_questions(board, pair, channels, only=supplies[0])
                ]
        self._take_board(board, rows)

    def _pair_questions(
        self, board: FoundBoard, pair: int, channels: tuple[int, int], only: str | None = None
    ) -> list[SetupQuestion]:
        at, card = f"pair.{board.name}.{pair}", f"pair.{board.name}.{pair}"
        outputs = tuple((word, "") for word, output in self._by_word.items() if only in (None, output.supply))
        named = [district.name for district in self.layout.district]
        taken = [self._typed.get(f"pair.{board.name}.{n}.name", "") for n in range(1, pair)]
        unless = (f"{at}.name", frozenset({NOT_USED}))
        place = (board.name, pair)
        return [
            _ask(f"{at}.name", DISTRICTS, f"Which district does pair {pair} of board {board.name} measure? '-' for none.", card=card,
                 taken=tuple(name for name in (*named, *taken) if name != NOT_USED), proposal=f"District {len(named) + pair}", place=place,
                 note=f"Pair {pair} is channels {channels[0]} (volts) and {channels[1]} (amps)."),
            _ask(f"{at}.output", DISTRICTS, "Which output feeds it?", card=card, takes="choice", choices=outputs, proposal=outputs[0][0],
                 unless=unless),
            _ask(f"{at}.use", DISTRICTS, "What hangs on it?", card=card, takes="choice", choices=(("track", "engines run on it"),
                 ("accessories", "lamps, motors, signals")), proposal="track", unless=unless),
        ]  # fmt: skip

    def _take_board(self, board: FoundBoard, rows: Sequence[Sequence[Answer]]) -> None:
        made = []
        for (volts_channel, amps_channel), (name, output, use) in zip(board.pairs, rows, strict=True):
            if name == NOT_USED:
                continue
            fed = self._by_word[str(output)]
            made.append(
                District(name=str(name), supply=fed.supply, output=fed.name, board=board.name, volts_channel=volts_channel,
                         amps_channel=amps_channel, use=cast("Any", use))
            )  # fmt: skip
        written = Board(
            name=board.name, number=board.identity.number, port=board.port or None, baud=board.baud, lines=board.lines,
            isolated_inputs=board.name in self._isolated,
        )  # fmt: skip
        self._put(board=(*self.layout.board, written), district=(*self.layout.district, *made))

    @property
    def _by_word(self) -> dict[str, Output]:
        """Every output by how it is written where one is chosen."""
        return {f"{output.supply} / {output.name}": output for output in self.layout.output}

    def _put(self, **parts: object) -> None:
        self.layout = msgspec.structs.replace(self.layout, **cast("Any", parts))


def _ask(key: str, chapter: str, text: str, *, card: str | None = None, **more: Any) -> SetupQuestion:  # noqa: ANN401 - of the question itself
    return SetupQuestion(key=key, chapter=chapter, text=text, card=card or key, **more)


def _plate_questions(at: str, taken: tuple[str, ...]) -> list[SetupQuestion]:
    """What stands on a plate, in the order in which the values are taken."""
    card, number = f"{at}.plate", len(taken) + 1
    parts: list[tuple[str, str, dict[str, Any]]] = [
        ("name", "Name of the supply?", {"taken": taken, "proposal": f"Bench {number}"}),
        ("current", "What comes out, ac or dc?", {"takes": "choice", "choices": (("ac", ""), ("dc", "")), "proposal": "ac"}),
        ("rated", "VA or W for all outputs together, as 180 VA or 60 W?", {
            "takes": "figure", "unit": "VA or W", "limits": (1, 100_000)}),
        ("max_volts", "Highest output volts?", {"takes": "figure", "unit": "V", "limits": (1, 1000)}),
        ("side", "Which side does the plate rate?", {
            "takes": "choice", "choices": (("output", "what it gives"), ("input", "what it takes from the mains, as some old ones")),
            "proposal": "output"}),
        ("input_volts", "Mains volts on the plate (120, or 110-120; empty where none)?", {
            "takes": "figures", "unit": "V", "limits": (50, 500), "optional": True}),
        ("input_hertz", "Hertz (cycles) on the plate (60, or 50/60; empty where none)?", {
            "takes": "figures", "unit": "Hz", "limits": (15, 440), "optional": True}),
    ]  # fmt: skip
    return [_ask(f"{at}.{key}", SUPPLIES, text, card=card, **more) for key, text, more in parts]


def _bench_answers(at: str) -> Flow:
    """The bench check of a supply, as far as its plate has not answered it; what was not looked at is left empty."""

    def asked(question: Question) -> SetupQuestion:
        words = YES_NO if question.takes == "yes or no" else tuple((word, "") for word in question.answers)
        return _ask(f"{at}.bench.{question.key}", BENCH, question.text, card=f"{at}.bench", takes="text", choices=words, optional=True,
                    check=lambda typed: answer_of(question, str(typed)) and None)  # fmt: skip

    wanted = [question for question in QUESTIONS if question.key not in ASKED_BEFORE]
    values = yield [asked(question) for question in wanted]
    found = {question.key: answer_of(question, typed or "") for question, typed in zip(wanted, values, strict=True)}
    return {key: value for key, value in found.items() if value is not None}


def _planned_boards() -> Flow:
    """Without a board: how many districts one will measure."""
    (count,) = yield [
        _ask(
            "planned",
            DISTRICTS,
            "How many districts is the board to measure?",
            takes="figure",
            limits=(1, 10),
            proposal="4",
            check=_whole,
        )
    ]
    channels = line_channels(int(count))
    return (msgspec.structs.replace(PLANNED_BOARD, identity=replace(PLANNED_BOARD.identity, channels=channels)),)


def _whole(value: Answer) -> None:
    if not isinstance(value, float) or not value.is_integer():
        raise LayoutError("give a whole number")
