"""Work on files from anywhere, done in a child process that has limits.

A small crafted file can ask a decoder for gigabytes, for minutes, or crash it. The child may use so
much memory and processor time and no more, and it dies with its parent. What it makes comes back
as it is; large arrays come in shared memory, so that a page's pixels travel in no time.

Processor time is limited wherever there are interval timers, and for a child that neither ends nor
answers the clock is; memory where the system counts a process's private memory (Linux).
"""

from __future__ import annotations

import atexit
import contextlib
import gc
import mmap
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from multiprocessing import connection
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, Protocol

from papernudge.cli.base import stopping
from papernudge.cli.base.limits import MEMORY, PAGE_SECONDS, SECONDS, WALL

__all__ = [
    "MEMORY",
    "PAGE_SECONDS",
    "SECONDS",
    "Child",
    "Ended",
    "ask",
    "begin",
    "finish",
    "within",
]

_LARGE = 1 << 16
_BROKEN = {"SIGABRT", "SIGSEGV", "SIGBUS", "SIGFPE", "SIGILL"}
_TIMED = {"SIGPROF", "SIGXCPU"}
_LINUX = sys.platform == "linux"
_EDGE = 4096


class Ended(Exception):  # noqa: N818 - for the file's sake, not an error of ours
    """The child ended before it answered. ``why``: ``time`` for its processor time, ``clock`` where
    it hung or the machine was far too busy, ``broken`` where the work broke it, as it would again
    (a library's fault, or no memory where it can't do without), ``crash`` for anything else.
    """

    def __init__(self, why: str) -> None:
        super().__init__(why)
        self.why = why


class _Process(Protocol):
    pid: int

    def kill(self) -> None: ...
    def end(self) -> int:
        """Waits for its end; the exit code, negative for a signal."""


class Child:
    """A process of ours that does one piece of work at a time.

    ``fork``: from this process as it stands, which is quick, where it has one thread; else a fresh
    Python. Raises OSError where no process can be started.
    """

    def __init__(self, fork: bool = False) -> None:
        with stopping.held():
            self.pipe, there = connection.Pipe()
            forks = fork and _LINUX and _threads() == 1
            # A thread may end before its process does, and would take the child with it.
            parent = os.getpid() if threading.current_thread() is threading.main_thread() else 0
            try:
                start = _forked if forks else _started
                self.process: _Process = start(there, parent)
            except OSError:
                self.pipe.close()
                raise
            finally:
                there.close()
            stopping.remember(self.kill)
        self.deadline: float | None = None

    def send(self, work: Callable[..., object], *args: object, seconds: float = SECONDS) -> None:
        """Gives it something to do: a function that can be imported, and what pickles.

        Nothing is raised where it has died: :meth:`receive` says so.
        """
        self.deadline = time.monotonic() + WALL
        with contextlib.suppress(OSError):
            self.pipe.send_bytes(pickle.dumps((work, args, seconds)))

    def receive(self) -> Any:
        """Waits for what the work came to. Raises Ended where the child did before, or was ended
        for its time; what else the work raised comes as a RuntimeError, or as a MemoryError.
        """
        if not self.pipe.poll(self.left()):
            raise self.overdue()
        try:
            done, answer = self._answer()
        except (EOFError, OSError) as error:
            raise self._autopsy() from error
        self.deadline = None
        if done:
            return answer
        raise answer

    @property
    def pid(self) -> int:
        """What the system calls it."""
        return self.process.pid

    def left(self) -> float:
        """Seconds by the clock before it is given up."""
        return max(0.0, (self.deadline or time.monotonic() + WALL) - time.monotonic())

    def overdue(self) -> Ended:
        """Ends it, for it hangs."""
        self.close()
        return Ended("clock")

    def kill(self) -> None:
        """Ends it, without a look back."""
        with contextlib.suppress(OSError):
            self.process.kill()

    def close(self) -> int:
        """Ends it and waits for that; its exit code."""
        self.pipe.close()
        self.kill()
        code = self.process.end()
        stopping.forget(self.kill)
        return code

    def _autopsy(self) -> Ended:
        self.pipe.close()
        code = self.process.end()  # its pipe has ended, and so does it
        stopping.forget(self.kill)
        name = signal.Signals(-code).name if -code in set(signal.Signals) else ""
        return Ended("time" if name in _TIMED else "broken" if name in _BROKEN else "crash")

    def _answer(self) -> tuple[bool, Any]:
        sizes, where = pickle.loads(self.pipe.recv_bytes())
        data = self.pipe.recv_bytes()
        if not sizes:
            found: tuple[bool, Any] = pickle.loads(data)
            return found
        with Path(f"/proc/{self.process.pid}/fd/{where}").open("r+b") as shared:
            flags = mmap.MAP_SHARED | getattr(mmap, "MAP_POPULATE", 0)
            room = memoryview(mmap.mmap(shared.fileno(), 0, flags=flags))
        self.pipe.send_bytes(b"")
        starts = _starts(sizes)
        parts = [room[at : at + n] for at, n in zip(starts, sizes, strict=False)]
        answer: tuple[bool, Any] = pickle.loads(data, buffers=parts)
        return answer


def _starts(sizes: Iterable[int]) -> list[int]:
    """Where each buffer begins in shared memory, and where the last one ends."""
    starts = [0]
    for size in sizes:
        starts.append(starts[-1] + -(-size // _EDGE) * _EDGE)
    return starts


def _threads() -> int:
    """How many threads this process has, whoever made them: a fork would lose the others."""
    try:
        return len(os.listdir("/proc/self/task"))  # noqa: PTH208 - a count is all that is wanted
    except OSError:
        return 2


# ---------------------------------------------------------------- how it is started


class _Fork:
    def __init__(self, pid: int) -> None:
        self.pid = pid
        self._code: int | None = None

    def kill(self) -> None:
        if self._code is None:
            os.kill(self.pid, signal.SIGKILL)

    def end(self) -> int:
        if self._code is None:
            try:
                self._code = os.waitstatus_to_exitcode(os.waitpid(self.pid, 0)[1])
            except ChildProcessError:  # somebody else waited for it
                self._code = 0
        return self._code


def _forked(there: Connection, parent: int) -> _Process:
    for stream in (sys.stdout, sys.stderr):
        with contextlib.suppress(OSError, ValueError, AttributeError):
            stream.flush()
    pid = os.fork()
    if pid:
        return _Fork(pid)
    try:
        gc.freeze()  # what the parent made is not this process's to tidy up
        kept = there.fileno()
        os.closerange(3, kept)
        os.closerange(kept + 1, 65_536)
        _serve(there, parent)
    finally:
        os._exit(0)


class _Spawn:
    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self._process = process
        self.pid = process.pid

    def kill(self) -> None:
        self._process.kill()

    def end(self) -> int:
        return self._process.wait()


if sys.platform == "win32":
    from multiprocessing.context import SpawnProcess

    class _Windows:
        def __init__(self, process: SpawnProcess) -> None:
            self._process = process
            self.pid = process.pid or 0

        def kill(self) -> None:
            self._process.kill()

        def end(self) -> int:
            self._process.join()
            return self._process.exitcode or 0

    def _started(there: Connection, parent: int) -> _Process:
        process = SpawnProcess(target=_serve, args=(there, parent), daemon=True)
        process.start()
        return _Windows(process)

else:

    def _started(there: Connection, parent: int) -> _Process:
        handle = there.fileno()
        code = f"from papernudge.cli.base.limited import main; main({handle}, {parent})"
        # -P: nothing is imported from the folder that the photos lie in. A group of its own: what
        # is typed at the terminal reaches the run that started it, which decides.
        process = subprocess.Popen(
            [sys.executable, "-P", "-c", code],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=None if os.environ.get("PAPERNUDGE_DEBUG") else subprocess.DEVNULL,
            pass_fds=[handle],
            process_group=0,
        )
        return _Spawn(process)


# ---------------------------------------------------------------- in the child

_serving = False


def main(handle: int, parent: int) -> None:
    """What a fresh Python does to be a child."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _serve(Connection(handle), parent)
    os._exit(0)


def _serve(pipe: Connection, parent: int) -> None:
    """Works until the pipe ends."""
    for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGALRM"):  # the parent decides
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    _die_with(parent)
    _mute()
    global _serving
    _serving, limited = True, False
    while True:
        try:
            work, args, seconds = pickle.loads(pipe.recv_bytes())
            if not limited:
                _limit_memory()
                limited = True
            answer = _done(work, args, seconds)
            try:
                _reply(pipe, answer)
            except MemoryError:
                _reply(pipe, (False, MemoryError()))
            del answer
        except (EOFError, OSError):
            return


def _done(work: Callable[..., object], args: tuple[object, ...], seconds: float) -> Any:
    timed = hasattr(signal, "setitimer")
    if timed:
        signal.signal(signal.SIGPROF, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        return True, work(*args)
    except MemoryError:
        return False, MemoryError()
    except Exception as fault:
        return False, RuntimeError(f"{type(fault).__name__}: {fault}")
    finally:
        if timed:
            signal.setitimer(signal.ITIMER_PROF, 0.0)


@contextlib.contextmanager
def within(seconds: float = SECONDS) -> Iterator[None]:
    """A part of the work that has a shorter time of its own. Without effect in no child."""
    if not (_serving and hasattr(signal, "setitimer")):
        yield
        return
    rest = signal.setitimer(signal.ITIMER_PROF, seconds)[0]
    try:
        yield
    finally:
        spent = seconds - signal.getitimer(signal.ITIMER_PROF)[0]
        signal.setitimer(signal.ITIMER_PROF, max(0.01, rest - spent))


def _reply(pipe: Connection, answer: object) -> None:
    large: list[memoryview] = []

    def kept_out(buffer: pickle.PickleBuffer) -> bool:
        view = buffer.raw()
        if view.nbytes < _LARGE or view.readonly:
            return True
        large.append(view)
        return False

    data = pickle.dumps(answer, 5, buffer_callback=kept_out if _LINUX else None)
    sizes = [view.nbytes for view in large]
    shared = _shared(large) if large else -1
    large.clear()
    del answer
    pipe.send_bytes(pickle.dumps((sizes, shared)))
    pipe.send_bytes(data)
    if sizes:
        try:
            pipe.recv_bytes()  # the other side holds it now
        finally:
            os.close(shared)


def _shared(large: Iterable[memoryview]) -> int:
    """A file in memory with these buffers one after the other."""
    handle = os.memfd_create("papernudge")
    views = list(large)
    starts = _starts(view.nbytes for view in views)
    os.ftruncate(handle, starts[-1])
    for start, view in zip(starts, views, strict=False):
        at = 0
        while at < view.nbytes:
            at += os.pwrite(handle, view[at:], start + at)
    return handle


def _die_with(parent: int) -> None:
    """Linux ends this process with the thread that started it. Elsewhere, and for other threads
    than the first (``parent`` 0), the end of its pipe does, once its work or its time is over.
    """
    if not _LINUX or not parent:
        return
    import ctypes

    with contextlib.suppress(OSError, AttributeError):
        ctypes.CDLL(None).prctl(1, int(signal.SIGKILL), 0, 0, 0)  # PR_SET_PDEATHSIG
    if os.getppid() != parent:
        os._exit(0)


def _mute() -> None:
    """Decoders print; nobody reads it."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1) if os.environ.get("PAPERNUDGE_DEBUG") else (0, 1, 2):
        os.dup2(nowhere, stream)
    os.close(nowhere)


def _limit_memory() -> None:
    if not _LINUX:
        return
    import resource

    import cv2  # noqa: F401 - what libraries set aside when they start is no file's doing

    text = Path("/proc/self/status").read_text("ascii")
    held = next(int(line.split()[1]) for line in text.splitlines() if line.startswith("VmData"))
    hard = resource.getrlimit(resource.RLIMIT_DATA)[1]
    most = held * 1024 + MEMORY
    if hard != resource.RLIM_INFINITY:
        most = min(most, hard)
    resource.setrlimit(resource.RLIMIT_DATA, (most, hard))


# ---------------------------------------------------------------- one that is kept


_here = threading.local()
_all: set[Child] = set()


def kept() -> Child:
    """The child of this thread, started when first asked for."""
    child: Child | None = getattr(_here, "child", None)
    if child is None:
        child = _here.child = Child(fork=True)
        _all.add(child)
    return child


def _let_go(child: Child) -> None:
    _all.discard(child)
    if getattr(_here, "child", None) is child:
        _here.child = None
    child.close()


@atexit.register
def _let_all_go() -> None:
    for child in list(_all):
        _let_go(child)


def begin(work: Callable[..., object], *args: object, seconds: float = SECONDS) -> None:
    """Has this thread's child begin; :func:`finish` waits for it."""
    kept().send(work, *args, seconds=seconds)


def finish() -> Any:
    """What the work came to that :func:`begin` began: see :meth:`Child.receive`. The next work
    has a fresh child where this one has ended.
    """
    child = kept()
    try:
        return child.receive()
    except (Ended, KeyboardInterrupt):
        _let_go(child)
        raise


def ask(work: Callable[..., object], *args: object, seconds: float = SECONDS) -> Any:
    """Both at once."""
    begin(work, *args, seconds=seconds)
    return finish()
