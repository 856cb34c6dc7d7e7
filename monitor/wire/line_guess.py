"""What the lines of an unknown sketch may mean: a mapping to try, never more than a guess."""

import re
import statistics
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from monitor.layout import LineMapping, LineOutput
from monitor.wire import thresholds as th
from monitor.wire.line_figures import NUMBER, UNIT, Fields, NumberForm, by_place, of_object

_COMMA_DECIMALS = re.compile(r"\d,\d.*[;\t ].*\d,\d")
_VOLTS = re.compile(r"(volt|^m?v(rms|ac|dc)?\d*$|^u\d*$|^v_|_v$|_mv$|spannung|tension)", re.IGNORECASE)
_AMPS = re.compile(r"(amp|curr|^m?a(rms)?\d*$|^i\d*$|^i_|irms|_a$|_ma$|strom|courant)", re.IGNORECASE)
_TIME = re.compile(r"(^t$|^ms$|milli(s|second)|time|^ts$|uptime)", re.IGNORECASE)
_MILLI = re.compile(r"^(m[va](rms)?\d*|.*_m[va]|.*milli(volt|amp).*)$", re.IGNORECASE)
_VOLTS_UNIT, _AMPS_UNIT = re.compile(r"m?V"), re.compile(r"m?A")

Place = int | str
Columns = dict[Place, list[float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class MappingGuess:
    """A mapping, and why it may be wrong.

    Attributes:
        lines: What to write under [board.lines].
        doubts: What a person should check, sentences.
    """

    lines: LineMapping
    doubts: tuple[str, ...]


def guess_mapping(texts: Sequence[str], interval_ms: float | None = None) -> MappingGuess | None:
    """Guess what lines mean.

    Returns:
        None where they have no volts and amps that can be told apart.
    """
    has_commas = not any("." in text for text in texts) and any(_COMMA_DECIMALS.search(text) for text in texts)
    for form in ("json", "pairs", "values"):
        for decimal in (",", ".") if has_commas else (".", ","):
            numbers = NumberForm.of(decimal)
            read = _READERS[form](numbers)
            columns, units = _columns([read(text) for text in texts], numbers)
            names = _header(texts, read) if form == "values" else {place: str(place) for place in columns}
            found = _assigned(columns, units, names, by_name=form != "values")
            if found is not None:
                time_ms, outputs, doubts = found
                return MappingGuess(
                    lines=LineMapping(
                        form=form,
                        decimal=decimal,
                        time_ms=time_ms,
                        interval_ms=None if interval_ms is None else float(round(interval_ms)) or None,
                        output=tuple(outputs),
                    ),
                    doubts=tuple(doubts),
                )
    return None


def _whole_objects(text: str) -> Fields:
    try:
        return of_object(text)
    except ValueError:
        return {}


_READERS: dict[str, Callable[[NumberForm], Callable[[str], Fields]]] = {
    "json": lambda _numbers: _whole_objects,
    "pairs": lambda numbers: lambda text: {name.strip(): field for name, field in _pair_pattern(numbers).findall(text)},
    "values": lambda numbers: lambda text: by_place(text, numbers),
}


def _pair_pattern(numbers: NumberForm) -> re.Pattern[str]:
    """NAME=FIGURE and NAME:FIGURE, the figure with its unit, or any other word that is not itself a name."""
    figure = rf"{NUMBER.format(point=re.escape(numbers.point))}(?:\s?{UNIT}(?=[\s,;|]|$))?(?![\w.])"
    word = r"[^\s,;|=:]+(?![^\s,;|=:]|\s*[=:])"
    return re.compile(rf"([^\W\d][\w µ°]*?)\s*[=:]\s*({figure}|{word})")


def _columns(rows: Sequence[Fields], numbers: NumberForm) -> tuple[Columns, dict[Place, str]]:
    """Figures by place, of places that hold a number in nearly all lines that hold any; and their units."""
    found: list[dict[Place, float]] = []
    units: dict[Place, str] = {}
    for row in rows:
        figures: dict[Place, float] = {}
        for place, field in row.items():
            if isinstance(field, bool) or not isinstance(field, str | int | float):
                continue
            try:
                figures[place] = numbers.read(field) if isinstance(field, str) else float(field)
            except (ValueError, OverflowError):
                continue
            units[place] = numbers.unit(field) if isinstance(field, str) else ""
        if figures:
            found.append(figures)
    counts = Counter(place for figures in found for place in figures)
    kept = [place for place, count in counts.items() if count >= max(th.FEWEST_LINES, th.AGREED_SHARE * len(found))]
    return {place: [figures[place] for figures in found if place in figures] for place in kept}, units


def _header(texts: Sequence[str], read: Callable[[str], Fields]) -> dict[Place, str]:
    """Names of the places, from a line of words."""
    for text in texts:
        words = {place: str(field).strip() for place, field in read(text).items()}
        if len(words) > 1 and all(word and not any(letter.isdigit() for letter in word[:1]) for word in words.values()):
            return words
    return {}


def _assigned(
    columns: Columns, units: dict[Place, str], names: dict[Place, str], *, by_name: bool
) -> tuple[Place | None, list[LineOutput], list[str]] | None:
    doubts: list[str] = []
    places = list(columns)
    time_ms = next((place for place in places if _TIME.search(names.get(place, ""))), None)
    if time_ms is None and not by_name:
        time_ms = next((place for place in places if _is_time(columns[place])), None)
    left = [place for place in places if place != time_ms]
    volts = [place for place in left if _VOLTS.search(names.get(place, "")) or _VOLTS_UNIT.fullmatch(units[place])]
    amps = [
        place
        for place in left
        if place not in volts and (_AMPS.search(names.get(place, "")) or _AMPS_UNIT.fullmatch(units[place]))
    ]
    if len(left) % 2 and not by_name:
        left = [
            place for place in left if len(set(columns[place])) > 1 or columns[place][0] % 1
        ]  # the number of an output or a board
    if not (volts and amps) and not by_name and len(left) >= 2:
        volts, amps = left[0::2], left[1::2]
        if len(left) == 2 and statistics.median(columns[amps[0]]) > statistics.median(columns[volts[0]]):
            volts, amps = amps, volts
        doubts.append("Nothing in the lines tells volts from amps: they are taken by their order and size; check with a meter.")
    outputs = [_output(v, a, columns, units, names) for v, a in zip(volts, amps, strict=False)]
    if not outputs:
        return None
    if any(output.volts_scale != 1 or output.amps_scale != 1 for output in outputs):
        doubts.append("Some figures look like thousandths, hence the scale of 0.001: check with a meter.")
    return time_ms, outputs, doubts


def _is_time(figures: Sequence[float]) -> bool:
    """Whole numbers that rise from line to line by much the same."""
    steps = [after - before for before, after in pairwise(figures)]
    return (
        len(steps) >= th.FEWEST_LINES - 1
        and all(figure == round(figure) for figure in figures)
        and min(steps) >= 1
        and max(steps) <= th.EVEN_STEPS * statistics.median(steps)
    )


def _output(volts: Place, amps: Place, columns: Columns, units: dict[Place, str], names: dict[Place, str]) -> LineOutput:
    scales = [
        th.MILLI_SCALE
        if units[p].startswith("m") or _MILLI.match(names.get(p, "")) or max(map(abs, columns[p])) > th.MILLI_ABOVE
        else 1.0
        for p in (volts, amps)
    ]
    return LineOutput(volts=volts, amps=amps, volts_scale=scales[0], amps_scale=scales[1])
