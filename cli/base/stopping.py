"""Ends on a signal: at any moment, within a second, with nothing left behind.

A signal raises :class:`Stopped` where the program stands, so that every ``finally`` does its work.
Should that be swallowed (an import turns it into its own error, a callback drops it) or take too
long, what :func:`at_the_end` holds is done and the process ends there. Nothing heavy is imported
here: it is the first thing that the command does.
"""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any, NoReturn

PATIENCE = 0.6
"""Seconds that the orderly end may take after a signal."""
_SIGNALS = ("SIGINT", "SIGTERM", "SIGHUP")


class Stopped(KeyboardInterrupt):
    """A signal told the run to end."""


_code: int | None = None
_holds = 0
_last: list[Callable[[], object]] = []


def code() -> int | None:
    """The exit code that a signal asks for, 128 and its number; None where none came."""
    return _code


def listen() -> None:
    """From here on signals end the run in good order."""
    for name in _SIGNALS:
        number = getattr(signal, name, None)
        # What the caller had set to be ignored, as nohup does, stays ignored.
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            with contextlib.suppress(ValueError):  # not the main thread: its signals go elsewhere
                signal.signal(number, _stop)
    sys.unraisablehook = _quietly


def _stop(number: int, _frame: FrameType | None) -> None:
    global _code
    if _code is not None:  # asked for a second time
        _end_now()
    _code = 128 + number
    if hasattr(signal, "setitimer"):
        signal.signal(signal.SIGALRM, lambda *_: _end_now())
        signal.setitimer(signal.ITIMER_REAL, PATIENCE)
    if not _holds:
        raise Stopped


def _quietly(told: Any) -> None:
    """A signal that struck inside a callback is no fault to print."""
    if _code is None:
        sys.__unraisablehook__(told)


@contextlib.contextmanager
def held() -> Iterator[None]:
    """No signal strikes inside; one that comes strikes at the end. For a few quick steps that
    belong together, as making a file and noting that it is to be taken away.
    """
    global _holds
    _holds += 1
    try:
        yield
    finally:
        _holds -= 1
    if _code is not None and not _holds:
        raise Stopped


@contextlib.contextmanager
def at_the_end(undo: Callable[[], object]) -> Iterator[None]:
    """Has ``undo`` done if the process must end inside. Where it leaves in good order, whoever
    uses this undoes it as usual.
    """
    _last.append(undo)
    try:
        yield
    finally:
        _last.remove(undo)


def remember(undo: Callable[[], object]) -> None:
    """The same for things that last: to be done if the process must end at once."""
    _last.append(undo)


def forget(undo: Callable[[], object]) -> None:
    """Takes back :func:`remember`."""
    with contextlib.suppress(ValueError):
        _last.remove(undo)


def _end_now() -> NoReturn:
    deaf()
    for undo in reversed(_last[:]):
        with contextlib.suppress(BaseException):
            undo()
    os._exit(_code or 128 + int(signal.SIGINT))


def deaf() -> None:
    """The end has begun: signals change nothing any more."""
    for name in (*_SIGNALS, "SIGALRM"):
        number = getattr(signal, name, None)
        if number is not None:
            signal.signal(number, signal.SIG_IGN)


def leave(with_code: int) -> NoReturn:
    """Ends the process: at once where a signal asks for it, else as Python ends. A standard stream
    that nobody reads any more changes no code.
    """
    if _code is not None:
        _last_words()
        _end_now()
    if not _last_words():
        os._exit(with_code)
    sys.exit(with_code)


def _last_words() -> bool:
    told = True
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except (OSError, ValueError):
            told = False
    return told
