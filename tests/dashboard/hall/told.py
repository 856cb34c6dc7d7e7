"""A hall whose book was told by plain letters, on a clock that stands until it is moved."""

import itertools

import msgspec
from msgspec.structs import replace

from monitor.bus.broker import Address
from monitor.bus.hall_book import HallBook
from monitor.bus.hall_listener import HallPicture
from monitor.bus.payloads import Outline, OutlineDistrict, OutlineSupply, Presence, Readings, Received, WarningNote
from monitor.runtime.picture import Picture
from monitor.standing import DistrictNow, StandingWarning, assess
from monitor.values import Priority, Scope
from monitor.values import Warning as RaisedWarning
from tests.browser.hall import hall_layout
from tests.standing.moments import load_of

HALL = "Fernhollow hall"
DISTRICTS = ("Outer main", "Quarry branch")
BEGAN = 1_764_070_000.0


class ToldHall:
    """Stations that say what a test wants them to."""

    def __init__(self, *names, districts=DISTRICTS):
        self.book, self.unix_s = HallBook(), BEGAN
        self.connected, self.sentence = True, ""
        self._seq, self._ids = itertools.count(1), itertools.count(1)
        self.names, self.districts = names, districts
        self.ahead = dict.fromkeys(names, 0.0)
        self.raised = {name: [] for name in names}
        self.layout = msgspec.structs.replace(hall_layout(len(districts)), district=tuple(
            msgspec.structs.replace(row, name=name) for row, name in zip(hall_layout(len(districts)).district, districts, strict=True)
        ))  # fmt: skip
        for name in names:
            self.say(name, "layout", self._outline(name))

    def look(self, hall=None, station=None):
        if station is None:
            stations = self.book.stations(self.unix_s, hall)
        else:
            one = self.book.station(hall, station, self.unix_s)
            stations = () if one is None else (one,)
        return HallPicture(now_unix_s=self.unix_s, stations=stations, connected=self.connected, sentence=self.sentence, faults={})

    def run(self, seconds, amps=2.0, silent=(), clipped=()):
        """Readings twice a second and presence, of all that are not silent."""
        for _ in range(round(seconds * 2)):
            self.unix_s += 0.5
            for name in self.names:
                if name not in silent:
                    self.stand(name)
                    self.say(name, "readings", self._readings(name, amps, clipped))

    def standing(self, name):
        found = self.book.station(HALL, name, self.unix_s)
        return found.warnings if found else ()

    def warn(
        self,
        name,
        priority="high",
        message="North bench draws 32 % more than its protection holds.",
        trip_in_s=60.0,
        place="North bench",
    ):
        note = self._warning(name, next(self._ids), priority, message, trip_in_s, place)
        self.raised[name].append(note)
        self.say(name, "warnings", note)
        self.stand(name)

    def stand(self, name):
        """Presence, with how the station itself says that it stands: figures of now, and whatever was raised."""
        now_s = self.unix_s - BEGAN
        presence = Presence(**self.head(name), state="here", now_s=now_s, standing=self.standing(name))
        self.say(name, "presence", replace(presence, judged=assess(self.layout, self._picture(name, now_s))))

    def _picture(self, name, now_s):
        rows = tuple(DistrictNow(name=d, age_s=0.0, volts_rms=15.0, amps_rms=2.0) for d in self.districts)
        raised = tuple(
            StandingWarning(warning=RaisedWarning(
                id=note.id, rule=note.rule, priority=Priority[note.priority.upper()], scope=Scope(kind=note.scope, name=note.name),
                start_s=note.start_s, end_s=None, trip_in_s=note.trip_in_s, message=note.message, advice=note.advice,
            ))
            for note in self.raised[name]
        )  # fmt: skip
        opens_s = [note.start_s + note.trip_in_s - now_s for note in self.raised[name] if note.trip_in_s is not None]
        load = load_of(share=1.3 if opens_s else 0.33, forecast_s=min(opens_s, default=None), at_s=now_s)
        return Picture(now_s=now_s, districts=rows, warnings=raised, loads=(load,), boards={}, healths={})

    def head(self, name):
        return {"boot": "0123456789abcdef", "seq": next(self._seq), "made_unix_s": self.unix_s + self.ahead[name]}

    def say(self, name, kind, letter):
        self.book.take(Received(address=Address(hall=HALL, station=name, kind=kind), body=letter), self.unix_s)

    def _outline(self, name):
        rows = tuple(
            OutlineDistrict(name=d, supply="North bench", output="A", use="track", limit_amps=10.0) for d in self.districts
        )
        supply = OutlineSupply(name="North bench", plate_va=180.0, max_volts=18.0)
        return Outline(**self.head(name), title="Fernhollow show layout", supplies=(supply,), districts=rows)

    def _readings(self, name, amps, clipped):
        def column(value):
            return tuple((value,) for _ in self.districts)

        began = BEGAN + self.ahead[name]
        return Readings(
            **self.head(name),
            began_unix_s=began,
            first=round((self.unix_s - BEGAN) * 2) - 1,
            rows=1,
            districts=self.districts,
            volts=column(15.0),
            amps=column(amps),
            amps_highest=column(amps),
            watts=column(15.0 * amps),
            clipped=clipped,
            supplies=("North bench",),
            va=((15.0 * amps * len(self.districts),),),
            share=((15.0 * amps * len(self.districts) / 180.0,),),
        )

    def _warning(self, name, number, priority, message, trip_in_s, place):
        return WarningNote(
            **self.head(name),
            began_unix_s=BEGAN + self.ahead[name],
            id=number,
            rule="trip-forecast",
            priority=priority,
            scope="supply",
            name=place,
            start_s=self.unix_s - BEGAN,
            end_s=None,
            trip_in_s=trip_in_s,
            message=message,
            advice="Stop a train.",
        )
