"""Worker processes behind the page: a slow photo keeps nobody waiting but its own phone."""

from __future__ import annotations

import asyncio
import multiprocessing
import signal
from collections import Counter
from dataclasses import dataclass
from hashlib import sha256
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from papernudge.cli.phone.work import Shown, Wish

LONGEST = 40.0
"""Seconds after which a worker is given up and replaced."""
RENEWED = 400
"""Answers after which a worker is replaced: what libraries leak stays bounded."""


class BusyError(Exception):
    """More is waiting than the desk takes."""


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
        self.answered: Counter[str] = Counter()

    async def ask(self, wish: Wish) -> Shown:
        """What the worker says."""
        if self._waiting >= self._most:
            raise BusyError
        self._waiting += 1
        try:
            async with self._turn:
                return await self._asked(wish)
        finally:
            self._waiting -= 1

    async def _asked(self, wish: Wish) -> Shown:
        worker = self._taken(sha256(wish.photo).digest())
        try:
            shown = await asyncio.wait_for(_exchange(worker, wish), LONGEST)
        except TimeoutError:
            self._dismiss(worker)
            return _sorry("took too long to read")
        except asyncio.CancelledError:
            self._dismiss(worker)
            raise
        except (EOFError, OSError):
            self._dismiss(worker)
            return _sorry("could not be read: its reader ended")
        worker.answers += 1
        if worker.answers >= RENEWED:
            self._dismiss(worker)
        else:
            self._free.append(worker)
        self.answered[wish.view] += 1
        return shown

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


async def _exchange(worker: _Worker, wish: Wish) -> Shown:
    await asyncio.to_thread(worker.pipe.send, wish)
    shown: Shown = await asyncio.to_thread(worker.pipe.recv)
    return shown


def _sorry(what: str) -> Shown:
    from papernudge.cli.phone.work import Shown

    return Shown(f"The photo {what}. Send it again, or take another.", failed=True, reason="worker")


def _work(pipe: Connection) -> None:
    """A worker's life: it ends when its pipe does, so none outlives the server."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the server decides
    from papernudge.cli.books.work import one_thread
    from papernudge.cli.phone.work import answer

    one_thread()
    _loaded()
    while True:
        try:
            wish: Wish = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            pipe.send(answer(wish))
        except OSError:
            return


def _loaded() -> None:
    """Everything heavy is imported, and the models opened, before the first photo comes."""
    import numpy as np

    from papernudge.hints import solve
    from papernudge.vision.read import read_page

    read_page(np.full((64, 64, 3), 255, np.uint8), solve=solve)
