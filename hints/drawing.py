"""Positions drawn as text, for docstrings and tests."""

from __future__ import annotations

from papernudge.hints.board import Board
from papernudge.hints.position import Position


def drawn(text: str, notes: dict[int, tuple[int, ...]] | None = None) -> Board:
    """A board from rows of marks; rows that are left out are blank.

    >>> drawn("1 2 .  4").placed[4]
    8
    """
    marks = "".join(text.split())
    return Board.of(Position.of(marks.ljust(81, "."), notes=notes))
