"""The samples around an event as files to take away."""

import io
import re
import zipfile
from typing import Literal

from monitor.sessions.comtrade import Origin, comtrade, snapshot_csv
from monitor.values import Event, Snapshot

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
