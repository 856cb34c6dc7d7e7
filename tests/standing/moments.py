"""Moments to judge: plain figures, warnings and loads over one layout, with one word for each thing that varies."""

from dataclasses import replace

from monitor.layout import parse_layout
from monitor.protection import words
from monitor.protection.devices import devices_of
from monitor.protection.heat import HeatTrack
from monitor.protection.limits import output_limit
from monitor.protection.step_source import StepSource
from monitor.runtime.picture import Picture
from monitor.standing import DistrictNow, StandingWarning
from monitor.values import Cause, Event, Headroom, Limit, PlaceLoad, PortStatus, Priority, Scope, SupplyLoad, TripForecast
from monitor.values import Warning as RaisedWarning
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text

NOW_S = 1000.0
TEXT = head_text() + 'number = 0\nport = "/dev/ttyUSB0"\n'
TEXT += supply_text("North bench", more='[supply.protection]\nkind = "thermal"\nrated_amps = 10\n')
TEXT += supply_text("South bench", va=90, current="dc")
TEXT += output_text("A", "North bench") + "max_amps = 6\n" + output_text("B", "North bench")
TEXT += output_text("1", "South bench", "constant")
TEXT += district_text(0, "Outer main", "North bench", "A") + district_text(1, "Quarry branch", "North bench", "B")
TEXT += district_text(2, "Town lights", "South bench", "1", use="accessories")
LAYOUT = parse_layout(TEXT)
PLACES = [(row.name, row.supply) for row in LAYOUT.district]
WINDING = Limit(kind="winding", place="North bench", amps=10.0, va=None, words="the North bench winding at 10.0 A")
OUTPUT = output_limit(LAYOUT.output[0])
PLATE = Limit(kind="nameplate", place="South bench", amps=None, va=90.0, words="the South bench total of 90 VA")


def now_of(name="Outer main", volts=15.0, amps=2.0, age_s=0.1, **more):
    return DistrictNow(name=name, age_s=age_s, volts_rms=volts, amps_rms=amps, **more)


def load_of(name="North bench", share=0.7, forecast_s=None, at_s=NOW_S - 0.5, left=None, **more):
    """A supply as judged: a share of its binding limit, and districts with two amps each."""
    limit = WINDING if name == "North bench" else PLATE
    left = 10.0 * (1 - share) if left is None else left
    head = Headroom(share=share, binding=limit, amps_left=left, va_left=14 * left)
    ahead = TripForecast(
        in_s=forecast_s or 0.0, earliest_s=(forecast_s or 0.0) / 2, latest_s=2 * (forecast_s or 0.0), by_lap=False
    )
    forecast = None if forecast_s is None else ahead
    fits = tuple(
        PlaceLoad(name=d, amps=2.0, va=30.0, headroom=replace(head, sentence=f"2 more 1 A engines fit on {d}"))
        for d, supply in PLACES
        if supply == name
    )
    fields = {"heat": 0.3, "heat_lowest": 0.28, "heat_highest": 0.32} if name == "North bench" else {}
    return SupplyLoad(
        name=name, at_s=at_s, amps=10 * share, va=150 * share, headroom=head, limits=(limit,), forecast=forecast,
        districts=fits, **(fields | more),
    )  # fmt: skip


def wording_of(rule, name, in_s=30.0):
    """What the judge says of such a warning."""
    ahead = TripForecast(in_s=in_s, earliest_s=in_s / 2, latest_s=2 * in_s, by_lap=False)
    source = StepSource(district="Outer main", amps=6.4)
    supply = next((each for each in LAYOUT.supply if each.name == name), LAYOUT.supply[0])
    over = words.Use(limit=OUTPUT if "/" in name else WINDING, amps=12.0, va=168.0)
    return {
        "trip-forecast": lambda: words.trip_forecast(supply, 12.0, HeatTrack(devices_of(supply)), ahead, source),
        "short": lambda: words.short(name, 40.0, 1.2),
        "protection-open": lambda: words.opened(supply, in_s, after_short=False),
        "near-limit": lambda: words.near_limit(words.Use(limit=WINDING, amps=9.3, va=130.0)),
        "no-protection": lambda: words.unguarded(name, 1.6, source),
        "stalled": lambda: words.stalled(name, 3.0, 1.9, 7.0),
    }.get(rule, lambda: words.over_limit(over, source, ahead, ""))()


def warning_of(rule="trip-forecast", priority=Priority.HIGH, kind="supply", name="North bench", number=7, **more):
    said = wording_of(rule, name)
    fields = {
        "start_s": NOW_S - 10, "end_s": None, "trip_in_s": said.trip_in_s, "message": said.message, "advice": said.advice,
        "limit": said.limit, "time_words": said.time_words,
    }  # fmt: skip
    return RaisedWarning(id=number, rule=rule, priority=priority, scope=Scope(kind=kind, name=name), **(fields | more))


def standing(*args, shelved_until_s=None, acknowledged=False, **more):
    return StandingWarning(warning=warning_of(*args, **more), shelved_until_s=shelved_until_s, acknowledged=acknowledged)


def event_of(cause=Cause.LOST_CONTACT, district="Outer main", start_s=NOW_S - 2, end_s=None, number=1):
    return Event(id=number, district=district, cause=cause, start_s=start_s, end_s=end_s, confidence=0.9)


def port_of(state="reading", last_data_s=NOW_S - 0.1):
    return PortStatus(port="/dev/ttyUSB0", board="bench-1", state=state, sentence=f"bench-1 is {state}.", last_data_s=last_data_s)


SOUTH = load_of("South bench", 0.3)
LOADS = (load_of(), SOUTH)


def picture_of(*districts, loads=LOADS, **things):
    changed = {each.name: each for each in districts}
    rows = tuple(changed.get(row.name, now_of(row.name)) for row in LAYOUT.district)
    return Picture(now_s=NOW_S, districts=rows, loads=loads, boards={}, healths={}, **things)
