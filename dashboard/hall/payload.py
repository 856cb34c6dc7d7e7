"""Payloads of the hall's pages: the hall as a whole, and one station in the live page's own form."""

from dataclasses import replace
from urllib.parse import urlencode

from dashboard.feed import HEALING_BUCKETS
from dashboard.hall.as_layout import Moment, layout_of, picture_of, trend_of
from dashboard.views.figures import figure
from dashboard.views.payload import headline_part, standing_part, tick, trace
from monitor.bus.hall_listener import HallPicture
from monitor.bus.hall_values import STALE_AFTER_S, TROUBLE_OF_LEVEL, DistrictView, StationView, Trouble
from monitor.layout import Layout
from monitor.standing import Headline, LayoutStanding, Level, headline
from monitor.standing.states import URGENCY
from monitor.standing.words import first_sentence
from monitor.words.figures import percent, seconds

LEVEL_OF_TROUBLE: dict[Trouble, Level] = {
    "high": Level.HIGH,
    "silent": Level.STALE,
    "medium": Level.MEDIUM,
    "low": Level.LOW,
    "well": Level.WELL,
    "gone": Level.REST,
}
WORD_OF_TROUBLE: dict[Trouble, str] = {
    "high": "act now",
    "silent": "silent",
    "medium": "act soon",
    "low": "no hurry",
    "well": "running",
    "gone": "closed down",
}
WALL_TROUBLES: tuple[Trouble, ...] = ("high", "silent", "medium", "low")
"""What the wall stops at."""
CLOCK_SHOWN_S = 2.0
"""A station's clock that is off by less is not worth a word: a message needs a part of it."""


def clock_words(ahead_s: float | None) -> str:
    """How far a station's clock is off; empty where it is right or not known."""
    if ahead_s is None or abs(ahead_s) < CLOCK_SHOWN_S:
        return ""
    return f"clock {seconds(abs(ahead_s))} {'ahead' if ahead_s > 0 else 'behind'}"


def counted(stations: tuple[StationView, ...]) -> str:
    """How many stand how: "2 act now, 1 silent, 40 running"."""
    found = ((trouble, sum(station.trouble == trouble for station in stations)) for trouble in WORD_OF_TROUBLE)
    return ", ".join(f"{count} {WORD_OF_TROUBLE[trouble]}" for trouble, count in found if count)


Json = dict[str, object]
WARNINGS_SHOWN = 20
STATIONS_SHOWN = 300
"""The worst of them: a browser draws no more tiles with ease, and more are not looked at."""


def hall_tick(picture: HallPicture, at: Moment) -> Json:
    """Everything the hall page needs in one tick: the form of the live page, with stations in place of districts."""
    warnings = [_of_station(station, told) for station in picture.stations for told in _told(station)]
    warnings.sort(key=lambda told: (told["shelved_s"] is not None, -URGENCY.index(Level(str(told["level"])))))
    heard = [station.heard_s_ago for station in picture.stations if station.heard_s_ago is not None]
    return {
        "now_s": round(at.page_s, 3),
        "stale_after_s": STALE_AFTER_S,
        "oldest_s": round(min(heard), 2) if heard else None,
        "headline": _headline(picture),
        "stations": [_station(station) for station in picture.stations[:STATIONS_SHOWN]],
        "more_stations": _further(picture.stations[STATIONS_SHOWN:]),
        "districts": [],
        "supplies": [],
        "warnings": warnings[:WARNINGS_SHOWN],
        "more_warnings": max(0, len(warnings) - WARNINGS_SHOWN),
        "past": [],
        "findings": [],
        **_surroundings(picture),
        "trace": {"first": 0, "bucket_s": 1.0, "volts": [], "amps": [], "peaks": []},
    }


def station_tick(picture: HallPicture, station: StationView, layout: Layout, at: Moment) -> Json:
    """One station, as its own live page shows it; its layout by ``layout_of``."""
    recent = trend_of(station, layout, at.page_s, HEALING_BUCKETS)
    payload = tick(layout, picture_of(station, layout, at), recent, _in_order(station.standing, layout))
    if station.state != "here":
        head = Headline(
            level=LEVEL_OF_TROUBLE[station.trouble],
            sentence=f"{station.name}: {station.reasons[0] if station.reasons else WORD_OF_TROUBLE[station.trouble]}",
            more="Below is what it sent last.",
        )
        payload["headline"] = headline_part(head, at.page_s)
    return {**payload, "stale_after_s": STALE_AFTER_S, **_surroundings(picture), "recording": _sending(station)}


def _in_order(standing: LayoutStanding | None, layout: Layout) -> LayoutStanding | None:
    """A standing in the order of another layout; None where it does not tell of all of it."""
    if standing is None:
        return None
    districts = {row.name: row for row in standing.districts}
    supplies = {row.name: row for row in standing.supplies}
    if any(row.name not in districts for row in layout.district) or any(row.name not in supplies for row in layout.supply):
        return None
    return replace(
        standing,
        districts=tuple(districts[row.name] for row in layout.district),
        supplies=tuple(supplies[row.name] for row in layout.supply),
    )


def station_trace(station: StationView, at: Moment, buckets: int) -> Json:
    """The last minute of a station's districts."""
    layout = layout_of(station)
    return trace(trend_of(station, layout, at.page_s, buckets))


def station_query(station: StationView) -> str:
    """How a station is asked for, as a query."""
    return "?" + urlencode({"hall": station.hall, "station": station.name})


def spots(picture: HallPicture) -> list[str]:
    """Queries of the stations where the wall stops, worst first."""
    return [station_query(station) for station in picture.stations if station.trouble in WALL_TROUBLES]


def _further(stations: tuple[StationView, ...]) -> str:
    return f"{len(stations)} further stations are not drawn: {counted(stations)}." if stations else ""


def _headline(picture: HallPicture) -> Json:
    """The headline of the station that stands worst, with its name before it."""
    stations = picture.stations
    if not picture.connected:
        level, sentence, more = (
            Level.STALE,
            picture.sentence or "The broker of the hall cannot be reached",
            "What is below is old.",
        )
    elif not stations:
        level, sentence, more = Level.STALE, "No station has sent anything yet", "Stations publish with pilotlamp watch --broker."
    elif stations[0].trouble in WALL_TROUBLES:
        worst = stations[0]
        head = headline(worst.standing) if worst.standing is not None and worst.state == "here" else None
        if head is not None and TROUBLE_OF_LEVEL[head.level] == worst.trouble:
            head = replace(
                head, sentence=f"{worst.name}: {head.sentence}", more=f"{head.more} In all: {counted(stations)}.", ids=()
            )
            return headline_part(replace(head, is_latched=False, district=""), worst.standing.at_s if worst.standing else 0.0)
        level, more = LEVEL_OF_TROUBLE[worst.trouble], counted(stations)
        sentence = f"{worst.name}: {first_sentence(worst.reasons[0]) if worst.reasons else WORD_OF_TROUBLE[worst.trouble]}"
    else:
        level, sentence, more = Level.WELL, "Every station is well", counted(stations)
    return headline_part(Headline(level=level, sentence=sentence, more=more), 0.0)


def _told(station: StationView) -> list[Json]:
    """Warnings of a station, as its own page words them."""
    return [] if station.standing is None else standing_part(station.standing, station.standing.at_s)["warnings"]  # type: ignore[return-value]


def _of_station(station: StationView, told: Json) -> Json:
    name = f"{station.hall}/{station.name}/{told['id']}"
    return {**told, "id": name, "ids": [name], "where": f"{station.name}, {told['where']}"}


def _station(station: StationView) -> Json:
    nearest = next((supply for supply in station.supplies if supply.share is not None), None)
    well = (
        f"Closest: {nearest.name}, {percent(nearest.share)} of its limit" if nearest is not None else "Nothing stands against it"
    )
    return {
        "id": f"{station.hall}/{station.name}",
        "query": station_query(station),
        "hall": station.hall,
        "name": station.name,
        "title": station.title if station.title != station.name else "",
        "level": LEVEL_OF_TROUBLE[station.trouble],
        "word": "lost" if station.state == "lost" else WORD_OF_TROUBLE[station.trouble],
        "reason": station.reasons[0] if station.reasons else well,
        "more": max(0, len(station.reasons) - 1),
        "age_s": None if station.age_s is None else round(station.age_s, 2),
        "clock": clock_words(station.clock_ahead_s),
        "districts": [_district(row) for row in station.districts],
    }


def _district(row: DistrictView) -> Json:
    share = row.amps / row.limit_amps if row.amps is not None and row.limit_amps else None
    return {
        "name": row.name,
        "level": LEVEL_OF_TROUBLE[row.trouble] if not row.doubtful else Level.DOUBT,
        "amps": figure(row.amps, 1, at_least=row.clipped),
        "share": None if share is None else round(share, 3),
        "age_s": None if row.age_s is None else round(row.age_s, 2),
    }


def _surroundings(picture: HallPicture) -> Json:
    word = "talking" if picture.connected else "out of reach"
    return {
        "ports": [{"well": picture.connected and not picture.sentence, "board": "broker", "word": picture.sentence or word}],
        "recording": {"sentence": None, "well": True},
        "muted_s": None,
        "mark": None,
    }


def _sending(station: StationView) -> Json:
    """In the place where the live page says how recording stands."""
    if station.lost or station.thinned or station.waiting > 100:
        return {"sentence": f"{station.waiting} messages wait there", "well": False}
    clock = clock_words(station.clock_ahead_s)
    return {"sentence": clock or None, "well": not clock}
