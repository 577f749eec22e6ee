"""Positions drawn as text, for docstrings and tests."""

from __future__ import annotations

from collections.abc import Iterable

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import VALUES
from papernudge.hints.position import Position


def drawn(text: str, layout: Layout = NEWSPAPER) -> Board:
    """A board from rows of marks, ``.`` for a blank; rows that are left out are blank.

    >>> drawn("1 2 .  4").placed[4]
    8
    """
    line = "".join(text.split()).ljust(layout.many, ".")
    return Board.of(Position.of(line, layout=layout))


def marked(text: str, layout: Layout = NEWSPAPER) -> Board:
    """A board from rows of candidates, nothing written: ``.`` for a cell that can take any digit.

    What a row says is taken as known, as if it were noted on the paper.

    >>> marked("12 12 .").digits[0]
    3
    """
    cells = text.split()
    ruled_out = 0
    for cell, digits in enumerate(cells):
        for digit in layout.digits:
            if digits != "." and digit not in map(VALUES.get, digits):
                ruled_out |= layout.candidate(cell, digit)
    return Board.of(Position(layout.blank, layout.blank, layout=layout), noted=ruled_out)


def told(deductions: Iterable[Deduction], layout: Layout = NEWSPAPER) -> str:
    """Deductions in words, a line each, in order of looks; what reads the same is told once."""
    lines = sorted({(d.looks, d.technique, _claim(d, layout)) for d in deductions})
    return "\n".join(
        f"{technique}, {looks} look{'s' * (looks != 1)}: {claim}"
        for looks, technique, claim in lines
    )


def _claim(deduction: Deduction, layout: Layout) -> str:
    cell_name = layout.name
    if deduction.places:
        return ", ".join(f"{d} in {cell_name(c)}" for c, d in deduction.places)
    struck: dict[int, list[str]] = {}
    for cell, digit in layout.pairs(deduction.ruled_out):
        struck.setdefault(cell, []).append(str(digit))
    grouped: dict[str, list[str]] = {}
    for cell, digits in struck.items():
        grouped.setdefault(_either(digits), []).append(cell_name(cell))
    if all(len(cells) == 1 for cells in grouped.values()) or len(grouped) == 1:
        return "; ".join(f"no {ds} in {', '.join(cs)}" for ds, cs in grouped.items())
    return "; ".join(f"no {_either(ds)} in {cell_name(c)}" for c, ds in struck.items())


def _either(digits: list[str]) -> str:
    if len(digits) == 1:
        return digits[0]
    return ", ".join(digits[:-1]) + " or " + digits[-1]
