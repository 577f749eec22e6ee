"""Which of several lines that cost as few looks a coach would take.

Fewest patterns; then where more follows in the same house; then where fewer blanks are left; a
block before a line, and that before a cell; near what was written last; and last of all in reading
order. (Common practice, no source, but for the last, which only makes the choice complete.)
"""

from __future__ import annotations

from collections.abc import Sequence

from papernudge.hints.dominance import demand, house_of
from papernudge.hints.line import Line
from papernudge.hints.masks import Cell


def preference(line: Line, last: Sequence[Cell]) -> tuple[object, ...]:
    """The less the better. ``last``: the cells written last, the latest at the end."""
    witnesses = demand(line.last.board, line.last.deduction.reads).witnesses
    return (*at_a_glance(line), age(line, last), witnesses, line.reading_order)


def at_a_glance(line: Line) -> tuple[int, int, int, int]:
    """What counts first, and is known before the evidence has been worked out."""
    asked = demand(line.last.board, line.last.deduction.reads)
    patterns = sum(1 for earlier in line.steps[:-1] if not earlier.known)
    return patterns, -following(line), asked.blanks, asked.kind


def following(line: Line) -> int:
    """How many digits of the house can be written at once after the first of the line."""
    step = line.last
    if len(step.places) > 1:
        return len(step.places) - 1
    board, (cell, digit) = step.board, step.places[0]
    house = board.layout.masks[house_of(board, step.deduction.reads[0])] & ~(1 << cell)
    digits = board.layout.digits
    missing = [d for d in digits if d != digit and not board.placed[d] & house]
    left = [board.cells[d] & house for d in missing]
    return sum(1 for places in left if places and places & (places - 1) == 0)


def age(line: Line, last: Sequence[Cell]) -> int:
    """How long ago the latest cell was written that this line builds on or lies near."""
    for ago, cell in enumerate(reversed(last)):
        if _follows(line, cell):
            return ago
    return len(last)


def _follows(line: Line, cell: Cell) -> bool:
    houses = line.last.board.layout.houses_of[cell]
    return any(
        step.evidence.cells >> cell & 1 or any(h in houses for h in step.houses)
        for step in line.steps
    )
