"""Snapshots as COMTRADE (IEEE C37.111-1999, IEC 60255-24) and as CSV, for other people's tools.

The configuration file names the channels and their scaling, the data file holds one record a scan, binary or as text: number,
time stamp in microseconds, one 16-bit figure a channel, and a status that says while the event is going on. Channels stand in the order in
which the board converts them, whatever the event. The rate is a whole number, for some readers take no other, and right to 0.05 %; the
standard (C37.111-1999, 5.3.7 and 6, from memory) lets a record state both a rate and time stamps, and the stamps have the exact step. The
header file says so, and that times are UTC, for which this edition has no field.
"""

import csv
import io
import re
import zipfile
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.values import Event, Snapshot, SnapshotChannel

HIGHEST = 32767
MISSING = -32768
"""What stands for a missing figure in a binary data file."""
MISSING_TEXT = "99999"
"""And in one of text."""
DataForm = Literal["BINARY", "ASCII"]
_UNITS = {"V": "V", "A": "A", "F": "V"}
_NAMES = {"V": "volts", "A": "amps", "F": "far volts"}


class Comtrade(NamedTuple):
    """The files of a record."""

    cfg: str
    dat: bytes
    hdr: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """Where samples come from.

    Attributes:
        began_at: Wall clock at second 0 of the stream; its zone goes without saying in the files, UTC it should be.
    """

    station: str
    mains_hertz: float
    began_at: datetime


def comtrade(snapshot: Snapshot, event: Event, origin: Origin, form: DataForm = "BINARY") -> Comtrade:
    """A snapshot as a COMTRADE record.

    Args:
        snapshot: The samples; 16 bits of each are kept, of the highest of its channel.
        event: The event; its start is the record's trigger.
        origin: Where they come from.
        form: Of the data file.
    """
    snapshot = in_board_order(snapshot)
    slopes = _slopes(snapshot.values)
    n = len(snapshot.values)
    lines = [
        f"{_plain(origin.station)},{_plain(snapshot.board)},1999",
        f"{len(snapshot.channels) + 1},{len(snapshot.channels)}A,1D",
        *(_channel(k, channel, slope) for k, (channel, slope) in enumerate(zip(snapshot.channels, slopes, strict=True), start=1)),
        f"1,{_plain(event.cause.value)} {_plain(event.district)},,,0",
        f"{origin.mains_hertz:g}",
        "1",
        f"{round(1 / snapshot.interval_s)},{n}",
        _stamp(origin.began_at, snapshot.start_s),
        _stamp(origin.began_at, event.start_s),
        form,
        "1",
    ]
    rows = _rows(snapshot, event, slopes)
    dat = rows.tobytes() if form == "BINARY" else _as_text(rows)
    return Comtrade("\r\n".join(lines) + "\r\n", dat, _header(snapshot, event))


def in_board_order(snapshot: Snapshot) -> Snapshot:
    """With the channels in the order in which the board converts them, the same for every event."""
    channels, quantities = snapshot.channels, list(_UNITS)
    order = sorted(
        range(len(channels)), key=lambda k: (channels[k].skew_s, channels[k].district, quantities.index(channels[k].quantity))
    )
    return replace(snapshot, channels=tuple(channels[k] for k in order), values=snapshot.values[:, order])


def _header(snapshot: Snapshot, event: Event) -> str:
    lines = [
        f"{_plain(event.cause.value)}, {_plain(event.district)}, as board {_plain(snapshot.board)} saw it.",
        "Times are UTC.",
        f"One scan every {snapshot.interval_s * 1e6:.3f} microseconds ({1 / snapshot.interval_s:.4f} a second), by the board's own clock,",
        "corrected for its slow drift. Time stamps have this step; the rate in the configuration file is rounded to a whole number.",
        "A channel's skew says how much later in the scan it was converted. A figure of -32768 (99999 in text) is a scan that was lost.",
        "A figure at the end of a sensor's range is a lower bound of what flowed.",
    ]
    return "\r\n".join(lines) + "\r\n"


def snapshot_csv(snapshot: Snapshot, event: Event) -> str:
    """A snapshot as comma-separated text: seconds from the event's start, then volts and amps as the headings name them."""
    snapshot = in_board_order(snapshot)
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerow(["time from its beginning (s)", *map(_heading, snapshot.channels)])
    rows = []
    times_s = snapshot.start_s - event.start_s + np.arange(len(snapshot.values)) * snapshot.interval_s
    for at_s, values in zip(times_s.tolist(), snapshot.values.tolist(), strict=True):
        rows.append(",".join([f"{at_s:.6f}", *("" if value != value else f"{value:.4f}" for value in values)]))  # noqa: PLR0124 - NaN
    return text.getvalue() + "\r\n".join(rows) + "\r\n"


def _heading(channel: SnapshotChannel) -> str:
    """Quantity, district and unit; how much later than the row's time it was converted, where it was."""
    later = f", {channel.skew_s * 1e3:g} ms later" if channel.skew_s else ""
    return f"{_NAMES[channel.quantity]} of {channel.district}{later} ({_UNITS[channel.quantity]})"


def _slopes(values: NDArray[np.float32]) -> list[float]:
    highest = np.max(np.abs(np.nan_to_num(values)), axis=0, initial=0.0)
    return [float(top) / HIGHEST if top > 0 else 1.0 / HIGHEST for top in highest.tolist()]


def _channel(number: int, channel: SnapshotChannel, slope: float) -> str:
    name = f"{_plain(channel.district)} {_NAMES[channel.quantity]}"
    skew_us = channel.skew_s * 1e6
    return f"{number},{name},,,{_UNITS[channel.quantity]},{slope:.9e},0,{skew_us:.3f},-{HIGHEST},{HIGHEST},1,1,P"


def _rows(snapshot: Snapshot, event: Event, slopes: list[float]) -> NDArray[np.void]:
    """A record a scan, as the binary data file has it."""
    n, channels = snapshot.values.shape
    record = np.dtype([("number", "<u4"), ("stamp_us", "<u4"), ("figures", "<i2", (channels,)), ("status", "<u2")])
    rows = np.zeros(n, dtype=record)
    at_s = np.arange(n) * snapshot.interval_s
    rows["number"] = np.arange(1, n + 1)
    rows["stamp_us"] = np.round(at_s * 1e6)
    figures = np.round(snapshot.values / np.array(slopes, dtype=np.float64))
    rows["figures"] = np.where(np.isnan(figures), MISSING, figures)
    going_on = at_s + snapshot.start_s >= event.start_s
    if event.end_s is not None:
        going_on &= at_s + snapshot.start_s < event.end_s
    rows["status"] = going_on
    return rows


def _as_text(rows: NDArray[np.void]) -> bytes:
    figures = [[str(figure) if figure != MISSING else MISSING_TEXT for figure in row] for row in rows["figures"].tolist()]
    stamps = zip(rows["number"].tolist(), rows["stamp_us"].tolist(), figures, rows["status"].tolist(), strict=True)
    return "".join(f"{number},{stamp},{','.join(each)},{status}\r\n" for number, stamp, each, status in stamps).encode()


def _stamp(began_at: datetime, at_s: float) -> str:
    return (began_at + timedelta(seconds=at_s)).strftime("%d/%m/%Y,%H:%M:%S.%f")


def _plain(text: str) -> str:
    """Without what would break a line of the configuration file."""
    return "".join(" " if c in ",\r\n" else c for c in text)


Form = Literal["comtrade", "comtrade-ascii", "csv"]
FORMS: tuple[Form, ...] = ("comtrade", "comtrade-ascii", "csv")


def moment_files(snapshot: Snapshot, event: Event, origin: Origin, form: Form) -> dict[str, bytes]:
    """Files by name: .cfg, .dat and .hdr of a COMTRADE record, or one .csv for spreadsheet programs."""
    stem = file_stem(event)
    if form == "csv":
        return {f"{stem}.csv": snapshot_csv(snapshot, event).encode("utf-8-sig")}
    record = comtrade(snapshot, event, origin, "BINARY" if form == "comtrade" else "ASCII")
    return {f"{stem}.cfg": record.cfg.encode(), f"{stem}.dat": record.dat, f"{stem}.hdr": record.hdr.encode()}


def zipped(files: dict[str, bytes]) -> bytes:
    """Files as one ZIP."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as bundle:
        for name, data in files.items():
            bundle.writestr(name, data)
    return held.getvalue()


def file_stem(event: Event) -> str:
    """What an event's files are called: number, cause, district."""
    district = re.sub(r"[^a-z0-9]+", "-", event.district.lower()).strip("-")[:40].strip("-")
    return f"event-{event.id:04d}_{event.cause.value}" + (f"_{district}" if district else "")
