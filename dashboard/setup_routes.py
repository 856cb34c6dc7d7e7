"""The address of the set-up: keeps what is typed at once, answers with the card to show, writes the layout in the end."""

import re
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Literal, Protocol

import msgspec
from flask import Blueprint, Response
from msgspec import Meta, Struct

from dashboard.requests import answer, answer_with, read_request
from dashboard.views.setup_state import WRITE, Json, setup_state, verdict_words
from dashboard.watch import WatchLike
from monitor.errors import LayoutError, MonitorError
from monitor.layout import load_layout
from monitor.layout.edit import change_layout, spare_path, write_layout
from monitor.planning.bench_check import check_all, today_here
from monitor.planning.plan_file import Plan
from monitor.runtime.mirror import MirroredWatch
from monitor.setup.change_flow import ChangeSetup, boards_of
from monitor.setup.desk_words import SetupOrder, SetupView
from monitor.setup.draft import SetupDraft, draft_path, keep_draft, load_draft
from monitor.setup.first_setup import FirstSetup
from monitor.setup.port_tap import BoardView
from monitor.setup.questions import SUPPLIES

BODY_LIMIT_BYTES = 1 << 16
PORT = re.compile(r"(/dev/[\w./-]+|/[\w./-]+|COM\d+|(socket|hwgrep|mqtts?)://[^\s]+)")
"""Ports that may be typed: what a layout file may hold, and none of the port library's own addresses that write to a file."""
CHANGED = (
    "{} will be changed, and the file as it was is kept beside it. Where the change matters to watching, the recording until now is "
    "closed and kept, and a new one goes on. How warm each protection is has to be found again from then on: its forecasts are wide for "
    "some minutes. Warnings that still stand rise again. A new engine counts for the plans at once, for the words of warnings from the "
    "next start on."
)
Text = Annotated[str, Meta(max_length=400)]


class SetupRequest(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the page asks for.

    Attributes:
        card: The card that is shown; empty for where one left off.
        move: Where to go from it.
        answers: What was typed, by key.
        order: "port" listens to another port, "rehearse" plugs in the rehearsal board, "write" writes the file and begins to watch,
            "forget" throws the draft away.
        port: Which port.
    """

    card: Text = ""
    move: Literal["next", "back", "stay"] = "stay"
    answers: dict[Text, Text] = {}
    order: Literal["", "port", "rehearse", "write", "forget"] = ""
    port: Text = ""


class SettableWatch(WatchLike, Protocol):
    """A watch whose layout can be set up and changed."""

    def setup_view(self) -> SetupView | None:
        """How boards stand."""

    def tell(self, said: SetupOrder) -> None:
        """Hand on what is asked for."""


def setup_routes(watch: MirroredWatch) -> Blueprint:
    """The address /setup/state; only who may act gets anything from it."""
    routes, setup = Blueprint("setup", __name__), SetupPage(watch)

    @routes.post("/setup/state")
    def state() -> Response:
        try:
            return answer_with(200, setup.answer(read_request(SetupRequest, BODY_LIMIT_BYTES)))
        except (msgspec.MsgspecError, MonitorError) as error:
            return answer(400, f"{str(error)[0].upper()}{str(error)[1:]}.")

    return routes


class SetupPage:
    """One set-up, shared by all who type into it."""

    def __init__(self, watch: SettableWatch) -> None:
        self._watch = watch
        self._lock = threading.Lock()

    def answer(self, asked: SetupRequest) -> Json:
        """Keep what was typed, do what was asked for, and say what to show.

        Raises:
            LayoutError: It cannot be kept or written.
        """
        with self._lock:
            return self._answer(asked)

    def _answer(self, asked: SetupRequest) -> Json:
        view = self._watch.setup_view()
        path = self._path(view)
        self._order(asked)
        draft = SetupDraft() if asked.order == "forget" else load_draft(path)
        draft = self._kept(path, _as_plugged(draft, view), asked, view)
        setup = self._setup(draft, path, view)
        if asked.order == WRITE:
            return {"done": self._write(path, setup)}
        card = "" if asked.order == "forget" else asked.card
        state = setup_state(setup.walk, card, asked.move, self._named(draft, view).boards, view)
        return state | self._more(setup, state, path, is_rehearsal=view is not None and view.is_rehearsal)

    def _path(self, view: SetupView | None) -> Path:
        path = self._watch.layout_path if view is None else view.path
        if path is None:
            raise LayoutError("this watch has no layout file of its own")
        return path

    def _order(self, asked: SetupRequest) -> None:
        if asked.order == "port" and not PORT.fullmatch(asked.port.strip()):
            raise LayoutError("that is no port: type a device such as /dev/ttyUSB0 or COM3, or socket://HOST:PORT")
        kind: Literal["look", "port", "rehearse"] = "look"
        if asked.order in ("port", "rehearse"):
            kind = asked.order
        self._watch.tell(SetupOrder(kind=kind, port=asked.port.strip()))

    def _kept(self, path: Path, draft: SetupDraft, asked: SetupRequest, view: SetupView | None) -> SetupDraft:
        """The draft with what was typed and what the boards show just then; kept on the disk before anything else."""
        if not asked.answers and asked.order != "forget":
            return draft
        if asked.answers.get("boards"):
            draft = draft.with_boards(each.board for each in _heard(view))
        seen = {(each.board.port, each.board.identity.number): each.seen for each in _heard(view)}
        refused = {each.question.key for each in self._setup(draft, path, view).walk.asked if each.complaint}
        looks = {
            key: seen[board.port, board.identity.number]
            for board in self._named(draft, view).boards
            if (board.port, board.identity.number) in seen
            for key, typed in asked.answers.items()
            if key == f"zero.{board.name}" or key.startswith(f"gain.{board.name}.")
            # What was taken stays when its card is looked at again; what was refused is taken again.
            if draft.answers.get(key) != typed or key in refused or key not in draft.seen
        }
        draft = draft.with_answers(asked.answers, looks)
        keep_draft(path, draft)
        return draft

    def _named(self, draft: SetupDraft, view: SetupView | None) -> SetupDraft:
        """The draft with boards by the layout's names, where there is a layout."""
        if not self._watch.layout.board:
            return draft
        return msgspec.structs.replace(draft, boards=boards_of(self._watch.layout, (each.board for each in _heard(view))))

    def _setup(self, draft: SetupDraft, path: Path, view: SetupView | None) -> FirstSetup | ChangeSetup:
        if not self._watch.layout.board:
            return FirstSetup(draft, in_full=True)
        return ChangeSetup(self._named(draft, view), load_layout(path))

    def _more(self, setup: FirstSetup | ChangeSetup, state: Json, path: Path, *, is_rehearsal: bool) -> Json:
        """The file that would be written, and supplies that the bench check holds back."""
        text, verdicts, is_first = "", [], isinstance(setup, FirstSetup)
        about = (
            [f"A rehearsal: everything here is a model, not your bench. It is written to {path.name}."] if is_rehearsal else []
        )
        if isinstance(setup, FirstSetup):
            if state["chapter"] != SUPPLIES and setup.layout.supply:
                verdicts = verdict_words(check_all(setup.checked_layout(today_here()), Plan(), today=today_here()))
            text = setup.text(today_here()) if state["card"] == WRITE else ""
        forwards = "These are my boards: go on" if state["card"] == "boards" else "Next"
        if state["card"] == WRITE:
            forwards = "Write and begin to watch" if is_first else "Write the change"
            about.append(
                f"Everything is answered. {path.name} will be written, and watching begins."
                if is_first
                else CHANGED.format(path.name)
            )
        return {"warnings": verdicts, "text": text, "about": about, "forwards": forwards}

    def _write(self, path: Path, setup: FirstSetup | ChangeSetup) -> str:
        if not setup.walk.finished:
            raise LayoutError("some questions are still open")
        change: Callable[[str], str] = (lambda _: setup.text(today_here())) if isinstance(setup, FirstSetup) else setup.text
        if path.exists():
            change_layout(path, change)
        else:
            write_layout(path, change(""))
        draft_path(path).unlink(missing_ok=True)
        self._watch.tell(SetupOrder(kind="watch"))
        kept = f"; the file as it was is kept as {spare_path(path).name}" if spare_path(path).exists() else ""
        return f"Written to {path.name}{kept}. Watching by it begins."


def _as_plugged(draft: SetupDraft, view: SetupView | None) -> SetupDraft:
    """The draft with its boards where they are plugged in now; others are taken in where a person says so."""
    boards = draft.with_boards(each.board for each in _heard(view)).boards
    return msgspec.structs.replace(draft, boards=boards[: len(draft.boards)])


def _heard(view: SetupView | None) -> list[BoardView]:
    return [] if view is None else [each for port in view.ports for each in port.boards]
