"""Health for other programs: is the watching program at work? One JSON object at /healthz, one OpenMetrics text at /metrics."""

from dataclasses import replace

import msgspec
from flask import Blueprint, Response, request
from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.exposition import choose_encoder

from dashboard.access import is_local
from dashboard.feed import json_answer
from dashboard.metrics import MetricsCollector
from dashboard.watch import WatchLike
from monitor.runtime import Picture
from monitor.runtime.supervision import PartHealth
from monitor.standing import LayoutStanding, State, assess, headline
from monitor.standing.states import DistrictStanding, SupplyStanding
from monitor.standing.words import state_word
from monitor.values import PortStatus

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
        well, said = health(watch.parts(), picture, standing, ports, names_ports=is_local(request))
        return json_answer(msgspec.json.encode(said), 200 if well else 503)

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

    A board that is unplugged or silent is told, but it is not the program's fault: what starts the program anew would not mend it.

    Args:
        parts: Its own parts.
        picture: What the recorder says, and the moment.
        standing: How everything stands.
        ports: What it reads.
        names_ports: Whether devices of this computer are named: no business of a visitor's.
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
