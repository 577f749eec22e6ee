"""``--assume R4C7=entry:1``: what the user says stands in a cell."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from papernudge.cli.base.say import short
from papernudge.cli.base.trouble import WordsError
from papernudge.hints.catalogue import counted, message
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import VALUES

if TYPE_CHECKING:
    from papernudge.vision.reading import CellReading, GridReading

_SHAPE = re.compile(
    r"(?:(?P<grid>[1-9][0-9]{0,8}):)?(?P<cell>R[0-9]{1,2}C[0-9]{1,2})"
    r"=(?:(?:(?P<kind>given|entry):)?(?P<digit>[1-9A-G]|1[0-6]|\.)"
    r"|notes:(?P<notes>[1-9A-G]{1,16}|\.)|block:(?P<beside>R[0-9]{1,2}C[0-9]{1,2}))",
    re.ASCII | re.IGNORECASE,
)
"""What may be said of a cell on the largest board."""


@dataclass(frozen=True, slots=True)
class Assumption:
    """``grid`` counts from 1, None for the grid in question; ``kind`` ``"given"``, ``"entry"``
    or None to keep the kind; ``digit`` None for no digit there; ``notes`` None to keep them.
    ``beside``: only that the cell is in one block with this one, None for anything else.
    """

    grid: int | None
    cell: int
    kind: str | None
    digit: int | None
    notes: frozenset[int] | None = None
    beside: int | None = None


LARGEST_BOARD = Layout.of_blocks(4, 4)
"""What no board goes beyond: where a photo's is not known yet."""


def parse_assumption(text: str, layout: Layout = NEWSPAPER) -> Assumption:
    """Reads ``[N:]R4C7=1``, ``=given:1``, ``=entry:1``, ``=.`` or ``=notes:14``; on boards of more
    than nine digits ``=A`` and ``=10`` too. ``=block:R4C8`` answers a doubt about the layout.

    WordsError for anything else.
    """
    found = _parted(text)
    cell = layout.cell(found["cell"])
    beside = layout.cell(found["beside"]) if found["beside"] else None
    digits = found["notes"] or found["digit"] or ""
    off = found["beside"] and beside is None
    if cell is None or off or not _on_board(digits, found["notes"] is None, layout):
        raise WordsError(message("beyond the board", got=short(text), side=layout.side))
    return Assumption(
        int(found["grid"]) if found["grid"] else None,
        cell,
        found["kind"].lower() if found["kind"] else None,
        None if found["digit"] is None else digit_of(found["digit"]),
        None if found["notes"] is None else frozenset(filter(None, map(digit_of, found["notes"]))),
        beside,
    )


def grid_said(text: str) -> int | None:
    """The grid that an assumption names, None for the one in question. WordsError for what looks
    like no assumption on any board.
    """
    grid = _parted(text)["grid"]
    return int(grid) if grid else None


def _parted(text: str) -> re.Match[str]:
    found = _SHAPE.fullmatch(text.strip())
    if found is None or (found["kind"] and found["digit"] == "."):
        raise WordsError(message("an assumption looks like", got=short(text)))
    return found


def digit_of(mark: str) -> int | None:
    """The digit that ``7``, ``A`` or ``10`` says; None for ``.``."""
    return int(mark) if len(mark) > 1 else VALUES[mark.upper()] or None


def _on_board(digits: str, one: bool, layout: Layout) -> bool:
    """Whether a board has these digits, or this one."""
    said = [digits] if one and digits else digits
    return all((digit_of(mark) or 1) in layout.digits for mark in said)


def assumed(
    grids: tuple[GridReading, ...], assumptions: Iterable[Assumption], number: int
) -> tuple[GridReading, ...]:
    """The grids with every assumption laid over what was read; the last word on a cell counts.

    ``number``: the grid (from 1) that an assumption without a number is about.
    """
    out = list(grids)
    for one in assumptions:
        at = (one.grid or number) - 1
        if at >= len(out):
            raise WordsError(counted("no grid to assume of", len(out), number=at + 1))
        if not out[at].cells:
            raise WordsError(message("unread grid to assume of", number=at + 1))
        out[at] = _overruled(out[at], one)
    return tuple(out)


def _overruled(grid: GridReading, one: Assumption) -> GridReading:
    """The grid with one cell as the user says, and what that settles elsewhere."""
    from papernudge.vision.reading import CellKind, Told

    if grid.evidence is not None:
        from papernudge.hints.solver import solve_soon
        from papernudge.vision.reread import reread

        was = grid.cells[one.cell].kind
        kind = CellKind(one.kind) if one.kind else None if was is CellKind.BLANK else was
        answer = Told(one.cell, kind, one.digit, one.notes, one.beside)
        grid = reread(grid.evidence, (*grid.told, answer), solve_soon)
    if one.beside is not None:
        return grid
    cells = list(grid.cells)
    before = cells[one.cell].chance
    cells[one.cell] = _certain(cells[one.cell], one, grid.layout.side)
    return replace(
        grid,
        cells=tuple(cells),
        doubts=tuple(d for d in grid.doubts if d.cell != one.cell or d.about == "layout"),
        restored=tuple(c for c in grid.restored if c != one.cell),
        chance_all_right=min(1.0, grid.chance_all_right / before) if before > 0 else 0.0,
    )


def _certain(cell: CellReading, one: Assumption, many: int) -> CellReading:
    """``many``: digits of the board."""
    from papernudge.vision.reading import CellKind

    if one.digit is None:
        kind = CellKind.BLANK
    elif one.kind is not None:
        kind = CellKind(one.kind)
    else:
        kind = CellKind.ENTRY if cell.kind is CellKind.BLANK else cell.kind
    digit = one.digit
    notes = cell.notes if digit is None else frozenset()
    chances = tuple(float(d == (digit or 0)) for d in range(many + 1))
    return replace(
        cell,
        kind=kind,
        digit=digit,
        chance=1.0,
        digit_chances=chances,
        given_chance=float(kind is CellKind.GIVEN),
        notes=notes if one.notes is None else one.notes,
        notes_chance=1.0,
    )
