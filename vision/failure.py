"""What seeing returns when it fails: a falsy value that holds the stage and the reason."""

from __future__ import annotations

import errno
import os
from dataclasses import dataclass
from typing import Literal

from papernudge.hints.catalogue import Message, message
from papernudge.vision.said import ENGLISH, SAID


@dataclass(frozen=True, slots=True)
class Failure:
    """A stage of seeing that did not succeed. Falsy, so ``if not result`` reads well.

    ``stage`` is where it happened (``"open"``, ``"find"``, ``"flatten"``, ``"quality"``,
    ``"read"``), ``reason`` a short fixed word for programs, ``says`` what to tell the
    person: what was expected, what came, what to try; a string is said as it is.
    """

    stage: str
    reason: str
    says: Message | str

    def __bool__(self) -> Literal[False]:
        return False

    @property
    def sentence(self) -> str:
        """What to tell the person, in English."""
        return ENGLISH.tell(self.says)


def said_by_system(error: Exception) -> Message | str:
    """What an error of the system says, in small letters, as it stands in a sentence's brackets:
    where the catalogue knows it, in any language.
    """
    said = getattr(error, "strerror", None) or str(error) or "unknown"
    number = getattr(error, "errno", None)
    name = errno.errorcode.get(number, "") if number else ""
    if f"system, {name}" in SAID and said == os.strerror(number or 0):
        return message(f"system, {name}")
    return said[:1].lower() + said[1:]
