"""The emulated sensor board: real firmware, made-up voltages at its pins.

``record`` runs it as fast as the machine can and gives the bytes; ``start`` runs it in real time on a pseudo-terminal, which any
program can open as a serial port:

    board = start({0: volts_wave(16.0), 1: amps_wave(2.5, phase_degrees=-20)})
    ... open board.pty ...
    board.set(1, amps_wave(0.0))
    board.stop()
"""

import math
import os
import pty
import select
import subprocess
import tempfile
import termios
import threading
import tty
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.firmware import toolchain

CLOCK_HERTZ = 16_000_000
REFERENCE_MV = 5000
DIVIDER_GAIN = 0.06
"""What 94 kohm over two 12 kohm leaves of the output's volts; test_wiring works the circuit in ngspice."""
DIVIDER_BIAS_MV = 2350
SENSOR_MV_PER_AMP = 100
SENSOR_BIAS_MV = 2500
SMALL_DIVIDER_GAIN, SMALL_DIVIDER_BIAS_MV = 3.4 / 97.4, 1650 * 94 / 97.4
"""The 3.3 V board: 94 kohm over two of 6.8 kohm."""
SMALL_SENSOR_MV_PER_AMP, SMALL_SENSOR_BIAS_MV = 66, 1650
FULL_SCALE_VOLTS_RMS = DIVIDER_BIAS_MV / DIVIDER_GAIN / 1000 / math.sqrt(2)
FULL_SCALE_AMPS_RMS = SENSOR_BIAS_MV / SENSOR_MV_PER_AMP / math.sqrt(2)
"""Full scale: the largest sine that fits between zero and the nearer end of the converter's range."""
RAM_START = 0x800000
TRUTH = np.dtype([("cycle", "<u8"), ("pin", "<u2"), ("mv", "<u2")])


@dataclass(frozen=True, slots=True, kw_only=True)
class Wave:
    """Millivolts at a pin over time: offset + amplitude * sine, plus noise."""

    amplitude_mv: float = 0.0
    offset_mv: float = SENSOR_BIAS_MV
    hertz: float = 60.0
    phase_degrees: float = 0.0
    noise_mv: float = 0.0
    cut_degrees: float = 0.0

    def command(self, pin):
        return (
            f"pin {pin} amplitude {self.amplitude_mv!r} offset {self.offset_mv!r} hertz {self.hertz!r} "
            f"phase {self.phase_degrees!r} noise {self.noise_mv!r} cut {self.cut_degrees!r}"
        )


def volts_wave(volts_rms, *, dc_volts=0.0, **rest):
    """A sine of so many volts RMS at the output, through the divider; with ``cut_degrees`` the RMS is that before the cut."""
    mv = 1000 * DIVIDER_GAIN
    return Wave(amplitude_mv=volts_rms * math.sqrt(2) * mv, offset_mv=DIVIDER_BIAS_MV + dc_volts * mv, **rest)


def amps_wave(amps_rms, *, dc_amps=0.0, **rest):
    """A sine of so many amps RMS, through the current sensor."""
    amplitude_mv = amps_rms * math.sqrt(2) * SENSOR_MV_PER_AMP
    return Wave(amplitude_mv=amplitude_mv, offset_mv=SENSOR_BIAS_MV + dc_amps * SENSOR_MV_PER_AMP, **rest)


def at_3v3(waves):
    """The same volts and amps at the pins of a 3.3 V board: even pins volts, odd pins amps."""
    volts, amps = SMALL_DIVIDER_GAIN / DIVIDER_GAIN, SMALL_SENSOR_MV_PER_AMP / SENSOR_MV_PER_AMP
    return {
        pin: replace(
            wave,
            amplitude_mv=wave.amplitude_mv * (amps if pin % 2 else volts),
            offset_mv=(
                SMALL_SENSOR_BIAS_MV + (wave.offset_mv - SENSOR_BIAS_MV) * amps
                if pin % 2
                else SMALL_DIVIDER_BIAS_MV + (wave.offset_mv - DIVIDER_BIAS_MV) * volts
            ),
        )
        for pin, wave in waves.items()
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """What the bench saw: bytes sent, bytes that a real port would have lost, bytes of memory never touched by the stack."""

    seconds: float
    bytes: int
    overruns: int
    unread: int
    untouched: int
    dozed: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    wire: bytes
    report: Report
    truth: np.ndarray


def record(elf, waves=None, *, seconds, commands=(), reset_cause=1, fast_ppm=0, supply_mv=REFERENCE_MV):
    """Run flat out.

    Args:
        elf: The firmware.
        waves: Pin to Wave, from the start on; other pins rest at half the supply.
        seconds: Emulated seconds.
        commands: More of the bench's commands, such as "2.5 stall 0.3".
        reset_cause: What the start finds in MCUSR.
        fast_ppm: How much the board's clock is too fast.
        supply_mv: The board's own supply; what rests at a share of it is the waves' business.
    """
    with tempfile.TemporaryDirectory() as folder:
        out, truth, script = Path(folder) / "out.wire", Path(folder) / "truth", Path(folder) / "script"
        script.write_text("".join(f"{line}\n" for line in [*at_start(waves), *commands]), encoding="ascii")
        files = ["--out", out, "--script", script, "--seconds", seconds]
        if _is_rp2040(elf):
            printed = toolchain.run(*_command(elf), *files)
            return Recorded(wire=out.read_bytes(), report=_report(printed), truth=np.empty(0, TRUTH))
        options = ["--truth", truth, "--reset-cause", reset_cause, "--fast", fast_ppm, "--supply", supply_mv]
        printed = toolchain.run(*_command(elf), *files, *options)
        return Recorded(wire=out.read_bytes(), report=_report(printed), truth=np.fromfile(truth, dtype=TRUTH))


def at_start(waves):
    return [f"0 {wave.command(pin)}" for pin, wave in (waves or {}).items()]


class EmulatedBoard:
    """A board that runs in real time.

    Attributes:
        pty: Path of the port to open.
    """

    def __init__(self, elf, waves, link, fast_ppm):
        self._script = tempfile.NamedTemporaryFile("w", suffix=".script")  # noqa: SIM115 (kept until stop)
        self._script.write("".join(f"{line}\n" for line in at_start(waves)))
        self._script.flush()
        command = [str(word) for word in (*_command(elf), "--script", self._script.name)]
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
        if _is_rp2040(elf):
            self.pty, self._process = _with_pty(command, pipes)
            return
        self._process = subprocess.Popen([*command, "--pty", "--fast", str(fast_ppm)], **pipes)
        for line in self._process.stdout:
            if line.startswith("pty "):
                self.pty = _linked(line.split()[1], link)
                return
        raise AssertionError("The emulated board ended before it had a port.")

    def set(self, pin, wave):
        """Change what pin ``pin`` sees, now."""
        self._say(f"now {wave.command(pin)}")

    def stall(self, seconds):
        """The serial port gets nothing out for so long."""
        self._say(f"now stall {seconds!r}")

    def reset(self, cause):
        """Restart the firmware."""
        self._say(f"now reset {cause}")

    def stop(self):
        """End it, as unplugging would.

        Returns:
            The bench's report; None where it was stopped before.
        """
        if self._process.stdin.closed:
            return None
        self._process.stdin.close()
        printed = self._process.stdout.read()
        self._process.wait(timeout=120)
        self._process.stdout.close()
        self._script.close()
        return _report(printed)

    def _say(self, command):
        self._process.stdin.write(f"{command}\n")
        self._process.stdin.flush()


def start(waves=None, *, elf=None, link=None, fast_ppm=0):
    """Start a board in real time.

    Args:
        waves: Pin to Wave.
        elf: The firmware; the packed one unless given.
        link: A path that shall lead to the port, so that a board "plugged in again" has the same name.
        fast_ppm: How much the board's clock is too fast.
    """
    return EmulatedBoard(elf or toolchain.packed_elf(), waves, link, fast_ppm)


def _linked(pty, link):
    if link is None:
        return pty
    link.unlink(missing_ok=True)
    link.symlink_to(pty)
    return str(link)


def _is_rp2040(elf):
    return elf.suffix == ".bin"


def _with_pty(command, pipes):
    """A pseudo-terminal's path, and the program whose bytes it brings; while nobody has it open they are lost, as on a real port."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    path = os.ttyname(slave)
    os.close(slave)
    source, sink = os.pipe()
    process = subprocess.Popen([*command, "--pty", str(sink)], pass_fds=[sink], **pipes)
    os.close(sink)
    threading.Thread(target=_relay, args=(source, master), daemon=True).start()
    return path, process


def _relay(source, master):
    port = select.poll()
    port.register(master, select.POLLOUT)
    while data := os.read(source, 4096):
        if port.poll(0) and port.poll(0)[0][1] == select.POLLOUT:
            os.write(master, data)
        else:
            termios.tcflush(master, termios.TCIOFLUSH)
    os.close(source)
    os.close(master)


def _command(elf):
    if _is_rp2040(elf):
        return "node", toolchain.NOTES / "emulator" / "rp2040.mjs", toolchain.node_modules(), elf
    return toolchain.bench_program(), elf, "--paint", toolchain.symbols(elf)["_end"] - RAM_START


def _report(printed):
    words = next(line for line in printed.splitlines() if line.startswith("seconds ")).split()
    figures = dict(zip(words[::2], words[1::2], strict=True))
    whole = {name: int(figures[name]) for name in ("bytes", "overruns", "unread", "untouched")}
    return Report(seconds=float(figures["seconds"]), dozed=float(figures["dozed"]), **whole)
