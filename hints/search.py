"""The cheapest lines of reasoning of a position."""

from __future__ import annotations

from collections.abc import Sequence

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, evidence_of
from papernudge.hints.geometry import Cell, HOUSES_OF
from papernudge.hints.line import Line, Step
from papernudge.hints.techniques.singles import finished_house, singles


def cheapest_lines(board: Board) -> list[Line]:
    """All lines of the least price, several cells of a house in place of the single they begin."""
    return [_line(board, single) for single in singles(board)]


def _line(board: Board, single: Deduction) -> Line:
    last = finished_house(board, single) or single
    return Line((Step(last, evidence_of(board, last)),), single.looks, last.looks)


def nearest(lines: list[Line], last: Sequence[Cell]) -> Line | None:
    """Of lines as cheap as each other the one nearest to what was last written, then the first in
    reading order.

    Near means: it writes the digit just written, or in a house of it.
    """
    if not lines:
        return None
    return min(lines, key=lambda line: (_distance(line, last), _reading_order(line)))


def _distance(line: Line, last: Sequence[Cell]) -> int:
    """Of last-written cells the place in the order, latest first, that this line follows up."""
    for age, cell in enumerate(reversed(last)):
        if _follows(line, cell):
            return age
    return len(last)


def _follows(line: Line, cell: Cell) -> bool:
    houses = HOUSES_OF[cell]
    return any(
        step.evidence.cells >> cell & 1 or any(h in houses for h in step.houses)
        for step in line.steps
    )


def _reading_order(line: Line) -> tuple[object, ...]:
    return (
        sorted(line.places),
        line.looks,
        line.last.technique,
        line.last.houses,
        [(s.technique, s.houses, s.ruled_out) for s in line.steps],
    )
