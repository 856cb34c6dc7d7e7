"""Messages for tests, made from plain words."""

from monitor.bus.payloads import (
    Acknowledgement,
    EventNote,
    Outline,
    OutlineDistrict,
    OutlineSupply,
    Presence,
    Readings,
    WarningNote,
)

BOOT = "0123456789abcdef"
BEGAN = 1_764_070_000.0


def head(seq=1, boot=BOOT, made=BEGAN + 1):
    return {"boot": boot, "seq": seq, "made_unix_s": made}


def readings(seq=1, first=0, rows=1, districts=("Outer main", "Inner main"), amps=2.0, share=0.5, **more):
    d = len(districts)
    return Readings(
        **{**head(seq), **more},
        began_unix_s=BEGAN,
        first=first,
        rows=rows,
        districts=districts,
        volts=((15.0,) * rows,) * d,
        amps=((amps,) * rows,) * d,
        amps_highest=((None if amps is None else amps + 0.5,) * rows,) * d,
        watts=((None,) * rows,) * d,
        supplies=("North bench",),
        va=((60.0,) * rows,),
        share=((share,) * rows,),
    )


def warning(seq=2, number=1, end_s=None, priority="high", name="North bench", scope="supply", **more):
    return WarningNote(
        **{"message": "North bench draws more than its breaker holds.", **head(seq), **more},
        began_unix_s=BEGAN,
        id=number,
        rule="trip-forecast",
        priority=priority,
        scope=scope,
        name=name,
        start_s=10.0,
        end_s=end_s,
        trip_in_s=25.0,
        advice="Slow down or take a train off.",
        share=1.3,
    )


def event(seq=3, number=1, district="Quarry branch", cause="lost-contact", start_s=11.0, end_s=11.4, **more):
    return EventNote(
        **{**head(seq), **more}, began_unix_s=BEGAN, id=number, district=district, cause=cause, fault=True,
        start_s=start_s, end_s=end_s, confidence=0.9,
    )  # fmt: skip


def presence(seq=4, state="here", **more):
    return Presence(**{**head(seq), "now_s": 12.0, **more}, state=state)


def outline(seq=5, districts=("Outer main", "Inner main"), title="Fernhollow show layout", **more):
    return Outline(
        **{**head(seq), **more},
        title=title,
        supplies=(OutlineSupply(name="North bench", plate_va=180.0),),
        districts=tuple(
            OutlineDistrict(name=name, supply="North bench", output="A", use="track", limit_amps=10.0) for name in districts
        ),
    )


def kept(**more):
    return Acknowledgement(**{"names": ((BOOT, 3, 17), (BOOT, 20, 20)), **more})


ONE_OF_EACH = {"readings": readings, "warnings": warning, "events": event, "presence": presence, "layout": outline, "kept": kept}
