"""The payload: everything the live page needs in one tick, the same for all viewers."""

import math

from dashboard.views.figures import channel_decimals, figure, volt_amperes
from dashboard.views.shares import OutputLoad, output_loads
from monitor.layout import District, Layout
from monitor.runtime.picture import Picture
from monitor.runtime.trend import BUCKET_S, TrendWindow
from monitor.standing import DistrictNow, Headline, LayoutStanding, Level, State, assess, headline
from monitor.standing.notices import ended_s, is_unseen
from monitor.standing.states import Countdown, DistrictStanding, Flood, Notice, SupplyStanding
from monitor.standing.words import (
    OVERLOAD_RULES,
    WORD_OF_CAUSE,
    WORD_OF_LEVEL,
    WORD_OF_PORT,
    countdown_words,
    flood_words,
    full_message,
    heat_words,
    past_words,
    state_word,
)
from monitor.values import Event, Finding
from monitor.values import Warning as RaisedWarning

Json = dict[str, object]

WARNINGS_SHOWN = 20
PAST_SHOWN = 5
FINDINGS_SHOWN = 8


def tick(layout: Layout, picture: Picture, recent: TrendWindow, standing: LayoutStanding | None = None) -> Json:
    """One tick.

    Args:
        layout: The layout file.
        picture: How everything stands.
        recent: The last few buckets of all districts, enough to heal what a viewer missed.
        standing: How everything stands, where that was judged elsewhere: in the order of the layout.
    """
    standing = assess(layout, picture) if standing is None else standing
    return {
        "now_s": round(picture.now_s, 3),
        **standing_part(standing, standing.at_s),
        "districts": [
            {**_figures(picture, row, now), **district_part(own, standing.at_s)}
            for row, now, own in zip(layout.district, picture.districts, standing.districts, strict=True)
        ],
        "supplies": [
            {**_shares(output_loads(layout, supply, picture.districts)), **supply_part(own, standing.at_s)}
            for supply, own in zip(layout.supply, standing.supplies, strict=True)
        ],
        "past": _past(picture),
        "findings": [*_troubles(picture), *(_finding(layout, f, picture.now_s) for f in picture.findings[:FINDINGS_SHOWN])],
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


def standing_part(standing: LayoutStanding, now_s: float) -> Json:
    """Headline and warnings of a standing as they read at a moment: the same wherever a layout is shown."""
    shown = [_notice(notice, standing, now_s) for notice in standing.notices]
    if standing.flood is not None:
        shown.insert(0, _flood(standing.flood, standing, now_s))
    return {
        "headline": headline_part(headline(standing, now_s), now_s),
        "warnings": shown[:WARNINGS_SHOWN],
        "more_warnings": max(0, len(shown) - WARNINGS_SHOWN),
    }


def headline_part(head: Headline, now_s: float) -> Json:
    """The headline."""
    return {
        "level": head.level,
        "sentence": head.sentence,
        "more": head.more,
        "opens": opens_part(head.countdown, now_s),
        "ids": head.ids,
        "latched": head.is_latched,
        "why": "/stalls" if head.district else "",
    }


def opens_part(countdown: Countdown | None, now_s: float) -> Json | None:
    """The one countdown of a protection, in seconds from now and in words."""
    if countdown is None:
        return None
    latest_s = countdown.latest_at_s
    return {
        "in_s": round(max(0.0, countdown.opens_at_s - now_s), 1),
        "earliest_s": round(max(0.0, countdown.earliest_at_s - now_s), 1),
        "latest_s": None if latest_s is None else round(max(0.0, latest_s - now_s), 1),
        "words": countdown_words(countdown, now_s),
    }


def district_part(standing: DistrictStanding, now_s: float) -> Json:
    """How a district stands, for its card."""
    return {
        "state": standing.state,
        "level": standing.level,
        "word": state_word(standing, now_s),
        "fits": standing.room,
        "limit": standing.limit,
        "share": _rounded(standing.share, 3),
    }


def supply_part(standing: SupplyStanding, now_s: float) -> Json:
    """How a supply stands, for its panel."""
    return {
        "state": standing.state,
        "level": standing.level,
        "word": state_word(standing, now_s),
        "limit": standing.limit,
        "share": _rounded(standing.share, 3),
        "unread": standing.unknown,
        "left_amps": _rounded(standing.amps_left, 2),
        "opens": opens_part(standing.countdown, now_s),
        "heat": None if standing.state is State.STALE else _rounded(standing.heat, 2),
        "heat_words": heat_words(standing, now_s),
    }


def _notice(notice: Notice, standing: LayoutStanding, now_s: float) -> Json:
    supply = next((each for each in standing.supplies if each.name == notice.supply), None)
    counts = supply is not None and (notice.rule in OVERLOAD_RULES or notice.opens_as_raised_s is not None)
    shelved_s = notice.shelved_until_s
    message, advice = full_message(notice, standing, now_s)
    return {
        "id": notice.ids[0],
        "ids": notice.ids,
        "level": notice.level,
        "word": WORD_OF_LEVEL[notice.level],
        "where": notice.where,
        "first": notice.first_out,
        "comes_and_goes": notice.comes_and_goes,
        "message": message,
        "advice": advice,
        "since_s": round(now_s - notice.start_s),
        "opens": opens_part(supply.countdown if supply is not None and counts else None, now_s),
        "acknowledged": notice.acknowledged,
        "shelved_s": None if shelved_s is None else round(shelved_s - now_s),
    }


def _flood(flood: Flood, standing: LayoutStanding, now_s: float) -> Json:
    """A flood in the form of a warning, that of no place."""
    message, advice = flood_words(flood, standing)
    return {
        "id": flood.ids[0],
        "ids": flood.ids,
        "level": Level.LOW,
        "word": WORD_OF_LEVEL[Level.LOW],
        "where": "many warnings",
        "first": False,
        "comes_and_goes": False,
        "message": message,
        "advice": advice,
        "since_s": round(now_s - flood.start_s),
        "opens": None,
        "acknowledged": False,
        "shelved_s": None,
    }


def _past(picture: Picture) -> list[Json]:
    """Warnings that cleared and faults that happened lately, newest first, each with the way to its moment."""
    found = [
        (
            ended_s(w),
            {
                "id": f"w{w.id}",
                "where": w.scope.name,
                "what": _over(w),
                "unseen": [w.id] if is_unseen(w) else [],
                "link": _moment(w),
            },
        )
        for w in picture.past_warnings[:PAST_SHOWN]
    ]
    faults = [event for event in picture.events if event.cause.is_fault][:PAST_SHOWN]
    found += [
        (e.start_s, {"id": f"e{e.id}", "where": e.district, "what": WORD_OF_CAUSE[e.cause], "unseen": [], "link": _stall(e)})
        for e in faults
    ]
    found.sort(key=lambda pair: pair[0], reverse=True)
    return [{**said, "ago_s": round(picture.now_s - at_s)} for at_s, said in found[:PAST_SHOWN]]


def _stall(event: Event) -> str:
    """Where an event is explained."""
    return f"/stalls?event={event.id}"


def _moment(warning: RaisedWarning) -> str:
    """Where the figures around a warning are drawn: in the session that is being recorded."""
    return f"/review?session=now&at={warning.start_s:.1f}"


def _over(warning: RaisedWarning) -> str:
    """What a warning that cleared had said, and whether anybody had marked it as seen."""
    return f"{past_words(warning.message, warning.time_words)} (over{', not seen yet' if is_unseen(warning) else ''})"


def _columns(table: object, decimals: int) -> list[list[float | None]]:
    rows: list[list[float]] = table.T.tolist()  # type: ignore[attr-defined]
    return [[None if math.isnan(value) else round(value, decimals) for value in row] for row in rows]


def _figures(picture: Picture, row: District, now: DistrictNow) -> Json:
    volts_decimals, amps_decimals = channel_decimals(picture, row)
    return {
        "volts": figure(now.volts_rms, volts_decimals, at_least=now.volts_clipped),
        "amps": figure(now.amps_rms, amps_decimals, at_least=now.amps_clipped),
        "va": volt_amperes(now.volt_amperes, at_least=now.power_clipped),
        "clipped": now.power_clipped,
        "age_s": _rounded(now.age_s, 2),
        "good": now.is_good,
    }


def _shares(outputs: list[OutputLoad]) -> Json:
    amps = sum(output.amps or 0.0 for output in outputs)
    known = [output.volt_amperes for output in outputs if output.volt_amperes is not None]
    clipped = any(output.clipped for output in outputs)
    return {
        "va": volt_amperes(sum(known) if known else None, at_least=clipped),
        "clipped": clipped,
        "outputs": [
            {
                "va": volt_amperes(output.volt_amperes, at_least=output.clipped),
                "amps": figure(output.amps, 1, at_least=output.clipped),
                "share": _rounded(output.share, 3),
                "of_all": _rounded((output.amps or 0.0) / amps, 3) if amps else 0.0,
            }
            for output in outputs
        ],
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
