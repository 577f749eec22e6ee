"""The catalogue: all that a person is told, in one table by code, and the language it is told in.

The tables of the rooms behind (``vision``, ``hints``) and those of this room are one. Whoever is a
library passes the language in; the terminal and the page choose theirs in one place,
:func:`speaking`, and everything that they print or show asks :func:`spoken`.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from papernudge.cli.said import books, phone, pictures, sheets, sitting, terminal, troubles
from papernudge.hints.catalogue import Words
from papernudge.hints.words import ENGLISH as OF_HINTS
from papernudge.vision.said import SAID as OF_VISION

TABLES = (
    OF_HINTS.said,
    OF_VISION,
    *(room.SAID for room in (troubles, sitting, pictures, books, sheets, terminal, phone)),
)
ENGLISH = Words(
    OF_HINTS.language,
    {code: template for table in TABLES for code, template in table.items()},
    OF_HINTS.plural,
)

_SPOKEN: ContextVar[Words] = ContextVar("spoken", default=ENGLISH)


def spoken() -> Words:
    """The language of this command, or of this request."""
    return _SPOKEN.get()


@contextmanager
def speaking(words: Words) -> Iterator[None]:
    """All that is said inside is said in this language."""
    before = _SPOKEN.set(words)
    try:
        yield
    finally:
        _SPOKEN.reset(before)


def in_words(code: str, /, **data: Any) -> str:
    """The sentence of this code in the language that is spoken."""
    return spoken().say(code, **data)


def in_words_of(code: str, count: int, /, **data: Any) -> str:
    """The same where its form hangs on a number, which it may name as ``count``."""
    return spoken().counted(code, count, **data)
