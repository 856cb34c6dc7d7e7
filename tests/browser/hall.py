"""A hall to look at: a running watch over the real pipeline, fed with wire bytes of known waveforms, and a browser."""

import shutil
import threading
import time
from dataclasses import replace

import numpy as np

from monitor.layout import parse_layout
from monitor.rehearsal import capture, random_scene
from monitor.runtime import Pipeline
from monitor.runtime.live import Live
from monitor.runtime.supervision import PartHealth
from monitor.values import Chunk, PortStatus, Step
from monitor.wire.encode import identity_body, packet, samples_body
from tests.layout.fernhollow import district_text, head_text, output_text, supply_text
from tests.wire.bytestreams import identity

SCANS_A_PACKET = 14
INTERVAL_S = 832e-6
VOLTS_PER_COUNT, AMPS_PER_COUNT, ZERO = 0.0703125, 0.05859375, 512
NAMES = (
    "Outer main", "Inner main", "Quarry branch", "Town lights", "Harbour", "Upper level", "Lower level", "Turntable",
    "Yard north", "Yard south", "Mill siding", "Trolley loop", "Coal mine", "Airfield", "Station lamps", "Village lamps",
)  # fmt: skip


def hall_layout(districts=4, names=NAMES):
    """Four districts a board, eight a supply; the first supply has outputs A and B, and so on."""
    boards = -(-districts // 4)
    text = head_text(boards=())
    for board in range(boards):
        text += f'[[board]]\nname = "bench-{board + 1}"\nnumber = {board}\n'
    benches = ("North bench", "South bench", "East bench", "West bench")[:boards]
    for bench in benches:
        text += supply_text(bench, more='[supply.protection]\nkind = "thermal"\nrated_amps = 10\n')
        text += "".join(f"{output_text(name, bench)}max_amps = 10\n" for name in "AB")
    for k in range(districts):
        use = "accessories" if "amp" in names[k] or "light" in names[k] else "track"
        text += district_text(k % 4, names[k], benches[k // 4], "AB"[k % 4 // 2], use=use, board=f"bench-{k // 4 + 1}")
    return parse_layout(text)


class Hall:
    """A watch: a thread sends what the boards would send, at their pace, through the real pipeline into the live store.

    Attributes:
        volts, amps: RMS of each district; change them while it runs.
        talking: Set it to False and the boards fall silent.
        silent_boards: Numbers of boards that say nothing.
    """

    def __init__(self, districts=4, names=NAMES):
        self.layout = hall_layout(districts, names)
        self.began = time.monotonic()
        self.live = Live(self.layout, self.now_s)
        self.volts = [14.0 + k % 4 for k in range(districts)]
        self.amps = [0.6 + 0.45 * (k % 5) for k in range(districts)]
        self.talking = True
        self.silent_boards = set()
        self.ripple = 0.0
        self.pause_s = 0.04
        self.operated = []
        self._published = {}
        self.layout_path = None
        self.recordings = None
        self._lock = threading.Lock()
        self._pipeline = Pipeline(self.layout)
        self._sequence = [0] * len(self.layout.board)
        self._scan = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def now_s(self):
        return time.monotonic() - self.began

    def operate(self, action):
        self.operated.append(action)
        with self._lock:
            self._pipeline.operate(action)
        # A warning of the test's own is not the judge's: it is answered here as the judge answers for its own.
        own = self._published.get(action.warning_id)
        if own is not None and action.kind in ("acknowledge", "shelve"):
            changed = (
                {"state": "acknowledged" if own.end_s is None else "normal"}
                if action.kind == "acknowledge"
                else {"shelved_until_s": action.until_s}
            )
            self.publish(warnings=(replace(own, **changed),))

    def statuses(self):
        return tuple(
            PortStatus(port=b.name, board=b.name, state="reading", sentence=f"{b.name} is talking.") for b in self.layout.board
        )

    def parts(self):
        return (PartHealth(name="hall", alive=True, failures=0, trouble=""),)

    def publish(self, **things):
        """Put further things into the live store, as a step of their own."""
        self._published.update((warning.id, warning) for warning in things.get("warnings", ()))
        with self._lock:
            self.live.publish(Step(port="test", chunk=Chunk(data=b""), now_s=self.now_s(), **things))

    def start(self):
        self._thread.start()
        return self

    def stop(self):
        self._stop.set()
        self._thread.join()

    def _run(self):
        while not self._stop.is_set():
            self.step()
            self._stop.wait(self.pause_s)

    def step(self):
        """Send what is due; silent boards go on counting scans."""
        due = int(self.now_s() / INTERVAL_S)
        data = (
            b""
            if not self.talking
            else b"".join(self._packets(board, due) for board in range(len(self.layout.board)) if board not in self.silent_boards)
        )
        self._scan = max(self._scan, due)
        with self._lock:
            self.live.set_ports(self.statuses())
            self.live.publish(self._pipeline.feed("test", Chunk(data=data, received_s=self.now_s())))

    def _packets(self, board, due):
        out = b""
        if self._sequence[board] % 40 == 0:
            out += b"\0" + self._packet(board, 1, identity_body(identity(8, number=board, name=f"bench-{board + 1}")))
        for first in range(self._scan, due, SCANS_A_PACKET):
            scans = np.arange(first, min(due, first + SCANS_A_PACKET))
            out += self._packet(board, 2, samples_body(first, self._counts(board, scans)))
        return out

    def _packet(self, board, kind, body):
        self._sequence[board] += 1
        return packet(kind, board, self._sequence[board], body)

    def _counts(self, board, scans):
        times = scans[:, None] * INTERVAL_S + np.arange(8)[None, :] * 104e-6
        rms = np.zeros(8)
        own = slice(4 * board, 4 * board + 4)
        volts, amps = self.volts[own], self.amps[own]
        swell = 1 + self.ripple * np.sin(2 * np.pi * scans[0] * INTERVAL_S / 9 + np.arange(len(amps)))
        rms[0 : 2 * len(volts) : 2] = volts
        rms[1 : 2 * len(amps) : 2] = np.array(amps) * swell
        scale = np.array([VOLTS_PER_COUNT, AMPS_PER_COUNT] * 4)
        return np.clip(np.round(ZERO + np.sqrt(2) * rms * np.sin(2 * np.pi * 60 * times) / scale), 0, 1023).astype(np.int16)


class Rehearsed(Hall):
    """Plays a rehearsed capture at its own pace, from some seconds before a moment of it; what was before goes in at once.

    Attributes:
        truth: What is true of the capture.
    """

    def __init__(self, kind, seed, before_s, moment_of):
        played = capture(random_scene(kind, seed))
        self.truth = played.truth
        super().__init__(1)
        self.layout = parse_layout(played.layout)
        self.live = Live(self.layout, self.now_s)
        self._pipeline = Pipeline(self.layout)
        self._wire, self._sent = played.wire, 0
        self._bytes_a_second = len(played.wire) / self.truth["seconds"]
        self.skip_s = max(0.0, moment_of(self.truth) - before_s)

    def start(self):
        for start_s in np.arange(0.0, self.skip_s, 1.0):
            self._feed(start_s)
        self.began = time.monotonic() - self.skip_s
        return super().start()

    def step(self):
        self._feed(self.now_s())

    def _feed(self, until_s):
        due = int(until_s * self._bytes_a_second)
        data, self._sent = self._wire[self._sent : due], due
        with self._lock:
            self.live.publish(self._pipeline.feed("test", Chunk(data=data)))


CHROMIUM_ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-default-apps",
    "--disable-sync",
    "--no-first-run",
    "--autoplay-policy=no-user-gesture-required",
]


def chromium_path():
    path = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    assert path is not None, "Chromium is needed for the browser tests: install it"
    return path
