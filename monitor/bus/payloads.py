"""Payloads: JSON with columns, small and open, described by the schemas in ``firmware_notes/bus``.

What comes from the bus is as untrusted as what comes over a wire: :func:`decode` gives a value or a :class:`BusFault`, and never raises.
"""

from dataclasses import dataclass
from typing import Annotated, Literal

import msgspec
from msgspec import Meta, Struct

from monitor.bus.broker import Address, Kind, parse_topic
from monitor.standing import LayoutStanding
from monitor.values.json_text import json_bytes

PAYLOAD_LIMIT_BYTES = 65_536
DISTRICTS_LIMIT, SUPPLIES_LIMIT, ROWS_LIMIT = 256, 256, 240
KEPT_LIMIT = 400
GRID_S = 0.5
"""Seconds between the readings of a district on the bus."""

Name = Annotated[str, Meta(min_length=1, max_length=80)]
OutputName = Annotated[str, Meta(min_length=1, max_length=161)]
Sentence = Annotated[str, Meta(max_length=1000)]
Boot = Annotated[str, Meta(pattern="^[0-9a-f]{16}$")]
Number = Annotated[int, Meta(ge=0, lt=2**53)]
Seconds = Annotated[float, Meta(ge=-1e9, le=1e9)]
UnixSeconds = Annotated[float, Meta(ge=0, le=1e11)]
Figure = Annotated[float, Meta(ge=-1e6, le=1e6)] | None
Share = Annotated[float, Meta(ge=0, le=1e6)] | None
DistrictColumns = Annotated[tuple[tuple[Figure, ...], ...], Meta(max_length=DISTRICTS_LIMIT)]
SupplyColumns = Annotated[tuple[tuple[Share, ...], ...], Meta(max_length=SUPPLIES_LIMIT)]


class _Letter(Struct, frozen=True, kw_only=True):
    """What every message carries; keys that a reader does not know are passed over.

    Attributes:
        v: Version of this form.
        boot: Drawn again at each start of the station.
        seq: Counts up within a boot; with it the message's name, by which a receiver knows one that came twice.
        made_unix_s: When it was made, by the station's clock.
    """

    v: Literal[1] = 1
    boot: Boot
    seq: Number
    made_unix_s: UnixSeconds

    @property
    def uid(self) -> tuple[str, int]:
        """The message's own name within its station."""
        return self.boot, self.seq


class Readings(_Letter, frozen=True, tag_field="kind", tag="readings"):
    """Readings on a grid of half seconds, one list a district or supply, one entry a row; null where there is nothing.

    Attributes:
        began_unix_s: Second 0 of the stream, by the station's clock.
        first: Grid number of the first row: it covers the stream's seconds from first / 2 to (first + 1) / 2.
        rows: How many rows.
        districts: Names of the columns.
        volts: RMS volts over the row.
        amps: RMS amps over the row.
        amps_highest: Highest one-cycle RMS amps in the row.
        watts: Mean real power.
        doubtful: Districts whose sensor is known to lie in some row.
        clipped: Districts whose volts or amps are lower bounds in some row, since a sensor's range ended there.
        supplies: Names of the supply columns.
        va: Volt-amperes of each supply.
        share: Share of the limit that binds there, 1 is at the limit.
    """

    began_unix_s: UnixSeconds
    first: Number
    rows: Annotated[int, Meta(ge=1, le=ROWS_LIMIT)]
    districts: Annotated[tuple[Name, ...], Meta(max_length=DISTRICTS_LIMIT)]
    volts: DistrictColumns
    amps: DistrictColumns
    amps_highest: DistrictColumns
    watts: DistrictColumns
    doubtful: Annotated[tuple[Name, ...], Meta(max_length=DISTRICTS_LIMIT)] = ()
    clipped: Annotated[tuple[Name, ...], Meta(max_length=DISTRICTS_LIMIT)] = ()
    supplies: Annotated[tuple[Name, ...], Meta(max_length=SUPPLIES_LIMIT)] = ()
    va: SupplyColumns = ()
    share: SupplyColumns = ()

    def __post_init__(self) -> None:
        for names, columns in (
            (self.districts, (self.volts, self.amps, self.amps_highest, self.watts)),
            (self.supplies, (self.va, self.share)),
        ):
            if len(set(names)) != len(names):
                raise ValueError("a name stands twice")
            for column in columns:
                if len(column) != len(names) or any(len(values) != self.rows for values in column):
                    raise ValueError("the columns differ in length")


class WarningNote(_Letter, frozen=True, tag_field="kind", tag="warning"):
    """One state of one occurrence of a warning; the latest ``seq`` of an ``id`` holds.

    Attributes:
        began_unix_s: Second 0 of the stream, by the station's clock.
        id: Counts up within a boot.
        rule: Which rule.
        priority: How soon to act.
        scope: What ``name`` is.
        name: Where; an output is written SUPPLY/OUTPUT.
        start_s: When it rose, seconds of the stream.
        end_s: When it cleared; null while it stands.
        trip_in_s: Seconds to the predicted opening as seen at start_s; null where none is predicted.
        message: What is wrong.
        advice: What to do.
        acknowledged: Somebody at the station has seen it.
        share: Share of the limit as seen at start_s.
        time_words: The words of the message that say how long is left, as seen at start_s; empty where it says nothing of time.
    """

    began_unix_s: UnixSeconds
    id: Number
    rule: Name
    priority: Literal["low", "medium", "high"]
    scope: Literal["supply", "output", "district"]
    name: OutputName
    start_s: Seconds
    end_s: Seconds | None
    trip_in_s: Seconds | None
    message: Sentence
    advice: Sentence
    acknowledged: bool = False
    share: Share = None
    time_words: Sentence = ""


class EventNote(_Letter, frozen=True, tag_field="kind", tag="event"):
    """One state of one event; the latest ``seq`` of an ``id`` holds.

    Attributes:
        began_unix_s: Second 0 of the stream, by the station's clock.
        id: Counts up within a boot.
        district: Where.
        cause: Why.
        fault: False for what people do on purpose.
        start_s: When it began, seconds of the stream.
        end_s: When it ended; null while it goes on.
        confidence: Share of such calls that are right.
    """

    began_unix_s: UnixSeconds
    id: Number
    district: Name
    cause: Name
    fault: bool
    start_s: Seconds
    end_s: Seconds | None
    confidence: Annotated[float, Meta(ge=0, le=1)]


class Presence(_Letter, frozen=True, tag_field="kind", tag="presence"):
    """How a station stands; retained, sent every few seconds, and left behind by the broker as "lost" where a station vanishes.

    Attributes:
        state: "here", "gone" (ended in order) or "lost" (the broker's last will speaks).
        now_s: The stream's time; null in a last will.
        waiting: Messages that wait on the station's disk.
        thinned: Reading messages that gave way because the disk space for waiting was used up.
        lost: Warnings and events lost because even that did not help.
        sentence: What a person should know about the sending.
        standing: Warnings that stand, worst first.
        judged: How its supplies and districts stand, as its own page shows it; moments are seconds of its stream.
    """

    state: Literal["here", "gone", "lost"]
    now_s: Seconds | None = None
    waiting: Number = 0
    thinned: Number = 0
    lost: Number = 0
    sentence: Sentence = ""
    standing: Annotated[tuple[WarningNote, ...], Meta(max_length=20)] = ()
    judged: LayoutStanding | None = None


class OutlineSupply(Struct, frozen=True, kw_only=True):
    """One supply of the outline.

    Attributes:
        name: Its name.
        plate_va: Its nameplate figure.
        max_volts: Highest output volts; with plate_va it bounds the amps at any throttle. Null where unknown.
    """

    name: Name
    plate_va: Annotated[float, Meta(ge=0, le=1e6)]
    max_volts: Annotated[float, Meta(gt=0, le=1000)] | None = None


class OutlineDistrict(Struct, frozen=True, kw_only=True):
    """One district of the outline.

    Attributes:
        name: Its name.
        supply: The supply that feeds it.
        output: Its output there.
        use: What hangs on it.
        limit_amps: What its output may carry; null where unknown.
    """

    name: Name
    supply: Name
    output: Name
    use: Literal["track", "accessories"]
    limit_amps: Annotated[float, Meta(gt=0, le=1e6)] | None = None


class Outline(_Letter, frozen=True, tag_field="kind", tag="layout"):
    """The layout in outline, retained.

    Attributes:
        title: What it is called.
        supplies: Its supplies.
        districts: Its districts.
    """

    title: Name
    supplies: Annotated[tuple[OutlineSupply, ...], Meta(max_length=SUPPLIES_LIMIT)]
    districts: Annotated[tuple[OutlineDistrict, ...], Meta(max_length=DISTRICTS_LIMIT)]


KeptRange = tuple[Boot, Number, Number]


class Acknowledgement(Struct, frozen=True, kw_only=True, tag_field="kind", tag="kept"):
    """What a collector has on its disk of a station's messages; the station lets go of them.

    Attributes:
        v: Version of this form.
        names: Boot, first and last seq of messages that were kept, all between them included.
    """

    v: Literal[1] = 1
    names: Annotated[tuple[KeptRange, ...], Meta(max_length=KEPT_LIMIT)]


Body = Readings | WarningNote | EventNote | Presence | Outline
TYPES: dict[Kind, type[Body | Acknowledgement]] = {
    "readings": Readings,
    "warnings": WarningNote,
    "events": EventNote,
    "presence": Presence,
    "layout": Outline,
    "kept": Acknowledgement,
}
_DECODERS: dict[Kind, "msgspec.json.Decoder[Body | Acknowledgement]"] = {
    kind: msgspec.json.Decoder(made) for kind, made in TYPES.items()
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Received:
    """A message that was understood.

    Attributes:
        address: Whose it is.
        body: What it says; bytes of the wire's line form where the kind is "lines".
        retained: It had waited at the broker as the last one of its topic.
    """

    address: Address
    body: Body | Acknowledgement | bytes
    retained: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BusFault:
    """A message that was not.

    Attributes:
        reason: "topic", "too-long", "form", one short word for counters.
        detail: What is wrong, for a person who writes a sender.
    """

    reason: Literal["topic", "too-long", "form"]
    detail: str


def encode(body: Body | Acknowledgement) -> bytes:
    """A message's payload; a figure may be of a kind of float of its own."""
    return json_bytes(body)


def decode(topic: str, payload: bytes, *, retained: bool = False) -> Received | BusFault:
    """What a message of any sender says; never raises.

    Args:
        topic: As the broker gives it.
        payload: Any bytes.
        retained: As the broker marks it.
    """
    address = parse_topic(topic)
    if address is None:
        return BusFault(reason="topic", detail="the topic is not pilotlamp/1/HALL/STATION/KIND")
    if len(payload) > PAYLOAD_LIMIT_BYTES:
        return BusFault(reason="too-long", detail=f"{len(payload)} bytes; {PAYLOAD_LIMIT_BYTES} are allowed")
    if address.kind == "lines":
        return Received(address=address, body=payload, retained=retained)
    try:
        body = _DECODERS[address.kind].decode(payload)
    except (msgspec.MsgspecError, ValueError, RecursionError, OverflowError) as error:
        return BusFault(reason="form", detail=str(error)[:200])
    return Received(address=address, body=body, retained=retained)
