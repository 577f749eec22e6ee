"""What a solver knows at one moment: digits written, notes trusted, candidates ruled out since.

Everything a technique may build on is asked of a ``Board``; what it costs to see it, in looks,
is asked of ``papernudge.hints.looks``.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from papernudge.hints.geometry import (
    ALL_CELLS,
    HOUSES,
    HOUSES_OF,
    PEERS,
    Candidates,
    Cell,
    Cells,
    Digit,
    Digits,
    candidates_of,
    members,
)
from papernudge.hints.position import Position

_SHOWS = tuple(
    (*HOUSES_OF[c], 3 * (c // 9) + c % 9 // 3, 27 + 3 * (c % 9) + c // 27) for c in range(81)
)
"""The houses of each cell and the thirds of its row and its column."""


def _show(seen: list[int], thirds: list[int], cell: Cell, bit: int) -> None:
    """Note in the houses and thirds of a cell that its digit stands there."""
    row, column, block, across, down = _SHOWS[cell]
    seen[row] |= bit
    seen[column] |= bit
    seen[block] |= bit
    thirds[across] |= bit
    thirds[down] |= bit


class Board:
    """Candidates of a position, less what notes and earlier steps have ruled out.

    ``cells[d]``: the cells that can still take digit d (index 0 is empty). ``digits[c]``: the
    digits that cell c can still take, 0 for a filled one. ``placed[d]``: where d stands.
    ``seen[h]``: the digits that stand in house h. ``gone``: candidates ruled out by earlier
    steps, ``noted``: those that the paper's own notes rule out: both are premises. ``known``: what
    partial notes show that the solver has found already. ``shared``: what has been worked out on
    this board or those it came from, by all that it depends on. ``thirds``: the digits that stand
    in each third of a line, 3 times the line and 0, 1 or 2. ``fresh``: cells written just now.
    """

    __slots__ = (
        "blank",
        "cells",
        "digits",
        "filled",
        "fresh",
        "gone",
        "known",
        "noted",
        "placed",
        "premises",
        "seen",
        "shared",
        "thirds",
    )

    placed: tuple[Cells, ...]
    filled: Cells
    blank: Cells
    fresh: Cells
    seen: list[Digits]
    thirds: list[Digits]
    cells: list[Cells]
    digits: list[Digits]
    gone: Candidates
    noted: Candidates
    known: Candidates
    premises: list[Cells]
    shared: dict[object, Any]

    @classmethod
    def of(
        cls, position: Position, noted: Candidates = 0, known: Candidates = 0, fresh: Cells = 0
    ) -> Board:
        """The board of a position; ``noted`` are candidates that its notes rule out, ``known``
        those that partial notes show to be known as out: still to be shown why; ``fresh`` the cells
        that were written just now.
        """
        board = cls()
        board.placed = position.placed
        board.filled = position.filled
        board.blank = ALL_CELLS & ~board.filled
        board.shared, board.fresh = {}, fresh
        board.seen, board.thirds = [0] * 27, [0] * 54
        seen, thirds = board.seen, board.thirds
        for cell, mark in enumerate(position.digits):
            if mark != ".":
                _show(seen, thirds, cell, 1 << (int(mark) - 1))
        # A note in a cell that sees the digit says nothing new.
        real = sum(candidates_of(d, position.candidates[d]) for d in range(1, 10))
        board.gone, board.noted, board.known = 0, noted & real, known & real & ~noted
        board.cells, board.digits, board.premises = [*position.candidates], [0] * 81, [0] * 10
        for d in range(1, 10):
            bit = 1 << (d - 1)
            for cell in members(board.cells[d]):
                board.digits[cell] |= bit
        board._strike(board.noted)
        return board

    def with_digit(self, cell: Cell, digit: Digit) -> Board:
        """The board after a digit was written, of a board on which nothing is ruled out by notes or
        steps: the same as that of the position, sooner.
        """
        return self.with_digits(((cell, digit),))

    def with_digits(self, places: Iterable[tuple[Cell, Digit]], fresh: Cells = 0) -> Board:
        """The board after several were written, and which cells were just now."""
        board = Board()
        placed, filled = [*self.placed], self.filled
        board.seen, board.thirds = seen, thirds = [*self.seen], [*self.thirds]
        board.cells, board.digits = cells, digits = [*self.cells], [*self.digits]
        for cell, digit in places:
            bit, peers = 1 << (digit - 1), PEERS[cell]
            placed[digit] |= 1 << cell
            filled |= 1 << cell
            _show(seen, thirds, cell, bit)
            left = cells[digit] & peers
            cells[digit] &= ~peers
            digits[cell] = 0
            while left:
                low = left & -left
                digits[low.bit_length() - 1] &= ~bit
                left ^= low
        board.placed, board.fresh, board.shared = tuple(placed), fresh, {}
        board.filled, board.blank = filled, ALL_CELLS & ~filled
        board.cells = [left & ~filled for left in cells]
        board.gone = board.noted = board.known = 0
        board.premises = self.premises
        return board

    def without(self, ruled_out: Candidates) -> Board:
        """The board after these candidates were ruled out by a step."""
        board = Board()
        board.placed, board.filled, board.blank = self.placed, self.filled, self.blank
        board.seen, board.thirds, board.fresh = self.seen, self.thirds, self.fresh
        board.noted, board.known, board.shared = self.noted, self.known, self.shared
        board.gone = self.gone | ruled_out
        board.cells, board.digits, board.premises = [*self.cells], [*self.digits], [*self.premises]
        board._strike(ruled_out & ~self.gone)
        return board

    def _strike(self, ruled_out: Candidates) -> None:
        for d in range(1, 10):
            struck = ruled_out >> 81 * (d - 1) & ALL_CELLS
            if struck:
                self.premises[d] |= struck
                self.cells[d] &= ~struck
                bit = 1 << (d - 1)
                for cell in members(struck):
                    self.digits[cell] &= ~bit

    @property
    def written(self) -> Candidates:
        """The digits that stand, as candidates."""
        return sum(candidates_of(d, self.placed[d]) for d in range(1, 10))

    @property
    def candidates(self) -> Candidates:
        """All candidates that stand."""
        mask = 0
        for d in range(1, 10):
            mask |= candidates_of(d, self.cells[d])
        return mask

    def places(self, digit: int, house: int) -> Cells:
        """The cells of a house that can still take a digit."""
        return self.cells[digit] & HOUSES[house]
