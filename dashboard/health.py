"""Health for other programs: is the watching program at work? One JSON object at /healthz, one OpenMetrics text at /metrics."""

import msgspec
from flask import Blueprint, Response, request
from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.exposition import choose_encoder

from dashboard.access import is_local
from dashboard.feed import json_answer
from dashboard.metrics import MetricsCollector
from dashboard.watch import WatchLike
from monitor.layout import Layout
from monitor.runtime import Picture
from monitor.runtime.supervised_thread import PartHealth
from monitor.values import PortStatus

Json = dict[str, object]
LATE_S = 1.5
"""Figures this much older than the newest bytes are late: the pipeline takes a tenth of that on a computer that keeps up."""


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
        late = late_districts(watch.live.layout, ports, picture)
        well, said = health(watch.parts(), ports, picture, late, names_ports=is_local(request))
        return json_answer(msgspec.json.encode(said), 200 if well else 503)

    @routes.get("/metrics")
    def metrics() -> Response:
        encode, content_type = choose_encoder(request.headers.get("Accept", ""))
        return Response(encode(registry), headers={"Content-Type": content_type, "Cache-Control": "no-store"})

    return routes


def health(
    parts: tuple[PartHealth, ...],
    ports: tuple[PortStatus, ...],
    picture: Picture,
    late: frozenset[str] = frozenset(),
    *,
    names_ports: bool = True,
) -> tuple[bool, Json]:
    """Whether the program does its work, and what to say of it.

    A board that is unplugged or silent is told, but it is not the program's fault: what starts the program anew would not mend it.

    Args:
        parts: Its own parts.
        ports: What it reads.
        picture: How everything stands.
        late: Districts whose figures are late, see :func:`late_districts`.
        names_ports: Whether devices of this computer are named: no business of a visitor's.
    """
    well = all(part.is_well for part in parts) and picture.recording_is_well and not late
    return well, {
        "status": "well" if well else "late" if late else "in trouble",
        "parts": [_part(part) for part in parts],
        "recording": {"well": picture.recording_is_well, "sentence": picture.recording},
        "ports": [_port(port, picture.now_s, named=names_ports) for port in ports],
        "districts": [
            {
                "name": row.name,
                "stale": row.is_stale,
                "late": row.name in late,
                "age_s": None if row.age_s is None else round(row.age_s, 2),
            }
            for row in picture.districts
        ],
    }


def _port(port: PortStatus, now_s: float, *, named: bool) -> Json:
    device: Json = {"port": port.port, "sentence": port.sentence} if named else {}
    age_s = None if port.last_data_s is None else round(now_s - port.last_data_s, 2)
    return {**device, "board": port.board, "state": port.state, "age_s": age_s}


def late_districts(layout: Layout, ports: tuple[PortStatus, ...], picture: Picture) -> frozenset[str]:
    """Districts whose boards' bytes came and whose figures are not there yet: this computer does not keep up."""
    newest_s = {port.board: port.last_data_s for port in ports if port.is_well and port.last_data_s is not None}
    boards = {district.name: district.board for district in layout.district}
    return frozenset(
        row.name
        for row in picture.districts
        if row.age_s is not None
        and row.is_stale
        and (last_s := newest_s.get(boards[row.name])) is not None
        and row.age_s - (picture.now_s - last_s) > LATE_S
    )


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
