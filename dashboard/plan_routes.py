"""What the page before the show keeps beside the layout: bench answers, candidates, terminals, verdicts set aside."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Literal, TypeVar

import msgspec
from flask import Blueprint, Response
from msgspec import Meta, Struct

from dashboard.requests import answer, read_request
from dashboard.watch import WatchLike
from monitor.errors import LayoutError
from monitor.layout.edit import Plain, change_layout, set_supply_findings
from monitor.planning.bench_check import today_here
from monitor.planning.bench_questions import QUESTIONS, answer_of
from monitor.planning.plan_edit import add_candidate, keep_terminals, remove_candidate, set_aside
from monitor.planning.plan_file import Candidate, SetAside
from monitor.planning.plan_load import measurable_supply
from monitor.planning.terminal_readings import POSTS_LIMIT, MeterReadings, ReadingTable, readings_of
from monitor.planning.terminals import find_terminals, request_words

Name = Annotated[str, Meta(min_length=1, max_length=80)]
RequestBody = TypeVar("RequestBody", bound=Struct)
SHORTEST_REASON = 3
"""Letters; as the plan file asks for."""


class BenchAnswers(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Answers of a bench check.

    Attributes:
        answers: Question key to the answer's word; empty for not looked at.
    """

    supply: str
    answers: dict[str, str]


class CandidateRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A candidate to add, or the name of one to take out."""

    add: Candidate | None = None
    remove: Name | None = None


class TerminalVolts(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Volts between the terminals of a supply.

    Attributes:
        reading: Rounds with the meter, all throttles low first.
        meter: What the meter was set to; None for what the supply gives.
        rails: Rails of the track.
    """

    supply: Name
    terminals: Annotated[tuple[Name, ...], Meta(min_length=2, max_length=POSTS_LIMIT)]
    reading: Annotated[tuple[ReadingTable, ...], Meta(min_length=1, max_length=POSTS_LIMIT)]
    meter: Literal["ac", "dc"] | None = None
    rails: Literal[2, 3] = 3


class SetAsideRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A supply to use against its verdict, with who answers for it and why; or not any more."""

    supply: Name
    use: bool
    reason: Annotated[str, Meta(max_length=400)] = ""
    by: Annotated[str, Meta(max_length=80)] = ""


def plan_routes(watch: WatchLike) -> Blueprint:
    """The addresses /bench, /candidate, /terminals and /set-aside."""
    routes = Blueprint("keeping", __name__)

    def address(path: str, kind: type[RequestBody], keep: Callable[[Path, RequestBody], None]) -> None:
        def take() -> Response:
            if watch.layout_path is None:
                return answer(409, "This watch has no layout file of its own to keep that with.")
            try:
                keep(watch.layout_path, read_request(kind))
            except (msgspec.MsgspecError, LayoutError) as error:
                return answer(400, f"Not kept: {error}.")
            return answer(200, "Kept with the layout.")

        routes.add_url_rule(path, path.strip("/"), take, methods=["POST"])

    address("/bench", BenchAnswers, keep_answers)
    address("/candidate", CandidateRequest, _keep_candidate)
    address("/terminals", TerminalVolts, _keep_terminals)
    address("/set-aside", SetAsideRequest, _keep_set_aside)
    return routes


def keep_answers(path: Path, sent: BenchAnswers) -> None:
    """Write the answers into the layout file.

    Raises:
        LayoutError: An answer or the supply is not one that the layout knows, or the file cannot be written.
    """
    known = {question.key: question for question in QUESTIONS}
    findings: dict[str, Plain] = {"checked_on": today_here().isoformat()}
    for key, typed in sent.answers.items():
        if key not in known:
            raise LayoutError(f'there is no question "{key[:40]}"')
        found = answer_of(known[key], typed)
        if found is not None:
            findings[key] = found
    change_layout(path, lambda text: set_supply_findings(text, sent.supply, findings), spare=False)


def _keep_set_aside(path: Path, sent: SetAsideRequest) -> None:
    today = today_here()
    if sent.use and (len(sent.reason.strip()) < SHORTEST_REASON or not sent.by.strip()):
        raise LayoutError("say why, and who answers for it")
    setting = SetAside(supply=sent.supply, reason=sent.reason.strip(), by=sent.by.strip(), on=today.isoformat())
    set_aside(path, sent.supply, setting if sent.use else None, today=today)


def _keep_candidate(path: Path, body: CandidateRequest) -> None:
    if body.add is not None:
        add_candidate(path, body.add)
    if body.remove is not None:
        remove_candidate(path, body.remove)


def _keep_terminals(path: Path, sent: TerminalVolts) -> None:
    supply = measurable_supply(path, sent.supply)
    file = MeterReadings(
        terminals=sent.terminals, max_volts=supply.max_volts, meter=sent.meter or supply.current, reading=sent.reading
    )
    found = find_terminals(readings_of(file))
    if not found.decided:
        raise LayoutError(" ".join(["cannot tell yet.", request_words(found.measure_next), *found.notes]).strip().rstrip("."))
    keep_terminals(path, sent.supply, found, rails=sent.rails)
