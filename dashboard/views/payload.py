"""The payload: everything the live page needs in one tick, the same for all viewers."""

import math

from dashboard.views.figures import channel_decimals, figure, volt_amperes
from dashboard.views.headroom import district_room, fresh_load, heat_words, message_now, opening, supply_room
from dashboard.views.shares import OutputLoad, SupplyShare, supply_loads
from dashboard.views.words import (
    LEVEL_OF_PRIORITY,
    WORD_OF_CAUSE,
    WORD_OF_PORT,
    WORD_OF_PRIORITY,
    district_standing,
    first_sentence,
    has_no_power,
    headline,
    is_unseen,
    supply_standing,
)
from monitor.layout import District, Layout
from monitor.runtime import DistrictNow, Picture, StandingWarning
from monitor.runtime.trend import BUCKET_S, TrendWindow
from monitor.values import Finding
from monitor.values import Warning as RaisedWarning

Json = dict[str, object]

WARNINGS_SHOWN = 20
PAST_SHOWN = 5
FINDINGS_SHOWN = 8


def tick(layout: Layout, picture: Picture, recent: TrendWindow) -> Json:
    """One tick.

    Args:
        layout: The layout file.
        picture: How everything stands.
        recent: The last few buckets of all districts, enough to heal what a viewer missed.
    """
    loads = supply_loads(layout, picture.districts)
    outputs = {(load.name, output.name): output for load in loads for output in load.outputs}
    by_supply = {load.name: load for load in loads}
    head = headline(layout, picture, loads)
    return {
        "now_s": round(picture.now_s, 3),
        "headline": {
            "level": head.level,
            "sentence": head.sentence,
            "more": head.more,
            "opens_in_s": _rounded(head.opens_in_s, 1),
            "warning_id": head.warning_id,
        },
        "districts": [
            _district(picture, row, now, outputs[row.supply, row.output], by_supply[row.supply])
            for row, now in zip(layout.district, picture.districts, strict=True)
        ],
        "supplies": [_supply(load, picture) for load in loads],
        **_notices(layout, picture),
        "ports": [{"well": p.is_well, "board": p.board or p.port, "word": WORD_OF_PORT[p.state]} for p in picture.ports],
        "recording": {"sentence": picture.recording, "well": picture.recording_is_well},
        "muted_s": None if picture.muted_until_s is None else round(picture.muted_until_s - picture.now_s, 1),
        "news": picture.news,
        "mark": picture.marks[0].text if picture.marks else None,
        "trace": trace(recent),
    }


def trace(window: TrendWindow) -> Json:
    """Buckets for the traces: per district lists of volts, amps and highest amps, null where nothing came."""
    return {
        "first": window.first,
        "bucket_s": BUCKET_S,
        "volts": _columns(window.volts_rms, 1),
        "amps": _columns(window.amps_rms, 2),
        "peaks": _columns(window.amps_highest, 2),
    }


def _notices(layout: Layout, picture: Picture) -> Json:
    return {
        "warnings": [_warning(standing, picture) for standing in picture.warnings[:WARNINGS_SHOWN]],
        "more_warnings": max(0, len(picture.warnings) - WARNINGS_SHOWN),
        "past": _past(picture),
        "findings": [*_troubles(picture), *(_finding(layout, f, picture.now_s) for f in picture.findings[:FINDINGS_SHOWN])],
    }


def _past(picture: Picture) -> list[Json]:
    """Warnings that cleared and faults that happened lately, newest first."""
    found = [
        (
            w.end_s or w.start_s,
            {"id": f"w{w.id}", "where": w.scope.name, "what": _over(w), "unseen": w.id if is_unseen(w) else None},
        )
        for w in picture.past_warnings[:PAST_SHOWN]
    ]
    faults = [event for event in picture.events if event.cause.is_fault][:PAST_SHOWN]
    found += [
        (e.start_s, {"id": f"e{e.id}", "where": e.district, "what": WORD_OF_CAUSE[e.cause], "unseen": None}) for e in faults
    ]
    found.sort(key=lambda pair: pair[0], reverse=True)
    return [{**said, "ago_s": round(picture.now_s - at_s)} for at_s, said in found[:PAST_SHOWN]]


def _over(warning: RaisedWarning) -> str:
    """What a warning that cleared had said, and whether anybody had marked it as seen."""
    return f"over{', not seen yet' if is_unseen(warning) else ''}: {first_sentence(warning.message)}"


def _columns(table: object, decimals: int) -> list[list[float | None]]:
    rows: list[list[float]] = table.T.tolist()  # type: ignore[attr-defined]
    return [[None if math.isnan(value) else round(value, decimals) for value in row] for row in rows]


def _district(picture: Picture, row: District, now: DistrictNow, output: OutputLoad, load: SupplyShare) -> Json:
    volts_decimals, amps_decimals = channel_decimals(picture, row)
    standing = district_standing(row, now, output.share, picture)
    own = now.volt_amperes if not now.is_stale else None
    return {
        "volts": figure(now.volts_rms, volts_decimals),
        "amps": figure(now.amps_rms, amps_decimals),
        "va": volt_amperes(now.volt_amperes),
        "fits": "" if now.is_stale or has_no_power(now) else district_room(fresh_load(picture, row.supply), row.name),
        "of_output": None if now.is_stale or now.amps_rms is None else _rounded(now.amps_rms / output.limit_amps, 3),
        "of_supply": _rounded(own / load.allowed_va, 3) if own is not None and load.allowed_va else None,
        "age_s": _rounded(now.age_s, 2),
        "level": standing.level,
        "word": standing.word,
        "good": now.is_good,
    }


def _supply(load: SupplyShare, picture: Picture) -> Json:
    standing = supply_standing(load, picture.warnings)
    judged = fresh_load(picture, load.name)
    return {
        "limit": supply_room(judged),
        "heat": None if judged is None else _rounded(judged.heat, 2),
        "heat_words": heat_words(judged, picture.now_s),
        "va": volt_amperes(load.volt_amperes),
        "share": _rounded(load.share, 3),
        "level": standing.level,
        "word": standing.word,
        "outputs": [
            {
                "va": volt_amperes(output.volt_amperes),
                "amps": figure(output.amps, 1),
                "share": _rounded(output.share, 3),
                "of_plate": _rounded(output.volt_amperes / load.allowed_va, 3)
                if output.volt_amperes is not None and load.allowed_va
                else None,
            }
            for output in load.outputs
        ],
    }


def _warning(standing: StandingWarning, picture: Picture) -> Json:
    warning, now_s = standing.warning, picture.now_s
    shelved = standing.shelved_until_s
    opens = opening(standing, picture)
    return {
        "id": warning.id,
        "level": LEVEL_OF_PRIORITY[warning.priority],
        "word": WORD_OF_PRIORITY[warning.priority],
        "where": warning.scope.name,
        "first": warning.first_out,
        "comes_and_goes": warning.comes_and_goes,
        "message": message_now(standing, picture),
        "advice": warning.advice,
        "since_s": round(now_s - warning.start_s),
        "opens_in_s": None if opens is None else _rounded(opens.in_s, 1),
        "acknowledged": standing.acknowledged,
        "shelved_s": None if shelved is None else round(shelved - now_s),
    }


def _troubles(picture: Picture) -> list[Json]:
    """What is not well of the program itself, of ports and recorder, in the shape of findings."""
    found: list[Json] = [
        {"id": port.port, "where": port.board or port.port, "what": WORD_OF_PORT[port.state], "check": port.sentence}
        for port in picture.ports
        if not port.is_well
    ]
    found += [
        {"id": f"trouble-{k}", "where": "pilotlamp itself", "what": "in trouble", "check": sentence}
        for k, sentence in enumerate(picture.troubles)
    ]
    if not picture.recording_is_well:
        found.append({"id": "recording", "where": "recording", "what": "not going on", "check": picture.recording or ""})
    return [{**trouble, "ago_s": None, "count": 1} for trouble in found]


def _finding(layout: Layout, finding: Finding, now_s: float) -> Json:
    return {
        "id": finding.id,
        "where": _sensor(layout, finding),
        "what": finding.kind.value.replace("-", " "),
        "check": finding.check,
        "ago_s": None if finding.end_s is None else round(now_s - finding.end_s),
        "count": finding.count,
    }


def _sensor(layout: Layout, finding: Finding) -> str:
    """The district's volts or amps where the channel is known, else the board."""
    for row in layout.districts_of_board(finding.board):
        if finding.channel == row.volts_channel:
            return f"{row.name}, volts"
        if finding.channel == row.amps_channel:
            return f"{row.name}, amps"
    return finding.board if finding.channel is None else f"{finding.board}, channel {finding.channel}"


def _rounded(value: float | None, decimals: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, decimals)
