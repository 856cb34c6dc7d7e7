"""The recorder: takes steps without ever making the pipeline wait, and one thread brings them to the disk."""

import errno
import logging
import shutil
import threading
import tomllib
from collections import deque
from datetime import datetime
from pathlib import Path
from typing import Literal

import msgspec

from monitor.errors import SessionFullError
from monitor.sessions.description import new_manifest
from monitor.sessions.folder import folder_name
from monitor.sessions.recording import Kept, RecordingStatus, SessionOptions, kept_of
from monitor.sessions.session_writer import SessionWriter
from monitor.values import Step

_log = logging.getLogger(__name__)

QUEUE_LIMIT_BYTES = 32_000_000
"""What may wait for the disk: minutes of several boards. Readings are dropped from half of it on, raw bytes at all of it, events,
warnings and actions never."""
ROUND_S = 0.25
"""What came is handed to the system this often: all that a killed process can lose."""
SYNC_S = 0.7
"""And is on the disk for good this often: all that a power cut can lose."""
RETRY_S = 5.0
CLOSE_WITHIN_S = 30.0
"""How long the end of the program may wait for a disk that does not answer."""
RESERVE_BYTES = 50_000_000
"""Recording stops while there is less room than this: the rest belongs to the system and to what closing a session takes."""


class Recorder:
    """Records steps into session folders.

    Args:
        recordings: The folder that holds all sessions; made where it does not exist.
        layout_text: The layout file as it stands.
        began_at: Wall clock (UTC) at second 0 of the stream.
        options: How the session is marked and kept.
        reserve_bytes: Room that is left alone.

    Raises:
        SessionFullError: Nothing can be recorded there.
    """

    def __init__(
        self,
        recordings: Path,
        layout_text: str,
        *,
        began_at: datetime,
        options: SessionOptions | None = None,
        reserve_bytes: int = RESERVE_BYTES,
    ) -> None:
        self._recordings = recordings
        self._layout_text = layout_text
        options = options or SessionOptions()
        self._manifest = new_manifest(_title(layout_text), began_at, ports=options.ports, invented=options.invented)
        self._readable = options.readable
        self._reserve_bytes = reserve_bytes
        self._reached_s = 0.0
        self._continues: str | None = None
        self._lock = threading.Lock()
        self._waiting: deque[Kept] = deque()
        self._waiting_bytes = 0
        self._lost_bytes: dict[str, int] = {}
        self._dropped_bytes = 0
        self._dropped_readings = 0
        self._trouble: str | None = None
        self._closed: str | None = None
        self._wake = threading.Event()
        self._writer: SessionWriter | None = None
        self._left: SessionWriter | None = None
        self._in_hand: list[Kept] = []
        self._turn = 0
        self.beats = 0
        try:
            self._begin()
        except OSError as error:
            raise SessionFullError(f"{_why_not(error, str(recordings))}, or start with --no-record") from error
        self._thread = self._started()

    def put(self, step: Step) -> None:
        """Take a step; never waits for the disk."""
        kept = kept_of(step)
        with self._lock:
            if self._waiting_bytes + kept.cost_bytes > QUEUE_LIMIT_BYTES / 2:
                self._lose_readings(kept)
            if self._waiting_bytes + kept.cost_bytes > QUEUE_LIMIT_BYTES and kept.data:
                self._lose(kept)
            if not kept.data and not kept.notices and self._waiting_bytes > QUEUE_LIMIT_BYTES:
                return
            if kept.data and kept.port in self._lost_bytes:
                kept.lost_bytes = self._lost_bytes.pop(kept.port)
            self._waiting.append(kept)
            self._waiting_bytes += kept.cost_bytes

    def keep_up(self, limit_bytes: int) -> None:
        """For recording faster than real time: wait while more than this waits for the disk."""
        while self._trouble is None and self._waiting_bytes > limit_bytes:
            self._wake.wait(ROUND_S / 5)

    def status(self) -> RecordingStatus:
        """How it stands."""
        with self._lock:
            writer = self._writer
            folder = writer.session.path if writer is not None else None
            dropped_bytes, dropped_readings = self._dropped_bytes, self._dropped_readings
            trouble, closed = self._trouble, self._closed
        state: Literal["recording", "stopped", "closed"] = "recording" if trouble is None else "stopped"
        sentence = trouble or ("Recording." if writer is None else f"Recording, {writer.now_s / 60:.0f} min.")
        if closed is not None:
            state, sentence = "closed", closed
        if dropped_bytes:
            sentence += f" {dropped_bytes / 1e6:.1f} MB could not be kept."
        elif dropped_readings:
            sentence += " The disk is slow: some readings were left out; they can be made again from the raw bytes."
        return RecordingStatus(
            state=state, sentence=sentence, folder=folder, dropped_bytes=dropped_bytes, dropped_readings=dropped_readings
        )

    def close(self, reason: str = "the watch ended") -> None:
        """Bring everything to the disk, close the session and end the thread."""
        if self._closed is not None:
            return
        self._closed = f"The recording is closed: {reason}."
        self._wake.set()
        self._thread.join(CLOSE_WITHIN_S)
        if self._thread.is_alive():
            self._closed = f"The disk of {self._recordings.name} does not answer; the next start puts the session in order."
            _log.error("%s", self._closed)
            return
        try:
            if self._writer is None:
                self._begin()
            self._write_waiting()
            if self._writer is not None:
                self._writer.close(reason, self._losses())
                self._closed = f"The recording is closed ({reason}): {self._writer.session.path}."
        except OSError as error:
            self._closed = f"{_why_not(error, self._recordings.name)}; the next start puts the session in order."
            _log.warning("%s", self._closed)
            with self._lock:
                self._dropped_bytes += sum(len(kept.data) for kept in self._waiting)
            for writer in (self._writer, self._left):
                if writer is not None:
                    writer.abandon()

    def restart(self) -> None:
        """Leave a thread behind that the disk holds up; another one goes on with the session, and with what the first had in hand."""
        with self._lock:
            self._turn += 1
            in_hand = self._in_hand if self._leave_writer(self._in_hand) else []
            self._in_hand = []
            self._trouble = f"The disk of {self._recordings.name} did not answer; the recording goes on in new files."
        self._put_back(in_hand)
        self._thread = self._started()

    @property
    def thread(self) -> threading.Thread:
        """The one that brings everything to the disk."""
        return self._thread

    def _started(self) -> threading.Thread:
        thread = threading.Thread(target=self._work, args=(self._turn,), name="recorder", daemon=True)
        thread.start()
        return thread

    def _lose(self, kept: Kept) -> None:
        self._lost_bytes[kept.port] = self._lost_bytes.get(kept.port, 0) + len(kept.data)
        self._dropped_bytes += len(kept.data)
        kept.data = b""

    def _lose_readings(self, kept: Kept) -> None:
        """Readings and snapshots: they can be made again from the raw bytes."""
        self._dropped_readings += len(kept.readings)
        kept.readings, kept.snapshots = (), ()

    def _work(self, turn: int) -> None:
        since_sync_s, since_try_s = 0.0, RETRY_S
        writer = None
        while turn == self._turn and not self._wake.wait(ROUND_S):
            self.beats += 1
            since_sync_s += ROUND_S
            since_try_s += ROUND_S
            try:
                if self._writer is None:
                    if since_try_s < RETRY_S:
                        continue
                    since_try_s = 0.0
                    self._begin()
                writer = self._writer
                self._write_waiting()
                if since_sync_s >= SYNC_S:
                    since_sync_s = 0.0
                    self._settle()
            except Exception as error:  # noqa: BLE001 - a fault of ours must not end the recording for good
                if turn == self._turn:
                    self._failed(error)
        if turn != self._turn and writer is not None:
            writer.let_go()

    def _failed(self, error: Exception) -> None:
        if isinstance(error, OSError):
            self._stop(_why_not(error, self._recordings.name))
            return
        _log.error("the recorder failed", exc_info=error)
        self._stop(f"The recorder failed ({type(error).__name__}: {error})")

    def _write_waiting(self) -> None:
        with self._lock:
            kept, self._waiting = list(self._waiting), deque()
            self._waiting_bytes = 0
            self._in_hand, writer, turn = kept, self._writer, self._turn
        if kept and writer is not None:
            try:
                writer.write(kept)
            except OSError:
                if turn == self._turn:
                    self._put_back(kept)
                raise
            self._check_turn(turn)
            self._reached_s = writer.now_s
        self._in_hand = []

    def _settle(self) -> None:
        writer, turn = self._writer, self._turn
        if writer is None:
            return

        def go_on() -> None:
            # A thread that was left behind wakes here, too: what waits is the other one's to write.
            self._check_turn(turn)
            self._write_waiting()

        writer.sync(between=go_on)
        if not writer.is_in_place():
            raise FileNotFoundError(errno.ENOENT, "the folder of the session was removed or moved while it was recorded")
        self._check_turn(turn)
        if writer.part_is_full():
            writer.next_part()
        self._check_room()
        self._check_turn(turn)

    def _check_turn(self, turn: int) -> None:
        """After each wait for the disk: another thread may have taken over meanwhile."""
        if turn != self._turn:
            raise OSError(errno.ESTALE, "another thread has taken over")

    def _begin(self) -> None:
        turn = self._turn
        self._recordings.mkdir(parents=True, exist_ok=True)
        self._check_room()
        if self._left is None or not self._go_on(self._left, turn):
            self._begin_session(turn)

    def _go_on(self, left: SessionWriter, turn: int) -> bool:
        """Go on with the session of a writer that failed or was left behind; False where that cannot be."""
        try:
            writer = left.successor()
        except OSError:
            self._check_turn(turn)
            if left.is_in_place():
                raise
            self._continues, self._left = left.session.name, None
            left.abandon()
            return False
        self._take_over(writer, turn)
        return True

    def _begin_session(self, turn: int) -> None:
        manifest = msgspec.structs.replace(self._manifest, first_s=self._reached_s, continues=self._continues)
        path = _new_path(self._recordings, folder_name(manifest.title, manifest.began_at))
        try:
            self._check_turn(turn)
            writer = SessionWriter.begin(path, self._layout_text, manifest, readable=self._readable)
        except OSError:
            # What is half made now would only be in the way at the next try.
            if turn == self._turn:
                shutil.rmtree(path, ignore_errors=True)
            raise
        try:
            self._take_over(writer, turn)
        except OSError:
            writer.abandon()
            raise

    def _take_over(self, writer: SessionWriter, turn: int) -> None:
        with self._lock:
            self._check_turn(turn)
            trouble, self._writer, self._left, self._trouble = self._trouble, writer, None, None
            lost = "; ".join(self._losses()) or "what came meanwhile is kept"
        if trouble is not None:
            _log.warning("recording goes on in %s (%s)", writer.session.path, lost)

    def _stop(self, sentence: str) -> None:
        _log.warning("%s", sentence)
        with self._lock:
            self._leave_writer([])
            self._trouble = (
                f"{sentence}. Watching goes on; what comes is held in memory and the recording goes on by itself once it can."
            )

    def _leave_writer(self, in_hand: list[Kept]) -> bool:
        """Whether what it had in hand is to be written again."""
        left, self._writer = self._writer, None
        self._left = left or self._left
        return left is None or left.leave(in_hand)

    def _put_back(self, kept: list[Kept]) -> None:
        with self._lock:
            self._waiting.extendleft(reversed(kept))
            self._waiting_bytes += sum(each.cost_bytes for each in kept)

    def _check_room(self) -> None:
        if shutil.disk_usage(self._recordings).free < self._reserve_bytes:
            raise OSError(errno.ENOSPC, "No space left on device")

    def _losses(self) -> tuple[str, ...]:
        return (f"{self._dropped_bytes} bytes could not be kept",) if self._dropped_bytes else ()


def _why_not(error: OSError, place: str) -> str:
    """What a person should know and do; the page shows it to visitors, so there the place is a name without its path."""
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return f"The disk of {place} is full: make room there, or record to another one with --recordings"
    if error.errno in (errno.EACCES, errno.EPERM, errno.EROFS):
        return f"{place} cannot be written: check its rights, or record elsewhere with --recordings"
    said = error.strerror or str(error)
    return f"Nothing can be recorded in {place} ({said}): check that folder, or record elsewhere with --recordings"


def _title(layout_text: str) -> str:
    try:
        return str(tomllib.loads(layout_text).get("title", ""))
    except (tomllib.TOMLDecodeError, RecursionError):
        return ""


def _new_path(recordings: Path, name: str) -> Path:
    number = 1
    while (path := recordings / (name if number == 1 else f"{name}-{number}")).exists():
        number += 1
    return path
