"""What a command came to, for one photo or for one board of lines."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from papernudge.cli.base.exits import Exit

if TYPE_CHECKING:
    from papernudge.cli.session.answers import Answer

_CODES = {
    "unsure": Exit.UNSURE,
    "not one solution": Exit.NOT_ONE_SOLUTION,
}


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one source came to: its document, its text, its exit code; ``told``: sentences for
    standard error, doubts and what went wrong.
    """

    document: dict[str, Any]
    text: str
    code: Exit
    told: tuple[str, ...] = ()


def code_of_answer(answer: Answer) -> Exit:
    """How the command ends that gave this answer. A hint says of a mistake only that there is one:
    whoever asked for a hint did not ask for that.
    """
    if answer.state == "mistaken" and answer.command == "check":
        return Exit.MISTAKE
    return _CODES.get(answer.state, Exit.DONE)
