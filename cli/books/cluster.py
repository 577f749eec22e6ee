"""Pages read on a Dask scheduler's workers. The book stays here; photos travel there."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator
from typing import Any

from papernudge.cli.books.pool import Pages, given_up, in_a_child
from papernudge.cli.books.rows import PageDone, PageTask
from papernudge.cli.books.sources import packed
from papernudge.cli.exits import Exit, Stop, bad_words
from papernudge.vision.failure import Failure

AHEAD = 2
"""Pages on their way for each of the cluster's threads: so much is held in memory here."""
_LEAST_AHEAD = 4
_PATIENCE = 10.0


def on_cluster(tasks: Iterable[PageTask], address: str) -> Pages:
    """The pages in the order in which they finish. Stop (2) where the extra is not installed,
    (5) where no scheduler answers.
    """
    client = _client(address)
    try:
        _wait_for_workers(client, address)
        yield from _streamed(client, iter(tasks))
    finally:
        with contextlib.suppress(Exception):  # it may be gone already
            client.close(timeout=5)


def _client(address: str) -> Any:
    try:
        from distributed import Client
    except ImportError as error:
        raise bad_words(
            "--cluster needs the extra: pip install 'papernudge[cluster]', here and on the workers."
        ) from error
    try:
        return Client(  # type: ignore[no-untyped-call]
            address, timeout=_PATIENCE, set_as_default=False
        )
    except (OSError, TimeoutError, ValueError) as error:
        raise _away(address) from error


def _wait_for_workers(client: Any, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=_PATIENCE)
    except (TimeoutError, OSError) as error:
        raise Stop(
            Exit.FILE,
            f"The Dask scheduler at {address} has no worker: start one there and run again.",
            stage="cluster",
            reason="no worker",
        ) from error


def _away(address: str) -> Stop:
    return Stop(
        Exit.FILE,
        f"No Dask scheduler answers at {address}: expected one there, such as tcp://host:8786;"
        " start it and run again.",
        stage="cluster",
        reason="away",
    )


def _streamed(client: Any, tasks: Iterator[PageTask]) -> Pages:
    """Hands out a few pages more than the cluster has threads, a new one for each that is done."""
    from distributed import as_completed

    flying: dict[str, PageTask] = {}
    queue: Any = as_completed(loop=client.loop)  # type: ignore[no-untyped-call]

    def send() -> PageDone | None:
        """Sends the next page; one that can't even be packed is answered at once."""
        task = next(tasks, None)
        if task is None:
            return None
        load = packed(task)
        if isinstance(load, Failure):
            return given_up(task, load.sentence) if load.reason == "unreadable" else _as_it_is(task)
        future = client.submit(far_read, load, key=f"page-{task.hash}-{task.number}", pure=False)
        flying[future.key] = task
        queue.add(future)
        return None

    def fill() -> Iterator[PageDone]:
        room = max(_LEAST_AHEAD, AHEAD * sum(client.nthreads().values()))
        while len(flying) < room:
            before = len(flying)
            answered = send()
            if answered is not None:
                yield answered
            elif len(flying) == before:
                return

    yield from fill()
    while flying:
        future = next(queue)
        task = flying.pop(future.key)
        try:
            done: PageDone = future.result()
        except Exception as error:  # whatever happened over there, this page waits for another run
            done = given_up(task, f"the cluster could not read it ({type(error).__name__})")
        future.release()
        yield done
        yield from fill()


def _as_it_is(task: PageTask) -> PageDone:
    """A damaged page says what is wrong with it here as well as there."""
    return in_a_child(task)


def far_read(task: PageTask) -> PageDone:
    """Runs on the cluster: there too, in a child with limits."""
    return in_a_child(task)
