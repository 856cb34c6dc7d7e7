"""The set-up as its page shows it: which card, how its questions stand, what the boards say just now."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from monitor.planning.bench_check import BenchVerdict
from monitor.planning.cautions import METER_CAUTIONS, cautions_at
from monitor.setup.desk_words import SetupView
from monitor.setup.draft import FoundBoard
from monitor.setup.interview import AskedQuestion, Walk
from monitor.setup.port_tap import BoardView
from monitor.setup.questions import BENCH, CALIBRATION, CHAPTERS, DISTRICTS, SUPPLIES, SetupQuestion

WRITE, FILE = "write", "Write the file"
RADIOS_LIMIT = 5
Json = dict[str, Any]
CAUTIONS: Mapping[str, Sequence[str]] = {
    SUPPLIES: cautions_at("bench")[:1],
    BENCH: cautions_at("bench")[:3],
    DISTRICTS: cautions_at("wiring")[:1],
    CALIBRATION: METER_CAUTIONS,
}
"""What matters while a chapter is answered."""
TITLES = {
    "plate": "What stands on the plate",
    "protection": "What protects it",
    "outputs": "Its outputs",
    "bench": "Bench check",
}
YES_NO = [["yes", ""], ["no", ""]]


def setup_state(walk: Walk, wanted: str, move: str, boards: Sequence[FoundBoard], view: SetupView | None) -> Json:
    """What the page's script draws.

    Args:
        walk: The questions.
        wanted: The card that was shown.
        move: "next", "back" or "stay".
        boards: Of the draft, for their names.
        view: How boards stand; None while nothing is known.
    """
    cards = cards_of(walk)
    names = [*cards, *([WRITE] if walk.finished else [])]
    shown = _shown(names, cards, wanted, move)
    chapter = FILE if shown == WRITE else cards[shown][0].question.chapter
    live = _live(view, boards)
    named = cards.get(live["moved_card"])
    if named is not None and not named[0].is_open:
        live |= {"moved": live["moved"].replace("which district is it?", f"that is {named[0].value}."), "moved_card": ""}
    now = {tuple(pair["place"]): pair["said"] for port in live["ports"] for pair in port["pairs"]}
    return {
        "card": shown,
        "cards": list(cards),
        "chapter": chapter,
        "chapters": [{"name": name, "card": _first(cards, name), "here": name == chapter} for name in _chapters(cards, walk)],
        "title": FILE if shown == WRITE else _title(cards, shown),
        "cautions": list(CAUTIONS.get(chapter, ())),
        "fields": [_field(asked, now) for asked in cards.get(shown, [])],
        "first": names.index(shown) == 0,
        **live,
    }


def cards_of(walk: Walk) -> dict[str, list[AskedQuestion]]:
    """Questions by card, in order; of one that was asked twice the later."""
    latest = {asked.question.key: asked for asked in walk.asked}
    cards: dict[str, list[AskedQuestion]] = {}
    for asked in latest.values():
        cards.setdefault(asked.question.card, []).append(asked)
    return cards


def verdict_words(verdicts: Iterable[BenchVerdict]) -> list[str]:
    """What the bench check says of supplies that are not fit, in words that keep a hand off the switch."""
    return [f"Do not switch {verdict.supply} on yet. {verdict.why}" for verdict in verdicts if not verdict.is_fit]


def spoken_now(view: SetupView | None) -> str:
    """Why nothing is heard, or what went wrong."""
    return "The ports are not read just now: is pilotlamp still running?" if view is None else view.trouble


def _shown(names: Sequence[str], cards: Mapping[str, Sequence[AskedQuestion]], wanted: str, move: str) -> str:
    """The card to show; forwards leads to what is open, and card by card once nothing is."""
    is_open = [name for name in names if any(asked.is_open for asked in cards.get(name, ()))]
    first_open = is_open[0] if is_open else names[-1]
    if wanted not in names:
        return first_open
    at = names.index(wanted)
    if move == "back":
        return names[max(at - 1, 0)]
    if move == "stay" or wanted in is_open:
        return wanted
    if is_open:
        return next((name for name in is_open if names.index(name) > at), first_open)
    return names[min(at + 1, len(names) - 1)]


def _chapters(cards: Mapping[str, Sequence[AskedQuestion]], walk: Walk) -> list[str]:
    known = list(dict.fromkeys(each[0].question.chapter for each in cards.values()))
    return [*(CHAPTERS if known[0] in CHAPTERS else known), *([FILE] if walk.finished else [])]


def _first(cards: Mapping[str, Sequence[AskedQuestion]], chapter: str) -> str:
    return WRITE if chapter == FILE else next((name for name, each in cards.items() if each[0].question.chapter == chapter), "")


def _title(cards: Mapping[str, Sequence[AskedQuestion]], shown: str) -> str:
    """What a card is about; of a supply's, which supply."""
    at, _, part = shown.removesuffix(".names").rpartition(".")
    plate = cards.get(f"{at}.plate")
    title = TITLES.get(part, cards[shown][0].question.chapter)
    return (
        f"{plate[0].value}: {title[0].lower()}{title[1:]}" if plate is not None and plate[0].value and part != "plate" else title
    )


def _field(asked: AskedQuestion, now: Mapping[tuple[str, int], Sequence[str]]) -> Json:
    question = asked.question
    choices = YES_NO if question.takes in ("yes or no", "look") else [list(choice) for choice in question.choices]
    volts_and_amps = now.get(question.place) if question.place is not None else None
    return {
        "key": question.key,
        "text": question.text,
        "shown_as": _shown_as(question, len(choices)),
        "keyboard": "decimal" if question.takes == "figure" and question.unit in ("V", "A", "Hz", "") else "text",
        "unit": question.unit,
        "choices": choices,
        "value": question.proposal if asked.typed is None else asked.typed,
        "optional": question.optional,
        "note": question.note,
        "now": "" if volts_and_amps is None else f"Now: {', '.join(volts_and_amps)}",
        "complaint": f"{asked.complaint[0].upper()}{asked.complaint[1:]}." if asked.complaint else "",
    }


def _shown_as(question: SetupQuestion, choices: int) -> str:
    if question.key == "boards":
        return "button"
    if not choices:
        return "entry"
    return "radio" if choices <= RADIOS_LIMIT and not question.optional else "select"


def _live(view: SetupView | None, boards: Sequence[FoundBoard]) -> Json:
    """Ports and boards as they stand, and what moved."""
    names = {(board.port, board.identity.number): board.name for board in boards}
    ports = [
        {
            "port": port.port,
            "about": port.description,
            "said": port.sentence,
            "pairs": [pair for each in port.boards for pair in _pairs(each, names, alone=len(port.boards) == 1)],
        }
        for port in (() if view is None else view.ports)
    ]
    said, card = "", ""
    moved = None if view is None else view.moved
    if moved is not None and moved.board in names:
        name = names[moved.board]
        if moved.volts is None:
            said = f"Several pairs of board {name} moved together: turn one throttle alone."
        else:
            said = (
                f"Pair {moved.pair} of board {name} moved, {moved.volts[0]:.1f} to {moved.volts[1]:.1f} V: which district is it?"
            )
            card = f"pair.{name}.{moved.pair}"
    return {"ports": ports, "moved": said, "moved_card": card, "said": spoken_now(view)}


def _pairs(each: BoardView, names: Mapping[tuple[str, int], str], *, alone: bool) -> list[Json]:
    board = each.board
    name = names.get((board.port, board.identity.number), board.name) or "without a name"
    return [
        {
            "key": f"{board.port} {board.identity.number} {pair}",
            "name": f"Pair {pair}" if alone else f"{name}, pair {pair}",
            "place": [name, pair],
            "volts": volts,
            "said": [_figure(volts, ".1f", "V"), _figure(amps, ".2f", "A")],
        }
        for pair, (volts, amps) in enumerate(zip(each.volts, each.amps, strict=True), 1)
    ]


def _figure(value: float | None, form: str, unit: str) -> str:
    return "–" if value is None else f"{value:{form}} {unit}"
