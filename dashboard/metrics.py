"""What stands on the page, as OpenMetrics: for whoever draws curves over a season, or rings a bell elsewhere."""

from collections.abc import Iterable, Iterator

from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric
from prometheus_client.registry import Collector

from dashboard.watch import WatchLike
from monitor.runtime import Picture
from monitor.runtime.supervision import PartHealth
from monitor.values import PortStatus, Priority

PREFIX = "pilotlamp"


class MetricsCollector(Collector):
    """Collects from a watch when somebody asks.

    A figure that is stale or not measured is left out: in these texts there is no other way to say so.

    Args:
        watch: What is asked.
    """

    def __init__(self, watch: WatchLike) -> None:
        self._watch = watch

    def collect(self) -> Iterable[Metric]:
        """All families."""
        picture = self._watch.live.picture()
        yield from _districts(picture)
        yield from _supplies(picture)
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
    yield _gauge("district_sensing_good", "1 where nothing is known against the district's sensors.", good, label)


def _supplies(picture: Picture) -> Iterator[Metric]:
    label = ("supply",)
    loads = picture.loads
    yield _gauge(
        "supply_amperes", "RMS amps of all the supply's districts.", [((s.name,), s.amps) for s in loads], label, "amperes"
    )
    heats = [((s.name,), s.heat) for s in loads]
    yield _gauge("supply_heat_ratio", "Likely heat of the supply's protection: it opens at 1.", heats, label, "ratio")
    opened = [((s.name,), float(s.is_open)) for s in loads]
    yield _gauge("supply_open", "1 while the supply's protection is taken for open.", opened, label)


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


def _gauge(name: str, said: str, rows: Rows, labels: tuple[str, ...] = (), unit: str = "") -> Metric:
    family = GaugeMetricFamily(f"{PREFIX}_{name}", said, labels=labels, unit=unit)
    for values, figure in rows:
        if figure is not None:
            family.add_metric(values, float(figure))
    return family


def _counter(name: str, said: str, rows: Rows, labels: tuple[str, ...], unit: str = "") -> Metric:
    family = CounterMetricFamily(f"{PREFIX}_{name}", said, labels=labels, unit=unit)
    for values, figure in rows:
        if figure is not None:
            family.add_metric(values, float(figure))
    return family
