"""Pages read by several processes, each on one thread, never many pages in memory at once.

Also with one worker the reading is done in a child with limits: a page that goes beyond them is
told and left, and the rest goes on.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass
from multiprocessing import connection

from papernudge.cli.base import limited
from papernudge.cli.base.limited import Child, Ended
from papernudge.cli.books.rows import PageDone, PageTask
from papernudge.hints.catalogue import message, packed

Pages = Generator[PageDone, None, None]
RENEWED = 400
"""Pages after which a worker is replaced by a fresh one: whatever the libraries below leak or
scatter in memory stays bounded."""
TRIES = 3
"""How often a page may end its worker before it is given up for this run."""


def given_up(task: PageTask, code: str, **data: object) -> PageDone:
    """A page that could not be read for reasons outside of it, told by a sentence of this code: the
    next run tries again.
    """
    sentence = packed(message(code, called=task.name, page=task.number, **data))
    return PageDone(task.hash, task.number, "", "unreadable", "worker", sentence, lasting=False)


def too_slow(task: PageTask) -> PageDone:
    """A page that takes more than its time: so it will the next time."""
    from papernudge.cli.books.work import reader

    says = message(
        "page takes too long",
        called=task.name,
        page=task.number,
        opening=limited.SECONDS,
        reading=limited.PAGE_SECONDS,
    )
    return PageDone(task.hash, task.number, reader(), "unreadable", "too slow", packed(says))


def broken(task: PageTask) -> PageDone:
    """A page that breaks what reads it: so it will again, unless the libraries below are mended."""
    return given_up(task, "page broke its reader")


def read_page(task: PageTask) -> PageDone:
    """What a worker does with a page."""
    from papernudge.cli.books.work import one_thread, read_task

    one_thread()
    return read_task(task)


def in_a_child(task: PageTask) -> PageDone:
    """One page, read in this thread's child with limits."""
    for _ in range(TRIES):
        try:
            done: PageDone = limited.ask(read_page, task, seconds=limited.PAGE_SECONDS)
        except Ended as ended:
            if ended.why == "time":
                return too_slow(task)
            if ended.why == "broken":
                return broken(task)
        except RuntimeError as fault:
            return given_up(task, "page's reader failed", fault=fault)
        else:
            return done
    return given_up(task, "page's reader ended", tries=TRIES)


def in_processes(tasks: Iterable[PageTask], workers: int) -> Pages:
    """Spread over ``workers`` processes, in the order in which they finish."""
    pool = _Pool(iter(tasks), workers)
    try:
        yield from pool.run()
    finally:
        pool.close()


@dataclass(eq=False)
class _Worker:
    process: Child
    task: PageTask | None = None
    pages: int = 0


class _Pool:
    """Each worker holds one page at a time; the next is taken from ``tasks`` only then."""

    def __init__(self, tasks: Iterator[PageTask], workers: int) -> None:
        self.tasks, self.size = tasks, workers
        self.workers: list[_Worker] = []
        self.again: list[PageTask] = []
        self.tries: dict[tuple[str, int], int] = {}

    def run(self) -> Iterator[PageDone]:
        for _ in range(self.size):
            if not self._employ():
                break
        while self.workers:
            soonest = min(w.process.left() for w in self.workers)
            ready = connection.wait([w.process.pipe for w in self.workers], soonest)
            for worker in list(self.workers):
                if worker.process.pipe in ready or not worker.process.left():
                    yield from self._answer_of(worker)

    def _next(self) -> PageTask | None:
        return self.again.pop() if self.again else next(self.tasks, None)

    def _employ(self) -> bool:
        """A new worker, if there is work for it."""
        task = self._next()
        if task is None:
            return False
        worker = _Worker(Child(fork=True))
        self.workers.append(worker)
        self._hand(worker, task)
        return True

    def _hand(self, worker: _Worker, task: PageTask) -> None:
        worker.task = task
        worker.pages += 1
        # Where it has died, its pipe says so in the next round.
        worker.process.send(read_page, task, seconds=limited.PAGE_SECONDS)

    def _answer_of(self, worker: _Worker) -> Iterator[PageDone]:
        try:
            done: PageDone = worker.process.receive()
        except Ended as ended:
            yield from self._bury(worker, ended.why)
            return
        except RuntimeError as fault:  # of ours; the other pages are still to be read
            assert worker.task is not None
            done = given_up(worker.task, "page's reader failed", fault=fault)
        task = None if worker.pages >= RENEWED else self._next()
        if task is not None:
            self._hand(worker, task)
        else:
            self._dismiss(worker)
            if worker.pages >= RENEWED:
                self._employ()
        yield done

    def _bury(self, worker: _Worker, why: str) -> Iterator[PageDone]:
        task = worker.task
        self._dismiss(worker)
        if task is not None and why == "time":
            yield too_slow(task)
        elif task is not None and why == "broken":
            yield broken(task)
        elif task is not None:
            key = (task.hash, task.number)
            self.tries[key] = self.tries.get(key, 0) + 1
            if self.tries[key] < TRIES:
                self.again.append(task)
            else:
                yield given_up(task, "page's reader ended", tries=TRIES)
        self._employ()

    def _dismiss(self, worker: _Worker) -> None:
        self.workers.remove(worker)
        worker.process.close()

    def close(self) -> None:
        for worker in self.workers:
            worker.process.kill()
        for worker in list(self.workers):
            self._dismiss(worker)
