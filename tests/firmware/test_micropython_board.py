"""The line script for MicroPython boards, run in MicroPython's own interpreter, and over a real socket."""

import contextlib
import math
import socket
import sys
import threading
import time
from types import SimpleNamespace

import numpy as np
import pytest

from monitor.bus.broker import parse_topic
from monitor.errors import LinkUnavailableError
from monitor.link import HostClock, SerialSource
from monitor.values import Identity, LineReadings
from monitor.wire import Fault, WireDecoder
from tests.firmware import bench, toolchain
from tests.firmware.bench import amps_wave, volts_wave

pytestmark = pytest.mark.avr
SCRIPT = toolchain.NOTES / "micropython_board" / "main.py"
STAND_INS = toolchain.Path(__file__).with_name("stand_ins.py")
WAVES = bench.at_3v3(
    {
        0: volts_wave(16.0),
        1: amps_wave(3.0, phase_degrees=-40),
        2: volts_wave(26.4, hertz=50),
        3: amps_wave(12.0, hertz=50, phase_degrees=-60),
    }
)
INJECTED = [(16.0, 3.0, 48 * math.cos(math.radians(40))), (26.4, 12.0, 26.4 * 12 / 2)]


def printed(way, tmp_path, seconds=3):
    """What the board prints in so many of its own seconds."""
    waves = {26 + pin: (wave.amplitude_mv, wave.offset_mv, wave.hertz, wave.phase_degrees) for pin, wave in WAVES.items()}
    files = {
        "waves.py": f"WAVES, STOP_MS = {waves!r}, {1000 * seconds}",
        "main.py": SCRIPT.read_text(encoding="utf-8").replace('if __name__ == "__main__":\n    run()', ""),
        "run.py": f"OUTPUTS, WAY = ((26, 27), (28, 29)), {way!r}\ntry:\n    run()\nexcept Over:\n    pass\n",
    }
    for name, text in files.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    order = [tmp_path / "waves.py", STAND_INS, tmp_path / "main.py", tmp_path / "run.py"]
    return toolchain.run("node", toolchain.NOTES / "emulator" / "micropython.mjs", toolchain.node_modules(), *order)


def assert_injected(items, readings):
    assert not [item for item in items if isinstance(item, Fault)]
    board = next(item for item in items if isinstance(item, Identity))
    assert (board.name, len(board.channels), board.scan_interval_s) == ("bench-1", 4, 0.125)
    rows = [item for item in items if isinstance(item, LineReadings)]
    outputs = np.concatenate([row.outputs for row in rows])
    for output, (volts_rms, amps_rms, watts) in enumerate(INJECTED):
        mine = outputs == output
        assert mine.sum() == pytest.approx(readings, abs=1)
        assert np.concatenate([row.volts_rms for row in rows])[mine] == pytest.approx(volts_rms, rel=0.005)
        assert np.concatenate([row.amps_rms for row in rows])[mine] == pytest.approx(amps_rms, rel=0.005)
        assert np.concatenate([row.watts for row in rows])[mine] == pytest.approx(watts, rel=0.01)


def test_it_prints_what_was_injected(tmp_path):
    assert_injected(WireDecoder().feed(printed("usb", tmp_path).replace("\n", "\r\n").encode()), 23)


def test_it_publishes_lines_and_joins_again_after_a_failure(tmp_path):
    messages = [line.split(" ") for line in printed("broker", tmp_path).splitlines() if not line.startswith("#")]
    ((topic, quality),) = {(topic, quality) for topic, quality, _ in messages}
    address = parse_topic(topic)
    assert (address.hall, address.station, address.kind, quality) == ("Fernhollow", "bench-1", "lines", "1")
    # The first reading was lost with the connection that failed, and the identity with it.
    assert_injected(WireDecoder().feed("".join(text.replace("|", "\r\n") for *_, text in messages).encode()), 22)


class HaltError(Exception):
    pass


def test_it_is_read_through_a_real_socket_and_by_whoever_comes_next(monkeypatch):
    """The script under this Python, with real sockets and the real clock, read by the link."""
    over = threading.Event()

    def ticks_ms():
        if over.is_set():
            raise HaltError
        return time.monotonic_ns() // 1_000_000

    def converter(pin):
        mv = bench.at_3v3({0: volts_wave(0, dc_volts=12.0), 1: amps_wave(0, dc_amps=1.5)})[pin % 2].offset_mv
        return SimpleNamespace(read_u16=lambda: round(mv / 3300 * 65535))

    machine = SimpleNamespace(ADC=converter, Pin=lambda number: number)
    joined_network = SimpleNamespace(
        active=lambda on: None, connect=lambda *_: None, isconnected=lambda: True, ifconfig=lambda: ("127.0.0.1",)
    )
    monkeypatch.setitem(sys.modules, "machine", machine)
    monkeypatch.setitem(sys.modules, "network", SimpleNamespace(WLAN=lambda mode: joined_network, STA_IF=0))
    board = toolchain.script(SCRIPT)
    with socket.create_server(("127.0.0.1", 0)) as free:
        board.TCP_PORT = free.getsockname()[1]
    board.WAY = "tcp"
    board.time = SimpleNamespace(
        ticks_ms=ticks_ms, ticks_diff=int.__sub__, ticks_add=int.__add__, sleep_ms=lambda ms: time.sleep(ms / 1000)
    )
    thread = threading.Thread(target=run, args=(board,), daemon=True)
    thread.start()
    try:
        for _ in range(2):
            items = heard(f"socket://127.0.0.1:{board.TCP_PORT}", 6)
            (volts_rms, amps_rms), *_ = [
                (item.volts_rms[-1], item.amps_rms[-1]) for item in items if isinstance(item, LineReadings)
            ]
            assert (volts_rms, amps_rms) == (pytest.approx(12, abs=0.02), pytest.approx(1.5, abs=0.005))
    finally:
        over.set()
        thread.join(5)


def run(board):
    with contextlib.suppress(HaltError):
        board.run()


def heard(port, readings):
    """Items of the first so many readings."""
    source = SerialSource(port, 115200, HostClock())
    decoder, items, until = WireDecoder(), [], time.monotonic() + 20
    while time.monotonic() < until:
        with contextlib.suppress(LinkUnavailableError):
            source.open()
            break
    while sum(len(item.outputs) for item in items if isinstance(item, LineReadings)) < readings and time.monotonic() < until:
        items += decoder.feed(source.read().data)
    source.close()
    return items
