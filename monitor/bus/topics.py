"""Topics: ``pilotlamp/1/HALL/STATION/KIND``, with names escaped so that they are one level each."""

from dataclasses import dataclass
from typing import Literal, get_args
from urllib.parse import quote, unquote_to_bytes

Kind = Literal["readings", "warnings", "events", "presence", "layout", "lines"]
KINDS: tuple[Kind, ...] = get_args(Kind)

ROOT = "pilotlamp/1"
NAME_LIMIT_CHARACTERS = 80
LEVEL_LIMIT_CHARACTERS = 200
"""Once escaped, when each of up to four UTF-8 bytes of a character takes three: it is a file's name too, and those end at 255."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """Whose message, and of which kind.

    Attributes:
        hall: The hall's name, unescaped.
        station: The station's name, unescaped; for ``lines`` that of the board.
        kind: What the payload is.
    """

    hall: str
    station: str
    kind: Kind

    @property
    def topic(self) -> str:
        """The topic."""
        return f"{ROOT}/{escaped(self.hall)}/{escaped(self.station)}/{self.kind}"


def escaped(name: str) -> str:
    """A name as one topic level: RFC 3986 percent-encoding of all but letters, digits and ``-._~``.

    So it holds none of the characters that mean something in topics (``/``, ``+``, ``#``, ``$``), and it can be a broker's user
    name and a folder's name as well. A name of dots only is escaped too.
    """
    level = quote(name, safe="")
    return level.replace(".", "%2E") if not level.strip(".") else level


def unescaped(level: str) -> str | None:
    """The name behind a topic level; None where it is not what :func:`escaped` makes of any name."""
    if not 0 < len(level) <= LEVEL_LIMIT_CHARACTERS:
        return None
    try:
        name = unquote_to_bytes(level).decode("utf-8")
    except (UnicodeDecodeError, UnicodeEncodeError):
        return None
    if not name.isprintable() or len(name) > NAME_LIMIT_CHARACTERS or escaped(name) != level:
        return None
    return name


def parse_topic(topic: str) -> Address | None:
    """The address behind a topic; None where it is none of ours. Never raises."""
    levels = topic.split("/")
    if len(levels) != 5 or "/".join(levels[:2]) != ROOT:
        return None
    hall, station = unescaped(levels[2]), unescaped(levels[3])
    kind = next((kind for kind in KINDS if kind == levels[4]), None)
    if hall is None or station is None or kind is None:
        return None
    return Address(hall=hall, station=station, kind=kind)


def station_filter(hall: str | None, kind: Kind, group: str | None = None) -> str:
    """The filter that takes one kind of message of all stations.

    Args:
        hall: One hall; None takes all of them.
        kind: Which kind.
        group: The share name of an MQTT 5 shared subscription; None where each subscriber takes every message.
    """
    share = f"$share/{group}/" if group else ""
    return f"{share}{ROOT}/{escaped(hall) if hall else '+'}/+/{kind}"
