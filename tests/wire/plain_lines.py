"""The line form read as its description says it, one line after the other: what the decoder is held to."""

import re

from monitor.values import Identity
from monitor.wire import Fault, FaultKind
from monitor.wire.reading_lines import line_channels

WHOLE, DECIMAL = r"(\d{1,10})", r"([0-9.+\-eE]+)"
READING = re.compile(rf"r,{WHOLE},{WHOLE},{DECIMAL},{DECIMAL}(?:,{DECIMAL})?", re.ASCII)
IDENTITY = re.compile(rf"b,([^,]*),{WHOLE},{WHOLE}", re.ASCII | re.DOTALL)


def read_lines(data):
    """Items of a stream, but a tuple for each reading: milliseconds, output, volts, amps, watts or None."""
    items, position = [], 0
    for line in data.split(b"\n")[:-1]:
        position += len(line) + 1
        item = read_line(line, position) if line else None
        items += [] if item is None else [item]
    return items


def read_line(line, position):
    text = line.rstrip(b"\r")
    if len(text) > 120 or len(line) > 121:
        return Fault(kind=FaultKind.TOO_LONG, offset=position, size=len(line))
    if ending := re.search(rb"\*([0-9a-fA-F]{2})\Z", text):
        text = text[:-3]
        xor = 0
        for character in text:
            xor ^= character
        if xor != int(ending[1], 16):
            return Fault(kind=FaultKind.CHECKSUM, offset=position, size=len(line))
    if text == b"" or text.startswith(b"#"):
        return None
    read = reading(text.decode("latin-1")) or identity(text.decode("latin-1"))
    return read or Fault(kind=FaultKind.SYNTAX, offset=position, size=len(line))


def reading(text):
    match = READING.fullmatch(text)
    if match is None or int(match[1]) >= 2**32 or int(match[2]) >= 64:
        return None
    try:
        figures = [None if field is None else float(field) for field in match.groups()[2:]]
    except ValueError:
        return None
    return None if any(abs(figure or 0.0) == float("inf") for figure in figures) else (int(match[1]), int(match[2]), *figures)


def identity(text):
    match = IDENTITY.fullmatch(text) if text.isascii() else None
    if match is None or not 1 <= int(match[2]) <= 64 or int(match[3]) == 0:
        return None
    channels = line_channels(int(match[2]))
    return Identity(number=0, name=match[1], scan_interval_s=int(match[3]) / 1000, channels=channels, form="lines")
