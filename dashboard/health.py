"""Health for other programs: is the watching program at work? One JSON object at /healthz, one OpenMetrics text at /metrics."""

import msgspec
from flask import Blueprint, Response, request
from prometheus_client import CollectorRegistry, ProcessCollector
from prometheus_client.exposition import choose_encoder

from dashboard.feed import json_answer
from dashboard.metrics import MetricsCollector
from dashboard.watch import Watch
from monitor.runtime import Picture
from monitor.runtime.supervised_thread import PartHealth
from monitor.values import PortStatus

Json = dict[str, object]


def health_routes(watch: Watch) -> Blueprint:
    """The addresses /healthz and /metrics."""
    routes = Blueprint("health", __name__)
    registry = CollectorRegistry()  # not the library's own, which is shared by everything in the process
    registry.register(MetricsCollector(watch))
    ProcessCollector(registry=registry)

    @routes.get("/healthz")
    def healthz() -> Response:
        well, said = health(watch.parts(), watch.statuses(), watch.live.picture())
        return json_answer(msgspec.json.encode(said), 200 if well else 503)

    @routes.get("/metrics")
    def metrics() -> Response:
        encode, content_type = choose_encoder(request.headers.get("Accept", ""))
        return Response(encode(registry), headers={"Content-Type": content_type, "Cache-Control": "no-store"})

    return routes


def health(parts: tuple[PartHealth, ...], ports: tuple[PortStatus, ...], picture: Picture) -> tuple[bool, Json]:
    """Whether the program does its work, and what to say of it.

    A board that is unplugged or silent is told, but it is not the program's fault: what starts the program anew would not mend it.

    Args:
        parts: Its own parts.
        ports: What it reads.
        picture: How everything stands.
    """
    well = all(part.is_well for part in parts) and picture.recording_is_well
    return well, {
        "status": "well" if well else "in trouble",
        "parts": [_part(part) for part in parts],
        "recording": {"well": picture.recording_is_well, "sentence": picture.recording},
        "ports": [
            {
                "port": port.port,
                "board": port.board,
                "state": port.state,
                "sentence": port.sentence,
                "age_s": None if port.last_data_s is None else round(picture.now_s - port.last_data_s, 2),
            }
            for port in ports
        ],
        "districts": [
            {"name": row.name, "stale": row.is_stale, "age_s": None if row.age_s is None else round(row.age_s, 2)}
            for row in picture.districts
        ],
    }


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
