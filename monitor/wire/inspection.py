"""What came over a port, looked at as a person would: where decoders understand nothing, why, and what to do."""

import re
from collections import Counter
from dataclasses import dataclass
from typing import Literal

from monitor.layout import Board
from monitor.wire import thresholds as th
from monitor.wire.items import Fault, FaultKind
from monitor.wire.line_figures import printable, shown
from monitor.wire.lines import LineDecoder
from monitor.wire.mapped_lines import MappedLines
from monitor.wire.packed import PackedDecoder
from monitor.wire.reading_lines import LINE_LIMIT_CHARACTERS, OUTPUTS_LIMIT, U32

_PRINTABLE = bytes([*range(0x20, 0x7F), 9, 10, 13])
RIGHT = "r,MS,OUTPUT,VOLTS,AMPS such as r,1200,0,15.2,2.4"
_LIKE_A_READING = re.compile(r"\s*r\s*[,;\t ]", re.IGNORECASE)
_WHOLE = re.compile(r"\d+")
_DECIMAL = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_NAMES = ("milliseconds", "output", "volts", "amps", "watts")

Look = Literal["nothing", "text", "packets", "wrong-crc", "no-identity", "wrong-identity", "bytes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """What some bytes look like.

    Attributes:
        look: "nothing" (too few bytes to say), "text", "packets" (good ones, identity included), "wrong-crc" (packets whose CRC is always
            wrong), "no-identity", "wrong-identity" (one whose lengths do not fit), or "bytes" (neither text nor packets).
        lines: The last lines of a text, oldest first.
        has_line_ends: Whether lines of the text end.
    """

    look: Look
    lines: tuple[str, ...] = ()
    has_line_ends: bool = True


class Transcript:
    """Keeps the last bytes of a port.

    Attributes:
        bytes: All that came.
        line_ends: Line feeds among them.
    """

    def __init__(self) -> None:
        self._kept = bytearray()
        self.bytes = 0
        self.line_ends = 0

    def take(self, data: bytes) -> None:
        """Take bytes in."""
        self.bytes += len(data)
        self.line_ends += data.count(b"\n")
        self._kept += data
        if len(self._kept) > 2 * th.INSPECTED_BYTES:
            del self._kept[: -th.INSPECTED_BYTES]

    def inspect(self, lines: int = 5) -> Inspection:
        """Look at the last bytes."""
        return inspect(bytes(self._kept[-th.INSPECTED_BYTES :]), lines)


def inspect(data: bytes, lines: int = 5) -> Inspection:
    """Look at bytes; see :class:`Inspection`."""
    if len(data) < th.FEWEST_BYTES:
        return Inspection(look="nothing")
    if _is_text(data):
        ended = data[: data.rfind(b"\n") + 1] or data
        found = [printable(line.decode(errors="replace").strip()) for line in ended[-th.QUOTED_BYTES :].split(b"\n")]
        found = [line for line in found[0 if len(ended) <= th.QUOTED_BYTES else 1 :] if line]
        has_line_ends = b"\n" in data or len(data) < th.LINE_END_WITHIN_BYTES
        return Inspection(look="text", lines=tuple(found[-lines:]), has_line_ends=has_line_ends)
    return Inspection(look=_look_of_packets(data))


def _is_text(data: bytes) -> bool:
    try:
        strange = len(data.translate(None, _PRINTABLE)) - (0 if data.isascii() else _letters_beyond_ascii(data))
    except UnicodeDecodeError:
        strange = len(data.translate(None, _PRINTABLE))
    return strange <= (1 - th.TEXT_SHARE) * len(data)


def _letters_beyond_ascii(data: bytes) -> int:
    """Bytes of units such as °C and Ω."""
    return sum(len(letter.encode()) for letter in data.decode() if not letter.isascii() and letter.isprintable())


def _look_of_packets(data: bytes) -> Look:
    decoder = PackedDecoder()
    frames = [frame for frame in data.split(b"\0")[1:-1] if frame]
    items = decoder.feed(data)
    faults = Counter(item.kind for item in items if isinstance(item, Fault))
    if decoder.packets and not faults[FaultKind.VERSION]:
        if any(isinstance(item, Fault) and item.detail == "identity" for item in items):
            return "wrong-identity"
        return "packets" if decoder.knows_a_board else "no-identity"
    if len(frames) >= th.FEWEST_PACKETS and faults[FaultKind.CHECKSUM] >= th.TEXT_SHARE * len(frames):
        return "wrong-crc"
    return "bytes"


def why_not(seen: Inspection, port: str, baud: int | None, line_board: Board | None) -> str:
    """Why nothing is understood, and what to do: a sentence or two for a person.

    Args:
        seen: What came.
        port: Where: a port, or a capture's file.
        baud: Read at this rate; None of a capture.
        line_board: The board whose own lines are expected there; None where lines of the project's own form are.
    """
    if seen.look == "text":
        return _why_no_lines(seen, port, baud, line_board)
    return _WORDS[seen.look].format(port=port, rate="" if baud is None else f" at {baud} baud")


_WORDS: dict[Look, str] = {
    "nothing": "Hardly anything comes from {port}: check the board's power and its sketch.",
    "packets": "Bytes from {port} arrive too damaged to be read: shorten the cable, keep it off track wiring.",
    "wrong-crc": "Packets come from {port}, but the CRC of every one is wrong: it is CRC-16/IBM-3740 over all the bytes before it, the low "
    "byte first, and gives 0x29B1 for the ASCII digits 123456789 (firmware_notes/wire.md).",
    "no-identity": "Samples come from {port}, but no identity packet, without which they mean nothing: the sketch has to send one at its "
    "start and once a second (firmware_notes/wire.md).",
    "wrong-identity": "Samples come from {port}, but the lengths within the identity packet do not fit: 11 bytes a channel, then the name's "
    "length in bytes (16 at most), then that many bytes (firmware_notes/wire.md).",
    "bytes": "Bytes from {port} make no sense{rate} and are no text: the board probably sends at another baud rate, so set baud in "
    "the layout file to what its sketch says (500000 is usual for the packed form, 115200 for lines); if that is right, check the cable.",
}


def _why_no_lines(seen: Inspection, port: str, baud: int | None, line_board: Board | None) -> str:
    came = f"Text comes from {port}{'' if baud is None else f' at {baud} baud'}, "
    proposes = "'pilotlamp listen PORT'" if baud is None else f"'pilotlamp listen {port}'"
    if not seen.has_line_ends or not seen.lines:
        return f"{came}but no line ever ends: let the sketch end each reading with a line feed (println)."
    last = seen.lines[-1]
    # Regular text read at half its rate comes out as text too.
    check_baud = " If the sketch prints something else, check the baud."
    if line_board is None:
        return (
            f"{came}but not lines of firmware_notes/wire.md. The last one is: {shown(last)} - {fault_of(last)}. Correct the sketch, or "
            f"say what its lines mean under [board.lines] of the layout file: {proposes} proposes it.{check_baud}"
        )
    faults = [item for item in LineDecoder(MappedLines(line_board)).feed(last.encode() + b"\n") if isinstance(item, Fault)]
    wrong = faults[0].detail.removeprefix(f"{shown(last)}: ") if faults else "it has none of what is asked for"
    return (
        f'{came}but not what [board.lines] of board "{line_board.name}" says. The last line is: {shown(last)} - {wrong}. Correct that table: '
        f"{proposes} proposes another.{check_baud}"
    )


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
