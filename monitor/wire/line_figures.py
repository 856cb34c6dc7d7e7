"""One line of a sketch's own, read by what the layout file says of it: figures with or without units, by place or by name."""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import msgspec

from monitor.wire import thresholds as th

UNIT = (
    "(?:V|mV|uV|µV|kV|volt|volts|Vrms|VAC|VDC|A|mA|uA|µA|amp|amps|Arms|AAC|ADC"
    "|W|mW|kW|watt|watts|VA|Hz|ms|us|s|sec|%|C|°C|ohm|ohms)"
)
"""Units that may stand behind a number with a blank between; any short word may where there is none."""

_COMMENTS = ("#", "//")
_CONTROLS = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f�]")
_NOT_A_NUMBER = re.compile(r"[+-]?(nan|inf|infinity|ovf)", re.IGNORECASE)
NUMBER = r"[+-]?(?:\d+{point}?\d*|{point}\d+)(?:[eE][+-]?\d+)?"
_UNIT_APART = re.compile(rf"(?<=[\d.,])\s+{UNIT}(?=[\s,;]|$)")


@dataclass(frozen=True, slots=True)
class NumberForm:
    """How numbers are printed.

    Attributes:
        point: What stands between whole digits and decimals.
        pattern: A whole field: a number, with the word behind it as a group.
    """

    point: str
    pattern: re.Pattern[str]

    @classmethod
    def of(cls, point: str) -> "NumberForm":
        """Of a decimal point or comma."""
        number = NUMBER.format(point=re.escape(point))
        return cls(point=point, pattern=re.compile(rf"({number})\s*((?!\d)[^\W\d_]{{1,8}}|%|°[CF])?"))

    def read(self, field: str) -> float:
        """The number of a field; its unit changes nothing.

        Raises:
            ValueError: The field is no number.
        """
        match = self.pattern.fullmatch(field.strip())
        if match is None:
            raise ValueError(field)
        value = float(match[1].replace(self.point, "."))
        if not math.isfinite(value):
            raise ValueError(field)
        return value

    def unit(self, field: str) -> str:
        """The word behind a number; empty where there is none."""
        match = self.pattern.fullmatch(field.strip())
        return "" if match is None else match[2] or ""


Fields = Mapping[int | str, object]


def by_place(line: str, form: NumberForm) -> Fields:
    """Fields by place, from 1: between commas, semicolons and tabs where there are any, else between blanks."""
    marks = ";\t" if form.point == "," else ",;\t"
    if any(mark in line for mark in marks):
        return dict(enumerate(re.split(f"[{marks}]", line), start=1))
    return dict(enumerate(_UNIT_APART.sub("", line).split(), start=1))


def by_name(names: Sequence[str], form: NumberForm) -> Callable[[str], Fields]:
    """Reads fields written NAME=FIGURE or NAME:FIGURE, for these names; a name that stands twice goes by its first."""
    ends = r"[^\s;|]*" if form.point == "," else r"[^\s,;|]*"
    number = rf"{NUMBER.format(point=re.escape(form.point))}\s?{UNIT}?(?=[\s,;|]|$)"
    patterns = {name: re.compile(rf"(?:^|[\s,;|]){re.escape(name)}\s*[=:]\s*({number}|{ends})") for name in names}

    def read(line: str) -> Fields:
        return {name: match[1] for name, pattern in patterns.items() if (match := pattern.search(line))}

    return read


def of_object(line: str) -> Fields:
    """Fields of a JSON object; none where the line is not one.

    Raises:
        ValueError: The line is a piece of an object.
    """
    try:
        found = msgspec.json.decode(line)
    except msgspec.DecodeError as error:
        if "{" in line or "}" in line or '":' in line:
            raise ValueError("this is no whole JSON object") from error
        return {}
    return found if isinstance(found, dict) else {}


def figures_of(fields: Fields, places: Sequence[tuple[str, int | str]], form: NumberForm) -> tuple[float, ...] | str | None:
    """The figures asked for; what is wrong in words where only some are there; None where none is, so that it is no reading."""
    figures: list[float] = []
    wrong: list[str] = []
    meant = False
    for asked, place in places:
        field = fields.get(place)
        where = f"{asked} (place {place})" if isinstance(place, int) else f'{asked} ("{place}")'
        try:
            figures.append(form.read(field) if isinstance(field, str) else finite(field))
        except (ValueError, OverflowError):
            wrong.append(f"{where} is missing" if field in (None, "") else f'{where} is "{field}", which is no number')
            meant |= (isinstance(place, str) and place in fields) or bool(_NOT_A_NUMBER.match(str(field).strip()))
    if not wrong:
        return tuple(figures)
    return "; ".join(wrong) if figures or meant else None


def finite(figure: object) -> float:
    """A figure of a JSON object.

    Raises:
        ValueError: It is no finite number.
    """
    if isinstance(figure, bool) or not isinstance(figure, int | float) or not math.isfinite(figure):
        raise ValueError(figure)
    return float(figure)


def text_of(line: bytes) -> str | None:
    """A line as text, without blanks around it; None where it is a comment, empty or no text."""
    try:
        text = line.decode()
    except UnicodeDecodeError:
        text = line.decode("latin-1")
    text = text.strip(" \t\r\n\0")
    if not text or text.startswith(_COMMENTS) or len(_CONTROLS.findall(text)) > th.STRANGE_SHARE * len(text):
        return None
    return text


def printable(line: str) -> str:
    """A line with a mark for what is no text."""
    return _CONTROLS.sub("\N{REPLACEMENT CHARACTER}", line)


def shown(line: str) -> str:
    """A line as it can be shown in a sentence: short and printable."""
    text = printable(line)
    return text if len(text) <= th.SHOWN_CHARACTERS else text[: th.SHOWN_CHARACTERS - 1] + "…"
