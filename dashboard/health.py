"""Health for other programs: is the watching program at work? One JSON object at /healthz, one OpenMetrics text at /metrics."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from flask import Blueprint, Response, request
from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.exposition import choose_encoder
from prometheus_client.registry import Collector

from dashboard.access import is_local
from dashboard.feed import json_answer
from dashboard.watch import WatchLike
from monitor.runtime.picture import Picture
from monitor.runtime.supervision import PartHealth
from monitor.standing import LayoutStanding, State, assess, headline
from monitor.standing.states import DistrictStanding, SupplyStanding
from monitor.standing.words import state_word
from monitor.values import PortStatus, Priority
from monitor.values.json_text import json_bytes

Json = dict[str, object]


def health_routes(watch: WatchLike) -> Blueprint:
    """The addresses /healthz and /metrics."""
    routes = Blueprint("health", __name__)
    registry = CollectorRegistry()  # not the library's own, which is shared by everything in the process
    registry.register(MetricsCollector(watch))
    ProcessCollector(registry=registry)

    @routes.get("/healthz")
    def healthz() -> Response:
        ports = watch.statuses()
        picture = watch.live.picture()
        standing = assess(watch.live.layout, replace(picture, ports=ports))
        well, report = health(watch.parts(), picture, standing, ports, names_ports=is_local(request))
        return json_answer(json_bytes(report), 200 if well else 503)

    @routes.get("/metrics")
    def metrics() -> Response:
        encode, content_type = choose_encoder(request.headers.get("Accept", ""))
        return Response(encode(registry), headers={"Content-Type": content_type, "Cache-Control": "no-store"})

    return routes


def health(
    parts: tuple[PartHealth, ...],
    picture: Picture,
    standing: LayoutStanding,
    ports: tuple[PortStatus, ...],
    *,
    names_ports: bool = True,
) -> tuple[bool, Json]:
    """Whether the program does its work, and what to say of it.

    A board that is unplugged or silent is reported, but it is not the program's fault: what restarts the program would not mend it.
    """
    late = any(district.late == "computer" for district in standing.districts)
    well = all(part.is_well for part in parts) and picture.recording_is_well and not late
    head, now_s = headline(standing), standing.at_s
    return well, {
        "status": "well" if well else "late" if late else "in trouble",
        "parts": [_part(part) for part in parts],
        "recording": {"well": picture.recording_is_well, "sentence": picture.recording},
        "ports": [_port(port, picture.now_s, named=names_ports) for port in ports],
        "headline": {"level": head.level, "sentence": head.sentence},
        "supplies": [_place(row, now_s) for row in standing.supplies],
        "districts": [_place(row, now_s) for row in standing.districts],
    }


def _place(row: SupplyStanding | DistrictStanding, now_s: float) -> Json:
    return {
        "name": row.name,
        "state": row.state,
        "word": state_word(row, now_s),
        "stale": row.state is State.STALE,
        "late": row.late == "computer",
        "age_s": None if row.figures_at_s is None else round(now_s - row.figures_at_s, 2),
    }


def _port(port: PortStatus, now_s: float, *, named: bool) -> Json:
    device: Json = {"port": port.port, "sentence": port.sentence} if named else {}
    age_s = None if port.last_data_s is None else round(now_s - port.last_data_s, 2)
    return {**device, "board": port.board, "state": port.state, "age_s": age_s}


def _part(part: PartHealth) -> Json:
    state = "not running" if not part.alive else "standing still" if part.is_stalled else "working"
    return {
        "name": part.name,
        "state": state,
        "age_s": round(part.still_s, 2),
        "failures": part.failures,
        "restarts": part.restarts,
        "trouble": part.standstill or part.trouble,
    }


PREFIX = "pilotlamp"


class MetricsCollector(Collector):
    """Collects from a watch when somebody asks.

    A figure that is stale or not measured is left out: in these texts there is no other way to say so.
    """

    def __init__(self, watch: WatchLike) -> None:
        self._watch = watch

    def collect(self) -> Iterable[Metric]:
        """All families."""
        picture = self._watch.live.picture()
        yield from _districts(picture)
        yield from _supplies(picture, assess(self._watch.live.layout, picture))
        yield from _ports(self._watch.statuses())
        yield from _parts(self._watch.parts())
        yield _gauge("recording_up", "1 while the recording goes on as it should.", [((), float(picture.recording_is_well))])
        counts = dict.fromkeys(Priority, 0)
        for standing in picture.warnings:
            counts[standing.warning.priority] += 1
        rows = [((priority.word,), float(count)) for priority, count in counts.items()]
        yield _gauge("warnings", "Warnings that stand now.", rows, ("priority",))

    def describe(self) -> Iterable[Metric]:
        """Nothing: what there is is known when it is collected."""
        return ()


Rows = Iterable[tuple[tuple[str, ...], float | None]]


def _districts(picture: Picture) -> Iterator[Metric]:
    label = ("district",)
    live = [row for row in picture.districts if not row.is_stale]
    yield _gauge("district_volts", "RMS volts of the district.", [((d.name,), d.volts_rms) for d in live], label, "volts")
    yield _gauge("district_amperes", "RMS amps of the district.", [((d.name,), d.amps_rms) for d in live], label, "amperes")
    yield _gauge("district_watts", "Real power of the district.", [((d.name,), d.watts) for d in live], label, "watts")
    ages = [((d.name,), d.age_s) for d in picture.districts]
    yield _gauge("district_data_age_seconds", "Age of the district's last reading.", ages, label, "seconds")
    good = [((d.name,), float(d.is_good)) for d in picture.districts]
    clipped = [((d.name,), float(d.power_clipped)) for d in live]
    yield _gauge("district_clipped", "1 where a sensor's range ended: volts or amps are lower bounds.", clipped, label)
    yield _gauge("district_sensing_good", "1 where nothing is known against the district's sensors.", good, label)


def _supplies(picture: Picture, standing: LayoutStanding) -> Iterator[Metric]:
    label = ("supply",)
    loads = picture.loads
    yield _gauge(
        "supply_amperes", "RMS amps of all the supply's districts.", [((s.name,), s.amps) for s in loads], label, "amperes"
    )
    heats = [((s.name,), s.heat) for s in loads]
    yield _gauge("supply_heat_ratio", "Likely heat of the supply's protection: it opens at 1.", heats, label, "ratio")
    opened = [((s.name,), float(s.no_power == "protection")) for s in standing.supplies]
    yield _gauge("supply_open", "1 while the supply has no power and its protection is taken for open.", opened, label)


def _ports(ports: tuple[PortStatus, ...]) -> Iterator[Metric]:
    label = ("port",)
    up = [((port.port,), float(port.is_well)) for port in ports]
    yield _gauge("port_up", "1 while data comes from the port.", up, label)
    received = [((port.port,), float(port.bytes)) for port in ports]
    yield _counter("port_received_bytes", "Bytes read from the port.", received, label, "bytes")


def _parts(parts: tuple[PartHealth, ...]) -> Iterator[Metric]:
    label = ("part",)
    yield _gauge(
        "part_up", "1 while this part of the program does its work.", [((p.name,), float(p.is_well)) for p in parts], label
    )
    ages = [((p.name,), p.still_s) for p in parts]
    yield _gauge("part_age_seconds", "Seconds since this part of the program last went round.", ages, label, "seconds")
    failures = [((p.name,), float(p.failures)) for p in parts]
    yield _counter("part_failures", "How often this part failed and was started again.", failures, label)
    restarts = [((p.name,), float(p.restarts)) for p in parts]
    yield _counter("part_restarts", "How often this part stood still and was restarted.", restarts, label)


def _gauge(name: str, meaning: str, rows: Rows, labels: tuple[str, ...] = (), unit: str = "") -> Metric:
    return _filled(GaugeMetricFamily(f"{PREFIX}_{name}", meaning, labels=labels, unit=unit), rows)


def _counter(name: str, meaning: str, rows: Rows, labels: tuple[str, ...], unit: str = "") -> Metric:
    return _filled(CounterMetricFamily(f"{PREFIX}_{name}", meaning, labels=labels, unit=unit), rows)


def _filled(family: GaugeMetricFamily | CounterMetricFamily, rows: Rows) -> Metric:
    for values, figure in rows:
        if figure is not None:
            family.add_metric(values, float(figure))
    return family
