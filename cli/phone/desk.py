"""Worker processes behind the page: a slow photo keeps nobody waiting but its own phone.

A worker is a child with limits of time and memory, as for every file from anywhere
(:mod:`papernudge.cli.base.limited`): one that goes beyond them, or dies, is replaced.
"""

from __future__ import annotations

import asyncio
import time
from dataclasses import dataclass, field
from typing import Any, Protocol, TypeVar

from papernudge.cli.base.limited import PAGE_SECONDS, Child, Ended
from papernudge.cli.said import speaking, spoken
from papernudge.cli.said.languages import words_in

Said = TypeVar("Said", covariant=True)

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

    def sorry(self, code: str) -> Said:
        """The answer where the worker came to grief; ``code``: what is said of that."""


@dataclass(eq=False)
class _Worker:
    """``had``: its photos, by their hash, the last one last; ``used``: when it answered."""

    child: Child
    had: list[int] = field(default_factory=list)
    answers: int = 0
    used: float = 0.0


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
        self._forgotten: set[int] = set()

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
        # Python keeps a hash with the bytes. Whoever had two photos that share one would wait a
        # little longer, no more: a worker goes by the bytes themselves.
        worker = self._taken(hash(job.photo))
        try:
            said: Said = await _exchange(worker, job)
        except asyncio.CancelledError:
            self._dismiss(worker)
            raise
        except Ended as ended:
            self._all.discard(worker)
            slow = ended.why in ("time", "clock")
            return job.sorry("took too long" if slow else "ended its reader")
        except (RuntimeError, MemoryError):
            self._dismiss(worker)
            return job.sorry("could not be read")
        worker.answers += 1
        worker.used = time.monotonic()
        if worker.answers >= RENEWED or not self._forgotten.isdisjoint(worker.had):
            self._dismiss(worker)
        else:
            self._free.append(worker)
        return said

    def _taken(self, photo: int) -> _Worker:
        for worker in [one for one in self._free if one.child.pipe.poll(0)]:
            self._free.remove(worker)  # nothing is asked of it and it speaks: it has died
            self._dismiss(worker)
        self._forgotten.discard(photo)  # it has come again
        known = next((one for one in self._free if photo in one.had[-1:]), None)
        if known is not None:
            self._free.remove(known)
        else:
            known = self._free.pop() if self._free else self._employed()
        known.had.append(photo)
        return known

    def _employed(self) -> _Worker:
        worker = _Worker(Child())
        self._all.add(worker)
        return worker

    def _dismiss(self, worker: _Worker) -> None:
        self._all.discard(worker)
        worker.child.close()

    def forget(self, photo: bytes) -> None:
        """Sees to it that no worker holds anything of a photo any more: those that had it end, at
        once or when they have answered.
        """
        number = hash(photo)
        for worker in [one for one in self._free if number in one.had]:
            self._free.remove(worker)
            self._dismiss(worker)
        if any(number in worker.had for worker in self._all):
            self._forgotten.add(number)

    def rest(self, since: float) -> None:
        """Ends the workers that answered nobody for so many seconds, with all that they hold."""
        old = time.monotonic() - since
        for worker in [one for one in self._free if one.had and one.used < old]:
            self._free.remove(worker)
            self._dismiss(worker)

    async def warm(self) -> None:
        """Starts one worker, so that the first photo does not wait for it."""
        worker = self._employed()
        worker.child.send(loaded, seconds=PAGE_SECONDS)
        await asyncio.to_thread(worker.child.receive)
        self._free.append(worker)

    def close(self) -> None:
        """Ends all workers."""
        for worker in list(self._all):
            self._dismiss(worker)
        self._free.clear()


async def _exchange(worker: _Worker, job: Job[Said]) -> Any:
    def both() -> Any:
        # In a thread: a worker that is still starting takes nothing in yet.
        worker.child.send(answered, job, spoken().language, seconds=PAGE_SECONDS)
        return worker.child.receive()

    return await asyncio.to_thread(both)


def answered(job: Job[Said], language: str) -> Said:
    """What a worker does with a job, in the language of whoever asked."""
    from papernudge.cli.books.work import one_thread

    one_thread()
    with speaking(words_in(language)):
        return job.answered()


def loaded() -> None:
    """Everything heavy is imported, and the models opened, before the first photo comes."""
    import numpy as np

    from papernudge.cli.books.work import one_thread
    from papernudge.hints import solve
    from papernudge.vision.read import read_page

    one_thread()
    read_page(np.full((64, 64, 3), 255, np.uint8), solve=solve)
