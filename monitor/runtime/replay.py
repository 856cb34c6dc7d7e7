"""A recorded session through the pipeline again: all at once, or played back as if it were live.

A replay has the shape of a watch, so that the live page attaches to it.
"""

import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from monitor.layout import Layout
from monitor.link.board_clock import BoardClock
from monitor.protection import Asked
from monitor.runtime.live import Live
from monitor.runtime.pipeline import Pipeline
from monitor.runtime.supervision import PartHealth
from monitor.runtime.would_open import Verdict, WouldOpen, openings
from monitor.sessions import Playback, Played, SessionFolder
from monitor.sessions.merging import ListedChunk, Merger, Together
from monitor.standing import LayoutStanding
from monitor.values import Action, PortStatus, Step


def session_pipeline(layout: Layout, asked: Asked | None = None) -> Pipeline:
    """The pipeline as a watch has it: board time follows the host's, as it was when the bytes came."""
    return Pipeline(layout, clock_for_board=lambda _board: BoardClock(), asked=asked)


def session_steps(chunks: Iterable[Played | Together], layout: Layout, asked: Asked | None = None) -> Iterator[Step]:
    """Every step of a session again, and at last what the pipeline held back.

    Fed with the same chunks in the same order at the same times, the pipeline says the same as when it was live; with another
    layout it says what would have been said.

    Args:
        chunks: The session's chunks, as they came or joined to be taken together.
        layout: Its own layout or another one.
        asked: What is asked of the judge besides warnings.
    """
    pipeline = session_pipeline(layout, asked)
    for played in chunks:
        for action in played.actions:
            pipeline.operate(action)
        yield pipeline.feed_together(played.chunks)
    yield pipeline.finish()


SPEED_LIMIT = 60.0
ROUND_S = 0.03
STEP_S = 0.2
"""How far one step goes: a fifth of a second, as the page's own trace."""
EXACT_UP_TO = 4.0
"""Up to this speed chunks are played exactly as they came; above, joined over a few tenths of a second."""
JOIN_S = 0.5
AHEAD_S = 0.5
"""The clock of a replay runs no further than this beyond what was played: a slow computer plays slower, nothing grows stale."""
LEAP_BATCH_S = 2.0

ReplayState = Literal["playing", "paused", "leaping", "ended"]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplayStatus:
    """Where a replay is.

    Attributes:
        state: "playing", "paused", "leaping" (on its way to the next event or to a moment) or "ended".
        at_s: Second of the stream that is reached.
        first_s: Where the session begins.
        last_s: Where it ends; None where that is not known yet.
        speed: Seconds of the stream a second.
    """

    state: ReplayState
    at_s: float
    first_s: float
    last_s: float | None
    speed: float


class Replay:
    """Plays one session through the pipeline; every method may be called from any thread.

    Args:
        session: The session.
        layout: Another layout to judge it by; its own when None.
        speed: Seconds of the stream a second, 1 to 60.
        sinks: Further takers of each step, called in the replay's thread.

    Attributes:
        layout: What it is judged by.
        layout_path: None: bench checks are not kept with a session of the past.
        recordings: The folder that the session lies in.
        is_rejudged: True where another layout than its own is held against it.

    Raises:
        SessionError: The session cannot be understood.
    """

    def __init__(
        self,
        session: SessionFolder,
        layout: Layout | None = None,
        *,
        speed: float = 1.0,
        sinks: tuple[Callable[[Step], None], ...] = (),
    ) -> None:
        self.session = session
        self.layout = session.at_its_ports(layout) if layout is not None else session.layout()
        self.layout_path: Path | None = None
        self.recordings = session.path.resolve().parent
        self.is_rejudged = layout is not None
        self._openings = openings(session) if self.is_rejudged else {}
        self._sinks = sinks
        self._first_s = session.manifest().first_s
        length_s = session.length_s()
        self._last_s = None if length_s is None else self._first_s + length_s
        self._changed = threading.Condition()
        self._speed = _bounded(speed)
        self._state: ReplayState = "playing"
        self._leap: Callable[[Step], bool] | None = None
        self._then: ReplayState = "playing"
        self._step_to_s: float | None = None
        self._restart = False
        self._stop = False
        self._known: set[tuple[str, int]] = set()
        self._begin()
        self._thread = threading.Thread(target=self._work, name="replay", daemon=True)

    @property
    def live(self) -> Live:
        """How everything stands; another one after going back to the beginning."""
        return self._live

    def standing(self) -> LayoutStanding:
        """The one state of each supply and district at the moment shown."""
        return self._live.standing()

    def start(self) -> None:
        """Begin to play."""
        self._thread.start()

    def stop(self, reason: str = "") -> None:
        """End; returns when nothing runs any more."""
        del reason
        with self._changed:
            self._stop = True
            self._changed.notify_all()
        self._thread.join()

    def pause(self) -> None:
        """Stand still."""
        self._tell("paused")

    def resume(self) -> None:
        """Go on."""
        self._tell("playing")

    def set_speed(self, speed: float) -> None:
        """Play at another speed, 1 to 60."""
        with self._changed:
            self._rebase()
            self._speed = _bounded(speed)

    def step(self, seconds: float = STEP_S) -> None:
        """Play a little further, then stand still."""
        with self._changed:
            target_s = self._at_s + seconds
            self._leap_until(lambda step: step.now_s >= target_s, "paused")

    def next_event(self) -> None:
        """Leap to the moment when the next event, warning or finding is said, or mark was made, and stand still there."""
        with self._changed:
            self._leap_until(self._says_news, "paused")

    def seek(self, at_s: float) -> None:
        """Leap to a second of the stream; back means from the beginning, with a fresh :attr:`live`."""
        with self._changed:
            self._restart = at_s < self._at_s
            self._leap_until(lambda step: step.now_s >= at_s, "paused" if self._state in ("paused", "ended") else "playing")

    def verdicts(self) -> tuple[Verdict, ...]:
        """What the protections of another layout would have done up to here; nothing where it is judged by its own."""
        with self._changed:
            return self._would.verdicts() if self.is_rejudged else ()

    def wait(self, seconds: float) -> None:
        """Wait so long, or until something changed."""
        with self._changed:
            self._changed.wait(seconds)

    def status(self) -> ReplayStatus:
        """Where it is."""
        with self._changed:
            return ReplayStatus(
                state=self._state, at_s=self._now_s(), first_s=self._first_s, last_s=self._last_s, speed=self._speed
            )

    def parts(self) -> tuple[PartHealth, ...]:
        """The replay's own thread."""
        return (PartHealth(name="replay", alive=self._thread.is_alive(), failures=0, trouble=""),)

    def statuses(self) -> tuple[PortStatus, ...]:
        """The ports of the layout, each with a sentence that this is a replay."""
        status = self.status()
        sentence = f"Replay of {self.session.name} at {status.speed:g} times its speed: {status.state}."
        ports = dict.fromkeys(board.port or board.name for board in self.layout.board)
        boards = {board.port or board.name: board.name for board in reversed(self.layout.board)}
        return tuple(PortStatus(port=port, board=boards[port], state="reading", sentence=sentence) for port in ports)

    @property
    def damage(self) -> tuple[str, ...]:
        """What of the session is not there or could not be read so far, one sentence each."""
        return (*self.session.missing(), *self._playback.damage)

    def operate(self, action: Action) -> None:
        """Take what an operator does now, beside what was done then."""
        with self._changed:
            self._pipeline.operate(action)

    def _leap_until(self, arrives: Callable[[Step], bool], then: ReplayState) -> None:
        """Leap until a step is the wanted one; from the end only back."""
        if self._state == "ended" and not self._restart:
            return
        self._leap, self._then, self._state = arrives, then, "leaping"
        self._changed.notify_all()

    def _tell(self, state: ReplayState) -> None:
        with self._changed:
            if self._state != "ended":
                self._rebase()
                self._state, self._leap = state, None
            self._changed.notify_all()

    def _begin(self) -> None:
        self._pipeline: Pipeline = session_pipeline(self.layout, Asked(would_open=self.is_rejudged))
        self._at_s = self._first_s
        self._live = Live(self.layout, self._now_s, self.session.manifest().began_at)
        self._would = WouldOpen(self.layout, self._openings)
        self._playback = Playback(self.session)
        self._chunks = iter(self._playback)
        self._next: Played | None = next(self._chunks, None)
        self._merger = Merger(JOIN_S)
        self._pending: deque[Played | Together] = deque()
        self._known.clear()
        self._rebase()

    def _rebase(self) -> None:
        self._base_s, self._base_real_s = self._at_s, time.monotonic()

    def _now_s(self) -> float:
        if self._state != "playing":
            return self._at_s
        run_s = self._base_s + (time.monotonic() - self._base_real_s) * self._speed
        return min(max(run_s, self._at_s), self._at_s + AHEAD_S)

    def _work(self) -> None:
        while True:
            with self._changed:
                if self._stop:
                    return
                if self._restart:
                    self._restart = False
                    self._begin()
                if self._state in ("paused", "ended"):
                    self._changed.wait(1.0)
                    continue
                if self._state == "playing":
                    self._changed.wait(ROUND_S)
                if self._state in ("playing", "leaping") and not self._restart:
                    self._play_until(self._target_s())

    def _target_s(self) -> float:
        """How far to play in this round."""
        if self._state == "leaping":
            return self._at_s + (LEAP_BATCH_S if self._speed > EXACT_UP_TO else STEP_S / 2)
        run_s = self._base_s + (time.monotonic() - self._base_real_s) * self._speed
        if run_s - self._at_s > self._speed:
            # A second behind: this computer cannot play that fast. Go on from here instead of chasing.
            self._rebase()
        return min(run_s, self._at_s + max(AHEAD_S, ROUND_S * self._speed))

    def _play_until(self, until_s: float) -> None:
        if not self._pending:
            due = list(self._due(until_s))
            self._pending.extend(self._merger.windows(ListedChunk(due)) if self._speed > EXACT_UP_TO else due)
        while self._pending:
            if self._play(self._pending.popleft()):
                return
        if self._next is not None:
            self._at_s = max(self._at_s, until_s)
        else:
            self._publish(self._pipeline.finish())
            self._state, self._last_s = "ended", self._at_s

    def _play(self, played: Played | Together) -> bool:
        """Play what came together; True where a leap arrived."""
        for action in played.actions:
            self._pipeline.operate(action)
        step = self._pipeline.feed_together(played.chunks)
        self._at_s = max(self._at_s, step.now_s)
        self._publish(step)
        arrived = self._leap is not None and self._leap(step)
        self._remember(step)
        if arrived:
            self._state, self._leap = self._then, None
            self._rebase()
        return arrived

    def _publish(self, step: Step) -> None:
        self._live.publish(step)
        self._would.take(step)
        for sink in self._sinks:
            sink(step)

    def _due(self, until_s: float) -> Iterator[Played]:
        while self._next is not None and (self._next.chunk.received_s or 0.0) <= until_s:
            played, self._next = self._next, next(self._chunks, None)
            yield played

    def _says_news(self, step: Step) -> bool:
        return bool(step.actions) or any(key not in self._known for key in _keys(step))

    def _remember(self, step: Step) -> None:
        self._known.update(_keys(step))


def _keys(step: Step) -> Iterator[tuple[str, int]]:
    yield from (("event", event.id) for event in step.events)
    yield from (("warning", warning.id) for warning in step.warnings)
    yield from (("finding", finding.id) for finding in step.findings)


def _bounded(speed: float) -> float:
    return min(SPEED_LIMIT, max(1.0, speed))
