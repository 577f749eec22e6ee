"""What the pencilled notes of a position say to a reasoner."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from papernudge.hints.board import Board
from papernudge.hints.deduction import Evidence
from papernudge.hints.masks import (
    DIGITS_IN,
    VALUES,
    Candidates,
    Cell,
    Cells,
    Digit,
    cells_mask,
    members,
)
from papernudge.hints.position import Position
from papernudge.hints.solver import OutOfPatience, is_possible

IN_VIEW = 3
"""So many cells written last are held to be still in view: common practice, no source."""


def board_of(position: Position, last: Sequence[Cell] = ()) -> Board:
    """The board of a position with its notes taken as they deserve.

    *Full* notes, of every blank cell of a house, are built upon: what they leave out is out.
    *Partial* notes only show what the solver has found already. A note that lost the right
    digit is left aside. Give a position only notes that were read with a high chance.

    ``last``: the cells written last, the latest at the end: IN_VIEW of them are in view still.
    """
    fresh = cells_mask(last[-IN_VIEW:])
    if not position.notes:
        return Board.of(position, fresh=fresh)
    sound = _sound(position)
    full = _fully_noted(position)
    return Board.of(
        position,
        noted=_left_out(position, sound & full),
        known=_left_out(position, sound & ~full),
        fresh=fresh,
    )


def needed_notes(
    board: Board, evidence: Evidence, places: Sequence[tuple[Cell, Digit]]
) -> Candidates:
    """What of the notes that a step builds on can't be left out, or it would no longer follow by
    the rules that these digits go there.
    """
    noted = evidence.noted
    for item in members(noted):
        less = noted & ~(1 << item)
        if _follow(board, replace(evidence, noted=less), places):
            noted = less
    return noted


def _follow(board: Board, evidence: Evidence, places: Sequence[tuple[Cell, Digit]]) -> bool:
    layout = board.layout
    state = layout.all_candidates & ~(evidence.earlier | evidence.noted)
    for digit in layout.digits:
        for cell in members(board.placed[digit] & evidence.cells):
            state &= layout.keep[layout.many * (digit - 1) + cell]
    focus = 0
    for house in evidence.houses:
        focus |= layout.masks[house]
    try:
        return not any(
            is_possible(state & ~layout.candidate(c, d), focus, layout) for c, d in places
        )
    except OutOfPatience:
        return False


def _sound(position: Position) -> Cells:
    """The noted cells whose note still holds the right digit."""
    solution = position.solution
    if solution is None:
        return 0
    return cells_mask(
        cell
        for cell, digits in position.notes.items()
        if position.blank >> cell & 1 and digits >> (VALUES[solution[cell]] - 1) & 1
    )


def _fully_noted(position: Position) -> Cells:
    """The blank cells of the houses in which every blank cell is noted."""
    noted = cells_mask(position.notes)
    full = 0
    for house in position.layout.masks:
        blank = house & position.blank
        if blank & ~noted == 0:
            full |= blank
    return full


def _left_out(position: Position, cells: Cells) -> Candidates:
    """The candidates that the notes of these cells leave out."""
    layout, left_out = position.layout, 0
    for cell in members(cells):
        for digit in DIGITS_IN[layout.all_digits & ~position.notes[cell]]:
            left_out |= layout.candidate(cell, digit)
    return left_out
