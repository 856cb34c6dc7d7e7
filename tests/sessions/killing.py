"""A recording killed at a random moment, and what must be true of what it leaves behind.

Run as a program it records a known stream in real time, saying what it put when, and for how long the disk did not answer.
"""

# ruff: noqa: S311 - streams that are known, not secret

import itertools
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

from monitor.sessions import Playback, SessionFolder, session_writer
from monitor.sessions.recorder import Recorder
from monitor.sessions.recovery import recover_all
from monitor.values import Action, Chunk, Step
from tests.sessions.shows import BEGAN_AT, LAYOUT_TEXT

ROOT = Path(__file__).parents[2]
LOSS_LIMIT_S = 1.0
CHUNK_S = 0.02
SLOW_DISK_S = 0.05
STALL_S = 0.2
"""The recording puts a piece every fiftieth of a second: so long without one means that the machine did not run it."""


def piece(number):
    """Bytes of one chunk: no two are alike."""
    return random.Random(number).randbytes(400)


def say(text):
    """A line at once, whole, from whichever thread."""
    os.write(1, f"{text}\n".encode())


def timed_fsync(handle, fsync=os.fsync):
    """As the system's; says when the disk was slow."""
    began_s = time.monotonic()
    fsync(handle)
    if time.monotonic() - began_s > SLOW_DISK_S:
        say(f"disk {began_s} {time.monotonic()}")


def record_for_ever(recordings):
    """Record pieces in real time, each said on standard output before it is put; a mark with every tenth."""
    session_writer.PART_S = 0.6
    os.fsync = timed_fsync
    recorder = Recorder(Path(recordings), LAYOUT_TEXT, began_at=BEGAN_AT, reserve_bytes=0)
    began_s = time.monotonic()
    number = 0
    while True:
        now_s = round(time.monotonic() - began_s, 6)
        marks = (Action(kind="mark", at_s=now_s, text=str(number)),) if number % 10 == 0 else ()
        recorder.put(Step(port="p", chunk=Chunk(data=piece(number), received_s=now_s), now_s=now_s, actions=marks))
        say(f"{number} {time.monotonic()}")
        number += 1
        time.sleep(CHUNK_S)


def kill_once(recordings, seconds):
    """Start a recording, kill it after so many seconds from its first piece, recover, check; what was wrong, or nothing."""
    command = [sys.executable, "-m", "tests.sessions.killing", str(recordings)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    first = next(line for line in process.stdout if line.startswith("0 "))
    time.sleep(seconds)
    process.send_signal(signal.SIGKILL)
    killed_s = time.monotonic()
    said = [first, *process.communicate()[0].splitlines()]
    put = [(int(number), float(at)) for number, at in (line.split() for line in said if line.count(" ") == 1 and "." in line)]
    slow = [tuple(map(float, line.split()[1:])) for line in said if line.startswith("disk ") and line.count(".") == 2]
    return check_after_kill(recordings, put, killed_s, LOSS_LIMIT_S + stalled_s(put, slow, killed_s))


def stalled_s(put, slow, killed_s):
    """Seconds shortly before the kill in which the machine did not run the recording, or its disk did not answer.

    Nobody can keep what comes meanwhile: on a machine that is not overloaded it is nothing.
    """
    since_s = killed_s - 2 * LOSS_LIMIT_S
    times = [at_s for _, at_s in put] + [killed_s]
    spans = [*slow, *((one, later) for one, later in itertools.pairwise(times) if later - one > STALL_S)]
    return sum(max(0.0, min(end, killed_s) - max(begin, since_s)) for begin, end in spans)


def check_after_kill(recordings, put, killed_s, limit_s=LOSS_LIMIT_S):
    """What is wrong with a recovered recording, as sentences."""
    recovered = recover_all(recordings)
    if len(recovered) != 1:
        return [f"{len(recovered)} sessions recovered"]
    session = recovered[0].session
    data = b"".join(played.chunk.data for played in Playback(session))
    whole = len(data) // 400
    trouble = [f"piece {k} is not what was put" for k in range(whole) if data[400 * k : 400 * (k + 1)] != piece(k)][:3]
    lost_s = [killed_s - at_s for number, at_s in put if number >= whole]
    if lost_s and max(lost_s) > limit_s:
        trouble.append(f"{max(lost_s):.2f} s lost")
    marks = [int(action.text) for played in Playback(session) for action in played.actions]
    expected = [number for number, at_s in put if number % 10 == 0 and killed_s - at_s > limit_s]
    if marks[: len(expected)] != expected:
        trouble.append(f"marks {marks} instead of {expected}")
    leftovers = [path.name for path in session.path.rglob("*") if path.suffix in (".wire", ".csv", ".tmp", ".arrows", ".lock")]
    if leftovers:
        trouble.append(f"left over: {leftovers}")
    if recover_all(recordings) or SessionFolder(session.path).closing() is None:
        trouble.append("recovery did not close the session")
    return trouble


if __name__ == "__main__":
    record_for_ever(sys.argv[1])
