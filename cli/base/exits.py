"""Exit codes, and the one exception that carries a sentence to the user."""

from __future__ import annotations

import os
from enum import IntEnum
from typing import TYPE_CHECKING

from papernudge.cli.base import stopping

if TYPE_CHECKING:
    from papernudge.vision.failure import Failure


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


class Stop(Exception):  # noqa: N818 - not every end is an error
    """Ends the command (or this photo's part of it) with one sentence.

    ``code``: the exit code; ``stage`` and ``reason``: short fixed words for the JSON.
    """

    def __init__(self, code: Exit, sentence: str, *, stage: str, reason: str) -> None:
        super().__init__(sentence)
        self.code, self.sentence, self.stage, self.reason = code, sentence, stage, reason


def bad_words(sentence: str) -> Stop:
    """The words of the command are off."""
    return Stop(Exit.WORDS, sentence, stage="command", reason="words")


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
        f"This is a fault of papernudge, not yours ({what});"
        " with PAPERNUDGE_DEBUG=1 it tells more.",
        stage="papernudge",
        reason="fault",
    )


def from_failure(failure: Failure, called: str) -> Stop:
    """What a failed reading means for the command: opening is about the file, the rest about
    what the photo shows.
    """
    code = Exit.FILE if failure.stage == "open" else Exit.NO_GRID
    sentence = failure.sentence
    if called and called not in sentence:
        sentence = f"{called}: {sentence[:1].lower()}{sentence[1:]}"
    return Stop(code, sentence, stage=failure.stage, reason=failure.reason)
