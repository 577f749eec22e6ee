"""Exit codes, and the exception that carries one of them beside its sentence."""

from __future__ import annotations

import os
from enum import IntEnum
from typing import Any

from papernudge.cli.base import stopping
from papernudge.cli.base.trouble import GridError, PhotoError, Trouble, WordsError
from papernudge.hints.catalogue import Message, message


class Exit(IntEnum):
    """How the command ended."""

    DONE = 0
    MISTAKE = 1
    WORDS = 2
    NO_GRID = 3
    NOT_ONE_SOLUTION = 4
    FILE = 5
    UNSURE = 6
    FAULT = 70
    HUNG_UP = 129
    STOPPED = 130
    PIPE = 141
    TERMINATED = 143


class Stop(Trouble):
    """Ends the command (or this photo's part of it) with one sentence and this exit code."""

    def __init__(self, code: Exit, says: Message | str, *, stage: str, reason: str) -> None:
        super().__init__(says, stage=stage, reason=reason)
        self.code = code


_CODES: tuple[tuple[type[Trouble], Exit], ...] = (
    (WordsError, Exit.WORDS),
    (PhotoError, Exit.FILE),
    (GridError, Exit.NO_GRID),
)


def code_of(trouble: Trouble) -> Exit:
    """The exit code that the command ends with."""
    if isinstance(trouble, Stop):
        return trouble.code
    for kind, code in _CODES:
        if isinstance(trouble, kind):
            return code
    return Exit.FAULT


def bad_words(code: str, /, **data: Any) -> Stop:
    """The words of the command are off: what to say of that, by code, with its data."""
    return Stop(Exit.WORDS, message(code, **data), stage="command", reason="words")


def from_fault(fault: Exception) -> Stop:
    """A fault of ours, told without a traceback; raised as it is where PAPERNUDGE_DEBUG is set.

    What a signal made of itself on its way up is none: then that goes on.
    """
    if stopping.code() is not None:
        raise stopping.Stopped from fault
    if os.environ.get("PAPERNUDGE_DEBUG"):
        raise fault
    what = f"{type(fault).__name__}: {fault}".splitlines()[0]
    return Stop(
        Exit.FAULT,
        message("fault of ours", what=what),
        stage="papernudge",
        reason="fault",
    )
