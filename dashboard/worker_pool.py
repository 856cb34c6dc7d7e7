"""Long work for pages, in processes of its own: niced, bounded in memory, time and number, and refused politely beyond that."""

import contextlib
import multiprocessing
import os
import signal
import threading
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any, TypeVar, TypeVarTuple

from flask import Request

from dashboard.access import is_local
from monitor.errors import MonitorError

WORKERS = 2
JOBS_LIMIT = 10
"""Being worked at or waiting, of everybody together;"""
VISITORS_LIMIT = 6
"""of all visitors together, so that this computer always finds a place;"""
ADDRESS_LIMIT = 3
"""of one address."""
WAIT_LIMIT_S = 20.0
JOB_LIMIT_S = 60.0
MEMORY_LIMIT_BYTES = 2_000_000_000
"""Of private memory a worker: three sessions of three hours of sixteen districts, several times over."""
NICENESS = 10
IDLE_LIMIT_S = 300.0
"""A worker without a job for so long ends, and its memory goes with it."""

Taken = TypeVarTuple("Taken")
T = TypeVar("T")


class BusyError(MonitorError):
    """Too much is being worked at, or this would take too long."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Asker:
    """Who asks.

    Attributes:
        address: From where.
        is_here: Whether that is this computer.
    """

    address: str
    is_here: bool


def asker_of(request: Request) -> Asker:
    """Who sent a request."""
    return Asker(address=request.remote_addr or "nowhere", is_here=is_local(request))


class WorkerPool:
    """Runs functions of modules in worker processes; any number of threads may ask.

    Args:
        workers: How many processes.
        job_limit_s: How long one job may take.
    """

    def __init__(self, workers: int = WORKERS, job_limit_s: float = JOB_LIMIT_S) -> None:
        self._free = threading.Semaphore(workers)
        self._idle: list[_Worker] = []
        self._lock = threading.Lock()
        self._jobs: Counter[Asker] = Counter()
        self._job_limit_s = job_limit_s

    def run(self, asker: Asker, job: Callable[[*Taken], T], *args: *Taken) -> T:
        """The result of a job.

        Args:
            asker: For whom.
            job: A function of a module; what it takes and gives can be pickled.
            *args: For the job.

        Raises:
            BusyError: It was refused, or took too long, too much memory, or the whole process.
            MonitorError: As the job raises.
        """
        with self._place(asker):
            if not self._free.acquire(timeout=WAIT_LIMIT_S):
                raise BusyError("Others are asking for much just now: try again in a minute.")
            try:
                return self._run(job, args)
            finally:
                self._free.release()

    def close(self) -> None:
        """End the workers that have nothing to do."""
        with self._lock:
            idle, self._idle = self._idle, []
        for worker in idle:
            worker.end()

    @contextlib.contextmanager
    def _place(self, asker: Asker) -> Iterator[None]:
        with self._lock:
            visitors = sum(count for each, count in self._jobs.items() if not each.is_here)
            full = self._jobs.total() >= JOBS_LIMIT or (
                not asker.is_here and (visitors >= VISITORS_LIMIT or self._jobs[asker] >= ADDRESS_LIMIT)
            )
            if full:
                raise BusyError("Too much is being worked at just now: try again in a minute.")
            self._jobs[asker] += 1
        try:
            yield
        finally:
            with self._lock:
                self._jobs[asker] -= 1
                self._jobs += Counter()  # drops what is at nothing

    def _run(self, job: Callable[..., T], args: tuple[Any, ...]) -> T:
        with self._lock:
            # The one that worked last: what it holds in memory is the likeliest to serve again.
            worker = self._idle.pop() if self._idle else None
        if worker is None or not worker.is_alive():
            worker = _Worker()
        try:
            result: T = worker.run(job, args, self._job_limit_s)
        except BusyError:
            worker.end()
            raise
        except BaseException:
            self._put_back(worker)
            raise
        self._put_back(worker)
        return result

    def _put_back(self, worker: "_Worker") -> None:
        with self._lock:
            self._idle.append(worker)


class _Worker:
    def __init__(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._connection, theirs = context.Pipe()
        self._process: BaseProcess = context.Process(target=_work, args=(theirs,), name="pilotlamp worker", daemon=True)
        self._process.start()
        theirs.close()

    def is_alive(self) -> bool:
        return self._process.is_alive()

    def run(self, job: Callable[..., Any], args: tuple[Any, ...], limit_s: float) -> Any:  # noqa: ANN401
        try:
            self._connection.send((job, args))
            if not self._connection.poll(limit_s):
                raise BusyError(f"This took longer than {limit_s:.0f} s and was given up: ask for less at a time.")
            result, error = self._connection.recv()
        except (OSError, EOFError) as gone:
            raise BusyError("This took more memory than there is for it, and was given up.") from gone
        if isinstance(error, MemoryError):
            raise BusyError("This took more memory than there is for it, and was given up.") from error
        if error is not None:
            raise error
        return result

    def end(self) -> None:
        self._connection.close()
        self._process.kill()
        self._process.join(5.0)


def _work(connection: Connection) -> None:
    """A worker's life: one job after the other, until there are no more."""
    _bound()
    while True:
        try:
            if not connection.poll(IDLE_LIMIT_S):
                return
            job, args = connection.recv()
        except (OSError, EOFError):
            return
        answer: tuple[Any, Exception | None]
        try:
            answer = (job(*args), None)
        except Exception as error:  # noqa: BLE001 - it is raised where it was asked for
            answer = (None, error)
        try:
            connection.send(answer)
        except OSError:
            return
        except Exception as error:  # noqa: BLE001 - what cannot be pickled is told in words
            connection.send((None, MonitorError(f"{type(error).__name__}: {error}")))


def _bound() -> None:
    for name in ("SIGINT", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    if hasattr(os, "nice"):
        os.nice(NICENESS)
    with contextlib.suppress(ImportError, OSError, ValueError):
        import resource  # noqa: PLC0415 - not on Windows

        resource.setrlimit(resource.RLIMIT_DATA, (MEMORY_LIMIT_BYTES, MEMORY_LIMIT_BYTES))
