"""What is wrong with a line that is not of the line form: the field at fault, and what would be right."""

import re

from monitor.wire.reading_lines import LINE_LIMIT_CHARACTERS, OUTPUTS_LIMIT, U32

RIGHT = "r,MS,OUTPUT,VOLTS,AMPS such as r,1200,0,15.2,2.4"
_LIKE_A_READING = re.compile(r"\s*r\s*[,;\t ]", re.IGNORECASE)
_WHOLE = re.compile(r"\d+")
_DECIMAL = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_NAMES = ("milliseconds", "output", "volts", "amps", "watts")


def is_like_a_reading(line: str) -> bool:
    """Whether a line means to be ``r,MS,OUTPUT,VOLTS,AMPS``."""
    return _LIKE_A_READING.match(line) is not None


def fault_of(line: str) -> str:
    """What is wrong with a line, as the rest of a sentence."""
    fields = line.split("*", maxsplit=1)[0].split(",")[1:]
    faults = {
        f"it is longer than {LINE_LIMIT_CHARACTERS} characters": len(line) > LINE_LIMIT_CHARACTERS,
        f"a reading begins with r, as in {RIGHT}": not is_like_a_reading(line),
        "it begins with a capital R, and a small r is right": line[:1] == "R",
        f"commas stand between its fields, and a point in its decimals: {RIGHT}": ";" in line or "\t" in line or not fields,
        f"no blanks stand around its fields: {RIGHT}": line[:2] != "r," or any(field != field.strip() for field in fields),
        f"it has {len(fields)} fields after the r, and a reading has 4, or 5 with watts: {RIGHT}": not 4 <= len(fields) <= 5,
    }
    found = next((fault for fault, is_so in faults.items() if is_so), "") or _fault_of_field(fields)
    return found or "its checksum is wrong: *HH is the XOR of all characters before the *, as two hex digits"


def _fault_of_field(fields: list[str]) -> str:
    for name, field, limit in zip(_NAMES[:2], fields, (U32, OUTPUTS_LIMIT), strict=False):
        if not _WHOLE.fullmatch(field) or int(field) >= limit:
            return f'its {name} are "{field}": a whole number from 0 to {limit - 1} stands there'
    for name, field in zip(_NAMES[2:], fields[2:], strict=False):
        if not _DECIMAL.fullmatch(field):
            return f'its {name} are "{field}", which is no number: print one such as 2.40, or leave the line out'
    return ""
