"""Worker processes behind the page: a slow photo keeps nobody waiting but its own phone."""

from __future__ import annotations

import asyncio
import multiprocessing
import signal
from dataclasses import dataclass
from hashlib import sha256
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import Any, Protocol, TypeVar

Said = TypeVar("Said", covariant=True)

LONGEST = 40.0
"""Seconds after which a worker is given up and replaced."""
RENEWED = 400
"""Answers after which a worker is replaced: what libraries leak stays bounded."""


class BusyError(Exception):
    """More is waiting than the desk takes."""


class Job(Protocol[Said]):
    """Work on one photo, as plain data that travels to a worker and back."""

    @property
    def photo(self) -> bytes:
        """The file's bytes."""

    def answered(self) -> Said:
        """Does the work; runs in the worker."""

    def sorry(self, what: str) -> Said:
        """The answer where the worker came to grief; ``what``: the rest of "The photo …"."""


@dataclass(eq=False)
class _Worker:
    process: SpawnProcess
    pipe: Connection
    last: bytes = b""
    answers: int = 0


class Desk:
    """``size`` workers, at most ``most`` wishes waiting or at work.

    A wish goes to the free worker that had its photo last, if there is one. ``ask`` raises
    BusyError at once when full; a worker that dies or takes too long answers with a sentence.
    """

    def __init__(self, size: int, most: int) -> None:
        self._most = most
        self._waiting = 0
        self._free: list[_Worker] = []
        self._all: set[_Worker] = set()
        self._turn = asyncio.Semaphore(size)

    async def ask(self, job: Job[Said]) -> Said:
        """What the worker says."""
        if self._waiting >= self._most:
            raise BusyError
        self._waiting += 1
        try:
            async with self._turn:
                return await self._asked(job)
        finally:
            self._waiting -= 1

    async def _asked(self, job: Job[Said]) -> Said:
        worker = self._taken(sha256(job.photo).digest())
        try:
            said: Said = await asyncio.wait_for(_exchange(worker, job), LONGEST)
        except TimeoutError:
            self._dismiss(worker)
            return job.sorry("took too long to read")
        except asyncio.CancelledError:
            self._dismiss(worker)
            raise
        except (EOFError, OSError):
            self._dismiss(worker)
            return job.sorry("could not be read: its reader ended")
        worker.answers += 1
        if worker.answers >= RENEWED:
            self._dismiss(worker)
        else:
            self._free.append(worker)
        return said

    def _taken(self, photo: bytes) -> _Worker:
        worker = next((one for one in self._free if one.last == photo), None)
        if worker is not None:
            self._free.remove(worker)
        else:
            worker = self._free.pop(0) if self._free else self._employed()
        worker.last = photo
        return worker

    def _employed(self) -> _Worker:
        context = multiprocessing.get_context("spawn")
        here, there = context.Pipe()
        process = context.Process(target=_work, args=(there,), daemon=True)
        process.start()
        there.close()
        worker = _Worker(process, here)
        self._all.add(worker)
        return worker

    def _dismiss(self, worker: _Worker) -> None:
        self._all.discard(worker)
        worker.process.kill()
        worker.process.join()
        worker.pipe.close()
        worker.process.close()

    def warm(self) -> None:
        """Starts one worker, so that the first photo does not wait for it."""
        self._free.append(self._employed())

    def close(self) -> None:
        """Ends all workers."""
        for worker in list(self._all):
            self._dismiss(worker)
        self._free.clear()


async def _exchange(worker: _Worker, job: Job[Said]) -> Any:
    await asyncio.to_thread(worker.pipe.send, job)
    return await asyncio.to_thread(worker.pipe.recv)


def _work(pipe: Connection) -> None:
    """A worker's life: it ends when its pipe does, so none outlives the server."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server decides
    from papernudge.cli.books.work import one_thread

    one_thread()
    _loaded()
    while True:
        try:
            job: Job[object] = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            pipe.send(job.answered())
        except OSError:
            return


def _loaded() -> None:
    """Everything heavy is imported, and the models opened, before the first photo comes."""
    import numpy as np

    from papernudge.hints import solve
    from papernudge.vision.read import read_page

    read_page(np.full((64, 64, 3), 255, np.uint8), solve=solve)
