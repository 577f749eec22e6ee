"""What went wrong, in a sentence for the person: what was expected, what came, what to try.

Nothing here knows how a program ends; the exit codes are those of :mod:`papernudge.cli.base.exits`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from papernudge.cli.said import ENGLISH, spoken
from papernudge.hints.catalogue import Message, message

if TYPE_CHECKING:
    from papernudge.vision.failure import Failure


class Trouble(Exception):  # noqa: N818 - nothing is wrong with the program
    """Ends one piece of work.

    ``says``: what it is, for the person; a string is said as it is. ``stage`` and ``reason``:
    short fixed words for programs.
    """

    def __init__(self, says: Message | str, *, stage: str, reason: str) -> None:
        super().__init__(says)
        self.says, self.stage, self.reason = says, stage, reason

    @property
    def sentence(self) -> str:
        """What it is, in the language that is spoken."""
        return spoken().tell(self.says)

    def __str__(self) -> str:
        return self.sentence

    def __reduce__(self) -> tuple[object, ...]:
        return _again, (type(self), self.args, self.__dict__)


def _again(kind: type[Trouble], words: tuple[object, ...], held: dict[str, object]) -> Trouble:
    made = kind.__new__(kind, *words)
    made.__dict__.update(held)
    return made


class WordsError(Trouble):
    """What was asked for does not fit: a cell, a grid, an answer that there is none of."""

    def __init__(
        self, says: Message | str, *, stage: str = "command", reason: str = "words"
    ) -> None:
        super().__init__(says, stage=stage, reason=reason)


class PhotoError(Trouble):
    """What was given is no photo that can be opened."""


class GridError(Trouble):
    """The photo shows no grid, or none that can be read."""


def from_failure(failure: Failure, called: str | Message) -> Trouble:
    """What a failed reading means: opening is about the file, the rest about what the photo shows.

    ``called``: the photo's name, said where the sentence doesn't hold it; empty for none.
    """
    kind = PhotoError if failure.stage == "open" else GridError
    says = _naming(failure.says, called) if called else failure.says
    return kind(says, stage=failure.stage, reason=failure.reason)


def _naming(says: Message | str, called: str | Message) -> Message | str:
    """The same with the photo's name in it."""
    if isinstance(says, str):
        named = isinstance(called, str) and called in says
        return says if named else message("of a photo", called=called, said=says)
    if "called" in says.data:
        return says
    if f"{says.code}, called" in ENGLISH.said:
        return Message(f"{says.code}, called", {**says.data, "called": called})
    return message("of a photo", called=called, said=says)
