"""Pages read on a Dask scheduler's workers. The book stays here; photos travel there.

Dask unpickles what the other side sends: whoever runs the scheduler or a worker can run code here.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import queue
import re
import socket
import threading
import time
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from importlib.util import find_spec
from typing import Any, TypeVar

from papernudge.cli.base.exits import Exit, Stop, bad_words
from papernudge.cli.books.bare import bare_task
from papernudge.cli.books.pool import given_up, in_a_child
from papernudge.cli.books.rows import PageDone, PageTask
from papernudge.hints.catalogue import message
from papernudge.vision.failure import Failure

AHEAD = 2
"""Pages on their way for each of the cluster's threads: so much is held in memory here."""
_LEAST_AHEAD = 4
AT_ONCE = 64
"""Most pages that are fetched and written at one go: as many are held in memory here, beside those
on their way (about 150 kB each), and read once more where a run is killed meanwhile."""
_PATIENCE = 8.0
"""Seconds until a sentence says that nothing comes of an address, all steps together."""
_OF_WORKERS = 3.0
"""Of them, kept for waiting for a worker."""
_PULSE, _MISSED = 2.0, 2
"""Seconds between two questions whether the scheduler lives; so many unanswered are enough."""
_PORT = 8786
_ADDRESS = re.compile(
    r"(?:(?P<how>tcp|tls)://)?(?P<host>\[[0-9A-Fa-f:.]+(?:%[\w.-]+)?\]|[^\s:/@\[\]?#%]+)"
    r"(?::(?P<port>[0-9]{1,5}))?/?"
)
T = TypeVar("T")
Together = Generator[Sequence[PageDone], None, None]


def on_cluster(tasks: Iterable[PageTask], address: str) -> Together:
    """The pages in the order in which they finish, those together that are back at once. Stop (2)
    where the address is none or the extra is not installed, (5) where no scheduler answers, or it
    goes away.
    """
    where, host, port = _parsed(address)
    client = _client(address, where, host, port)
    try:
        _wait_for_workers(client, address)
        yield from _streamed(client, iter(tasks), address)
    finally:
        if not _within(5.0, lambda: client.close(timeout=3) or True):
            client.status = "closed"  # or its end would wait once more, and print why


def _parsed(address: str) -> tuple[str, str, int]:
    """The address in full, its host and its port."""
    found = _ADDRESS.fullmatch(address)
    port = int(found["port"] or _PORT) if found else 0
    if (
        found is None
        or not address.isprintable()
        or not 0 < port < 65536
        or not _is_host(found["host"])
    ):
        raise bad_words("cluster looks like", got=repr(address))
    how, host = found["how"] or "tcp", found["host"]
    return f"{how}://{host}:{port}", host.strip("[]"), port


def _is_host(host: str) -> bool:
    try:
        return host.startswith("[") or (host.isprintable() and 0 < len(host.encode("idna")) < 254)
    except UnicodeError:
        return False


def _client(address: str, where: str, host: str, port: int) -> Any:
    until = time.monotonic() + _PATIENCE - _OF_WORKERS
    if find_spec("distributed") is None:
        raise bad_words("cluster needs the extra")
    # Names are looked up and ports are knocked at here first: Dask tries for as long as it may.
    if not _within(until - time.monotonic(), lambda: _knock(host, port)):
        raise _away(address)
    import dask
    from distributed import Client

    _hush()
    if where.startswith("tls:") and not dask.config.get("distributed.comm.tls.ca-file", None):
        raise bad_words("cluster needs certificates")
    # A client that got stuck in its beginnings is hard to be rid of: first a greeting.
    if not _within(max(1.0, until - time.monotonic()), lambda: asyncio.run(_greeted(where))):
        raise _away(address)
    client = _within(_PATIENCE, lambda: _made(Client, where))
    if client is None:
        raise _away(address)
    return client


def _made(kind: Any, where: str) -> Any:
    return kind(where, timeout=_PATIENCE, set_as_default=False)


async def _greeted(where: str) -> bool:
    """Whether a scheduler says who it is."""
    from distributed.core import rpc

    ask: Any = rpc
    async with ask(where, timeout=_PATIENCE) as other:
        told = await asyncio.wait_for(other.identity(), _PATIENCE)
        return bool(told.get("type") == "Scheduler")


def _knock(host: str, port: int) -> bool:
    with socket.create_connection((host, port), timeout=_PATIENCE):
        return True


def _within(seconds: float, does: Callable[[], T]) -> T | None:
    """What comes of it; None where that takes longer, or fails in any way."""
    came: list[T] = []

    def attempt() -> None:
        with contextlib.suppress(Exception):  # of every kind, by what the other side is
            came.append(does())

    thread = threading.Thread(target=attempt, daemon=True)
    thread.start()
    thread.join(max(0.0, seconds))
    return came[0] if came else None


def _hush() -> None:
    """Dask logs tracebacks of lost connections to standard error: the sentences here say it."""
    for name in ("distributed", "tornado", "asyncio", "bokeh"):
        logger = logging.getLogger(name)
        logger.handlers = [logging.NullHandler()]
        logger.propagate = False
        logger.setLevel(logging.CRITICAL + 1)
    for name in list(logging.root.manager.loggerDict):
        if name.startswith("distributed."):
            logging.getLogger(name).setLevel(logging.CRITICAL + 1)


def _wait_for_workers(client: Any, address: str) -> None:
    def waited() -> bool:
        client.wait_for_workers(1, timeout=_OF_WORKERS)
        return True

    if not _within(_OF_WORKERS + 1, waited):
        raise Stop(
            Exit.FILE,
            message("no worker", address=address),
            stage="cluster",
            reason="no worker",
        )


def _away(address: str) -> Stop:
    return Stop(
        Exit.FILE,
        message("no scheduler", address=address),
        stage="cluster",
        reason="away",
    )


def _gone(address: str, code: str = "scheduler went away") -> Stop:
    return Stop(
        Exit.FILE,
        message(code, address=address),
        stage="cluster",
        reason="gone",
    )


def _streamed(client: Any, tasks: Iterator[PageTask], address: str) -> Together:
    """Hands out a few pages more than the cluster has threads, and new ones for those that are
    done. What a scheduler costs is the messages, hardly the pages in them, so a large cluster's go
    out a quarter of its room at a time (``bench_cost.py`` measures it); of a small one's, each.
    """
    flying: dict[str, tuple[PageTask, Any]] = {}
    landed: queue.Queue[str] = queue.Queue()
    room = _Room(client, address)

    def fill() -> Iterator[Sequence[PageDone]]:
        most = room.most()
        if len(flying) > most - max(1, most // 4):
            return
        loads: dict[str, tuple[PageTask, PageTask]] = {}
        while len(flying) + len(loads) < most:
            task = next(tasks, None)
            if task is None:
                break
            load = bare_task(task)
            if isinstance(load, Failure):  # it says what is wrong here as well as there
                unread = load.reason == "unreadable"
                yield (_not_loaded(task, load) if unread else in_a_child(task),)
                continue
            loads[f"page-{task.hash}-{task.number}"] = (task, load)
        if not loads:
            return
        sent = [load for _, load in loads.values()]
        futures = client.map(far_read, sent, key=list(loads), pure=False)
        for (key, (task, _)), future in zip(loads.items(), futures, strict=True):
            flying[key] = (task, future)
            future.add_done_callback(lambda done: landed.put(done.key))

    yield from fill()
    while flying:
        keys = [_next_landed(client, landed, address)]
        with contextlib.suppress(queue.Empty):
            while len(keys) < AT_ONCE:
                keys.append(landed.get_nowait())
        back, here = [key for key in keys if key in flying], list[PageDone]()
        together = _fetched(client, {key: flying[key][1] for key in back})
        for key in back:
            task, future = flying.pop(key)
            done = _result(task, future, together.get(key))
            if not done.lasting and _threads(client) is None:
                yield here
                raise _gone(address)
            here.append(done)
        yield here
        yield from fill()


def _not_loaded(task: PageTask, failure: Failure) -> PageDone:
    return given_up(task, "page not loaded", why=failure.says)


def _fetched(client: Any, futures: dict[str, Any]) -> dict[str, Any]:
    """What came back, fetched at one go: one by one, each page waits for a message there and back.
    Less, or nothing, where something is amiss: then each tells for itself.
    """
    if len(futures) < 2:
        return {}
    return _within(_PATIENCE, lambda: dict(client.gather(futures, errors="skip"))) or {}


class _Room:
    """How many pages may be on their way, by the workers that there are now."""

    def __init__(self, client: Any, address: str) -> None:
        self.client, self.address = client, address
        self.told, self.asked = _LEAST_AHEAD, 0.0

    def most(self) -> int:
        """Asked for anew every few seconds, as workers come and go."""
        if time.monotonic() - self.asked > _PULSE:
            threads = _threads(self.client)
            if threads is None:
                raise _gone(self.address)
            self.told, self.asked = max(_LEAST_AHEAD, AHEAD * threads), time.monotonic()
        return self.told


def _threads(client: Any) -> int | None:
    """How many threads the workers have; None where the scheduler does not answer."""

    def asked() -> int:
        cores = client.sync(client.scheduler.ncores, callback_timeout=_PULSE)
        return sum(cores.values())

    return _within(_PULSE + 1, asked)


def _next_landed(client: Any, landed: queue.Queue[str], address: str) -> str:
    """The key of a page that has come back. Stop where none can come any more."""
    silent = idle = 0
    while True:
        try:
            return landed.get(timeout=_PULSE)
        except queue.Empty:
            threads = _threads(client)
        silent = silent + 1 if threads is None else 0
        idle = idle + 1 if threads == 0 else 0
        if silent >= _MISSED:
            raise _gone(address)
        if idle * _PULSE > _PATIENCE:
            raise _gone(address, "last worker went away")


def _result(task: PageTask, future: Any, fetched: Any = None) -> PageDone:
    """What came back, if it is what was asked for. ``fetched``: it, if it is here already."""
    try:
        done = future.result(timeout=_PATIENCE) if fetched is None else fetched
    except Exception as error:  # whatever happened over there, this page waits for another run
        return given_up(task, "page not read by cluster", fault=type(error).__name__)
    finally:
        with contextlib.suppress(Exception):
            future.release()
    if not isinstance(done, PageDone) or (done.hash, done.number) != (task.hash, task.number):
        return given_up(task, "page not what was sent")
    return done


def far_read(task: PageTask) -> PageDone:
    """Runs on the cluster: there too, in a child with limits."""
    return in_a_child(task)
