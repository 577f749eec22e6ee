"""Pages read by several processes, each on one thread, never many pages in memory at once."""

from __future__ import annotations

import multiprocessing
import signal
from collections.abc import Generator, Iterable, Iterator
from dataclasses import dataclass
from multiprocessing import connection
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess

from papernudge.cli.books.rows import PageDone, PageTask

Pages = Generator[PageDone, None, None]
RENEWED = 400
"""Pages after which a worker is replaced by a fresh one: whatever the libraries below leak or
scatter in memory stays bounded."""
TRIES = 3
"""How often a page may end its worker before it is given up for this run."""


def one_after_the_other(tasks: Iterable[PageTask]) -> Pages:
    """In this process."""
    from papernudge.cli.books.work import one_thread, read_task

    one_thread()
    for task in tasks:
        yield read_task(task)


def given_up(task: PageTask, why: str) -> PageDone:
    """A page that could not be read for reasons outside of it: the next run tries again."""
    sentence = f"{task.name}, page {task.number}: {why}; run again to try it once more."
    return PageDone(task.hash, task.number, "", "unreadable", "worker", sentence, lasting=False)


def in_processes(tasks: Iterable[PageTask], workers: int) -> Pages:
    """Spread over ``workers`` processes, in the order in which they finish."""
    pool = _Pool(iter(tasks), workers)
    try:
        yield from pool.run()
    finally:
        pool.close()


@dataclass(eq=False)
class _Worker:
    process: SpawnProcess
    pipe: Connection
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
            ready = connection.wait([w.pipe for w in self.workers])
            for worker in [w for w in self.workers if w.pipe in ready]:
                yield from self._answer_of(worker)

    def _next(self) -> PageTask | None:
        return self.again.pop() if self.again else next(self.tasks, None)

    def _employ(self) -> bool:
        """A new worker, if there is work for it."""
        task = self._next()
        if task is None:
            return False
        context = multiprocessing.get_context("spawn")
        here, there = context.Pipe()
        process = context.Process(target=_work, args=(there,), daemon=True)
        process.start()
        there.close()
        worker = _Worker(process, here)
        self.workers.append(worker)
        self._hand(worker, task)
        return True

    def _hand(self, worker: _Worker, task: PageTask) -> None:
        worker.task = task
        worker.pages += 1
        try:
            worker.pipe.send(task)
        except OSError:  # it has died: its pipe says so in the next round
            return

    def _answer_of(self, worker: _Worker) -> Iterator[PageDone]:
        try:
            done: PageDone = worker.pipe.recv()
        except (EOFError, OSError):
            yield from self._bury(worker)
            return
        task = None if worker.pages >= RENEWED else self._next()
        if task is not None:
            self._hand(worker, task)
        else:
            self._dismiss(worker)
            if worker.pages >= RENEWED:
                self._employ()
        yield done

    def _bury(self, worker: _Worker) -> Iterator[PageDone]:
        task = worker.task
        self._dismiss(worker)
        if task is not None:
            key = (task.hash, task.number)
            self.tries[key] = self.tries.get(key, 0) + 1
            if self.tries[key] < TRIES:
                self.again.append(task)
            else:
                yield given_up(task, f"its reader ended {TRIES} times without an answer")
        self._employ()

    def _dismiss(self, worker: _Worker) -> None:
        self.workers.remove(worker)
        worker.pipe.close()
        worker.process.join(5)
        if worker.process.is_alive():
            worker.process.kill()
            worker.process.join()
        worker.process.close()

    def close(self) -> None:
        for worker in list(self.workers):
            worker.process.kill()
            self._dismiss(worker)


def _work(pipe: Connection) -> None:
    """A worker's life: it ends when its pipe does, so none outlives a killed run."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the run that started it decides
    from papernudge.cli.books.work import one_thread, read_task

    one_thread()
    while True:
        try:
            task: PageTask = pipe.recv()
        except (EOFError, OSError):
            return
        done = read_task(task)
        try:
            pipe.send(done)
        except OSError:
            return
