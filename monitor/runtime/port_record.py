"""What is known of one port, put into words; shared by its reader and the worker."""

import threading

from monitor.layout import Layout
from monitor.values import BoardSeen, FindingKind, PortState, PortStatus, Step
from monitor.wire.inspection import Transcript, why_not

SILENT_AFTER_S, ROUNDS_MISSED = 2.0, 2.5
"""A port is silent after so long, or after so many times the interval that the layout file gives for its lines."""
NONSENSE_AFTER_S, NONSENSE_FROM_KNOWN_AFTER_S = 3.0, 10.0
"""Bytes that come for this long and mean nothing are looked at for the reason; longer for a board that was understood before, since a
burst of noise is likelier then."""
SEARCH_FROM_KNOWN_AFTER_S = 60.0
"""A search for the baud rate costs what comes meanwhile: where the rate was right since the port was opened, noise must last so long."""
INSPECT_EVERY_S = 20.0
"""The last line shown is another each time, and so is the sentence: no more often than a person can read it."""


class PortRecord:
    """One port's record. Every method may be called from any thread.

    Args:
        port: Device or URL as the layout file writes it.
        layout: To know which boards are expected on it.
        baud: Baud rate of the layout file.

    Attributes:
        line_board: The board there that prints lines of its own, if any.
    """

    def __init__(self, port: str, layout: Layout, baud: int) -> None:
        self.port = port
        self._layout = layout
        self._baud = baud
        self.line_board = layout.line_board(port)
        interval_ms = self.line_board.lines.interval_ms if self.line_board and self.line_board.lines else None
        self._silent_after_s = max(SILENT_AFTER_S, ROUNDS_MISSED * (interval_ms or 0.0) / 1000)
        self._expected = [board.name for board in layout.board if board.port == port]
        self._lock = threading.Lock()
        self._state: PortState = "opening"
        self._since_s = 0.0
        self._sentence = f"Opening {port}."
        self._bytes = 0
        self._last_data_s: float | None = None
        self._opened_s = 0.0
        self._patient_from_s = 0.0
        self._is_understood = False
        self._inspected_s: float | None = None
        self._transcript = Transcript()
        self._boards: dict[int, BoardSeen] = {}
        self._other_version = False
        self._baud_found: int | None = None

    def opened(self, at_s: float) -> None:
        """The port is open."""
        with self._lock:
            self._opened_s = self._patient_from_s = at_s
            self._is_understood = False
            self._inspected_s = None
            self._transcript = Transcript()
            self._boards = {}
            self._other_version = False
            self._set("silent", f"{self.port} is open; waiting for its board to send something.", at_s)

    def failed(self, at_s: float, sentence: str) -> None:
        """The port would not open, or went away."""
        with self._lock:
            was_open = self._state not in ("opening", "lost")
            state: PortState = "lost" if was_open or self._state == "lost" else "opening"
            self._set(state, f"{_capital(sentence)}. Trying again and again.", at_s)

    def received(self, at_s: float, size: int) -> None:
        """A read returned; size 0 where nothing came."""
        with self._lock:
            self._bytes += size
            if size:
                if self._last_data_s is None or at_s - self._last_data_s > self._silent_after_s:
                    self._patient_from_s = at_s
                self._last_data_s = at_s
            elif at_s - max(self._opened_s, self._last_data_s or 0.0) > self._silent_after_s:
                self._set("silent", self._silent_words(), at_s)

    def take(self, step: Step) -> None:
        """The pipeline worked through a chunk of this port."""
        with self._lock:
            if self._state in ("opening", "lost"):
                return
            self._transcript.take(step.chunk.data)
            self._other_version |= any(finding.kind is FindingKind.OTHER_VERSION for finding in step.findings)
            self._boards.update((seen.identity.number, seen) for seen in step.boards)
            if step.boards or step.samples or step.readings:
                self._patient_from_s = step.now_s
                self._is_understood = True
                self._transcript = Transcript()
                self._inspected_s = None
            if step.chunk.data:
                self._judge(step.now_s)

    def baud_changed(self, baud: int | None) -> None:
        """The reader listens at another rate than the layout file says (None: at that of the layout file again)."""
        with self._lock:
            self._baud_found = baud
            self._transcript = Transcript()
            self._inspected_s = None

    def makes_no_sense(self, at_s: float) -> bool:
        """True where bytes come that are neither text nor packets, for so long that their baud rate seems wrong."""
        with self._lock:
            is_long = not self._is_understood or at_s - self._patient_from_s > SEARCH_FROM_KNOWN_AFTER_S
            return self._state == "wrong-baud" and is_long

    def status(self) -> PortStatus:
        """The record as it stands."""
        with self._lock:
            return PortStatus(
                port=self.port,
                board=next((seen.board for seen in self._boards.values() if seen.board is not None), None),
                state=self._state,
                sentence=self._sentence,
                names=tuple(seen.identity.name for seen in self._boards.values()),
                since_s=self._since_s,
                bytes=self._bytes,
                last_data_s=self._last_data_s,
            )

    def _judge(self, now_s: float) -> None:
        patience_s = NONSENSE_FROM_KNOWN_AFTER_S if self._is_understood else NONSENSE_AFTER_S
        if now_s - self._patient_from_s > patience_s:
            if self._inspected_s is None or now_s - self._inspected_s >= INSPECT_EVERY_S:
                self._inspected_s = now_s
                self._set(*self._not_understood(), now_s)
        elif strangers := [seen for seen in self._boards.values() if seen.board is None]:
            self._set("stranger", self._stranger_words(strangers[0]), now_s)
        elif self._is_understood:
            self._set("reading", self._reading_words(), now_s)
        elif self._state == "silent":
            self._set("silent", f"Bytes come from {self.port}; looking for what they mean.", now_s)

    def _set(self, state: PortState, sentence: str, at_s: float) -> None:
        if state != self._state:
            self._since_s = at_s
        self._state, self._sentence = state, sentence

    def _silent_words(self) -> str:
        who = " and ".join(self._names()) or "its board"
        return f"{self.port} is open but {who} says nothing: check the board's power and sketch, and press its reset button."

    def _not_understood(self) -> tuple[PortState, str]:
        """State and words for bytes that come and mean nothing."""
        if self._other_version:
            return "stranger", (
                f"The board on {self.port} sends another version of the packed form: update its sketch or this program."
            )
        seen = self._transcript.inspect()
        baud = self._baud_found or self._baud
        state: PortState = "wrong-baud" if seen.look == "bytes" else "not-understood"
        said = why_not(seen, self.port, baud, self.line_board)
        return (
            state,
            said if baud == self._baud else f"{said} And write baud = {baud} in the layout file, which says {self._baud}.",
        )

    def _stranger_words(self, seen: BoardSeen) -> str:
        known = ", ".join(f'"{board.name}" (number {board.number})' for board in self._layout.board) or "none"
        return (
            f'The board on {self.port} calls itself "{seen.identity.name}", number {seen.identity.number}, which the layout file '
            f"does not have (it has {known}): correct the board's name or number there, or plug in the right board."
        )

    def _reading_words(self) -> str:
        said = f"Reading {' and '.join(self._names())} on {self.port}."
        for seen in self._boards.values():
            if seen.missing_channels:
                missing = ", ".join(map(str, seen.missing_channels))
                said += (
                    f' Board "{seen.board}" has {len(seen.identity.channels)} channels, numbered from 0, but the layout file '
                    f"uses channel {missing}: correct the district's channels; it shows nothing until then."
                )
            if seen.board is not None and self._expected and seen.board not in self._expected:
                said += (
                    f' The layout file expects board "{seen.board}" on another port: the plugs seem swapped, but no harm is done.'
                )
        if self._baud_found is not None:
            said += (
                f" It sends at {self._baud_found} baud although the layout file says {self._baud}: "
                f"write baud = {self._baud_found} there."
            )
        return said

    def _names(self) -> list[str]:
        names = [f'board "{seen.board or seen.identity.name}"' for seen in self._boards.values()]
        return names or [f'board "{name}"' for name in self._expected]


def _capital(sentence: str) -> str:
    text = sentence.rstrip(".")
    return text if text.startswith("/") else text[:1].upper() + text[1:]
