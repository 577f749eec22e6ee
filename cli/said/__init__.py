"""The catalogue: all that a person is told, in one table by code, and the language it is told in.

The tables of the rooms behind (``vision``, ``hints``) and those of this room are one. Whoever is a
library passes the language in; the terminal and the page choose theirs in one place,
:func:`speaking`, and everything that they print or show asks :func:`spoken`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import cached_property
from typing import Any

from papernudge.cli.said.helping import SAID as HELP
from papernudge.hints.catalogue import Words, english_plural


class Tables(Mapping[str, str]):
    """All tables as one, put together when the first sentence is asked for. ``--help`` starts
    without them: what it says is one small table, and codes that begin with ``help`` are in no
    other.
    """

    @cached_property
    def tables(self) -> tuple[Mapping[str, str], ...]:
        """The tables one by one."""
        from papernudge.cli.said import (
            books,
            helping,
            phone,
            pictures,
            sheets,
            sitting,
            terminal,
            troubles,
        )
        from papernudge.hints.said import SAID as OF_HINTS
        from papernudge.vision.said import SAID as OF_VISION

        rooms = (troubles, helping, sitting, pictures, books, sheets, terminal, phone)
        return (OF_HINTS, OF_VISION, *(room.SAID for room in rooms))

    @cached_property
    def _whole(self) -> dict[str, str]:
        return {code: template for table in self.tables for code, template in table.items()}

    def __getitem__(self, code: str) -> str:
        if code.startswith("help"):
            return HELP[code]
        return self._whole[code]

    def __iter__(self) -> Iterator[str]:
        return iter(self._whole)

    def __len__(self) -> int:
        return len(self._whole)

    def __contains__(self, code: object) -> bool:
        return code in self._whole


TABLES = Tables()
ENGLISH = Words("en", TABLES, english_plural)

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
