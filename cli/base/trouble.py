"""What went wrong, in a sentence for the person: what was expected, what came, what to try.

Nothing here knows how a program ends; the exit codes are those of :mod:`papernudge.cli.base.exits`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from papernudge.vision.failure import Failure


class Trouble(Exception):  # noqa: N818 - nothing is wrong with the program
    """Ends one piece of work.

    ``sentence``: for the person; ``stage`` and ``reason``: short fixed words for programs.
    """

    def __init__(self, sentence: str, *, stage: str, reason: str) -> None:
        super().__init__(sentence)
        self.sentence, self.stage, self.reason = sentence, stage, reason

    def __reduce__(self) -> tuple[object, ...]:
        return _again, (type(self), self.args, self.__dict__)


def _again(kind: type[Trouble], words: tuple[object, ...], held: dict[str, object]) -> Trouble:
    made = kind.__new__(kind, *words)
    made.__dict__.update(held)
    return made


class WordsError(Trouble):
    """What was asked for does not fit: a cell, a grid, an answer that there is none of."""

    def __init__(self, sentence: str, *, stage: str = "command", reason: str = "words") -> None:
        super().__init__(sentence, stage=stage, reason=reason)


class PhotoError(Trouble):
    """What was given is no photo that can be opened."""


class GridError(Trouble):
    """The photo shows no grid, or none that can be read."""


def from_failure(failure: Failure, called: str) -> Trouble:
    """What a failed reading means: opening is about the file, the rest about what the photo shows.

    ``called``: the photo's name, put in front where the sentence doesn't hold it; empty for none.
    """
    kind = PhotoError if failure.stage == "open" else GridError
    sentence = failure.sentence
    if called and called not in sentence:
        sentence = f"{called}: {sentence[:1].lower()}{sentence[1:]}"
    return kind(sentence, stage=failure.stage, reason=failure.reason)
