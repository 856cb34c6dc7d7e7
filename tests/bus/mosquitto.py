"""A real broker on the loopback interface, at a free port, in a folder of its own."""

import os
import random
import shutil
import socket
import subprocess
import time
from pathlib import Path

from monitor.bus.broker import Broker

PROGRAM = shutil.which("mosquitto") or "/usr/sbin/mosquitto"
PLAIN = "allow_anonymous true\npersistence true\npersistence_location {folder}/\nmax_queued_messages 100000\nmax_inflight_messages 1000\n"


def free_port():
    """A port that nobody has, below those that systems hand out to clients.

    A broker that is down while its clients try again must not find its port taken by one of their own tries.
    """
    for port in random.sample(range(10_000, 32_000), 200):
        with socket.socket() as probe:
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise AssertionError("no port is free")


def until(true, seconds=60.0, what=""):
    ends = time.monotonic() + seconds
    while not (found := true()):
        if time.monotonic() > ends:
            raise AssertionError(f"did not happen within {seconds} s {what}")
        time.sleep(0.02)
    return found


class Mosquitto:
    """Start, stop in order, kill; the port stays the same."""

    def __init__(self, folder: Path, text: str | None = None, *, own_user=False):
        self.port = free_port()
        folder.mkdir(parents=True, exist_ok=True)
        self._config = folder / "broker.conf"
        text = PLAIN.format(folder=folder) + f"listener {self.port} 127.0.0.1\n" if text is None else text
        if os.geteuid() == 0 and not own_user:
            text += "user root\n"  # else it changes to a user of its own, who may not write into this folder
        self._config.write_text(text.replace("PORT", str(self.port)))
        self._log = folder / "broker.log"
        self._process = None

    def start(self):
        with self._log.open("ab") as log:
            self._process = subprocess.Popen([PROGRAM, "-c", self._config], stdout=log, stderr=log)
        until(self._answers)
        return self

    def stop(self):
        if self._process is not None:
            self._process.terminate()
            self._process.wait(60)
            self._process = None

    def kill(self):
        self._process.kill()
        self._process.wait(60)
        self._process = None

    def broker(self, hall="Hall", **more):
        return Broker(host="127.0.0.1", port=self.port, tls=False, hall=hall, **more)

    @property
    def url(self):
        return f"mqtt://127.0.0.1:{self.port}/Hall"

    def _answers(self):
        assert self._process.poll() is None, self._log.read_text()
        try:
            socket.create_connection(("127.0.0.1", self.port), 5).close()
        except OSError:
            return False
        return True
