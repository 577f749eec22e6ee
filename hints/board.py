"""What a solver knows at one moment: digits written, notes trusted, candidates ruled out since.

Everything a technique may build on is asked of a ``Board``; what it costs to see it, in looks,
is asked of ``papernudge.hints.looks``.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from papernudge.hints.glances import Glances, glances_of
from papernudge.hints.layout import Layout
from papernudge.hints.masks import VALUES, Candidates, Cell, Cells, Digit, Digits, members
from papernudge.hints.position import Position


class Board:
    """Candidates of a position, less what notes and earlier steps have ruled out.

    ``layout``: what board it is, ``glances``: what of it is seen at once. ``cells[d]``: the cells
    that can still take digit d (index 0 is empty). ``digits[c]``: the digits that cell c can still
    take, 0 for a filled one. ``placed[d]``: where d stands. ``seen[h]``: the digits that stand in
    house h, or in spot h of ``glances``. ``gone``: candidates ruled out by earlier steps,
    ``noted``: those that the paper's own notes rule out: both are premises. ``known``: what partial
    notes show that the solver has found already. ``shared``: what has been worked out on this board
    or those it came from, by all that it depends on. ``fresh``: cells written just now.
    """

    __slots__ = (
        "blank",
        "cells",
        "digits",
        "filled",
        "fresh",
        "glances",
        "gone",
        "known",
        "layout",
        "noted",
        "placed",
        "premises",
        "seen",
        "shared",
    )

    layout: Layout
    glances: Glances
    placed: tuple[Cells, ...]
    filled: Cells
    blank: Cells
    fresh: Cells
    seen: list[Digits]
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
        board, layout = cls(), position.layout
        board.layout, board.glances = layout, glances_of(layout)
        board.placed = position.placed
        board.filled = position.filled
        board.blank = layout.all_cells & ~board.filled
        board.shared, board.fresh = {}, fresh
        board.seen = seen = [0] * len(board.glances.spots)
        on = board.glances.on
        for cell, mark in enumerate(position.digits):
            if mark != ".":
                bit = 1 << (VALUES[mark] - 1)
                for spot in on[cell]:
                    seen[spot] |= bit
        # A note in a cell that sees the digit says nothing new.
        real = sum(layout.candidates_of(d, position.candidates[d]) for d in layout.digits)
        board.gone, board.noted, board.known = 0, noted & real, known & real & ~noted
        board.cells, board.digits = [*position.candidates], [0] * layout.many
        board.premises = [0] * (layout.side + 1)
        for d in layout.digits:
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
        board.layout, board.glances = self.layout, self.glances
        placed, filled = [*self.placed], self.filled
        board.seen = seen = [*self.seen]
        board.cells, board.digits = cells, digits = [*self.cells], [*self.digits]
        sees, on = self.layout.peer_masks, self.glances.on
        for cell, digit in places:
            bit, peers = 1 << (digit - 1), sees[cell]
            placed[digit] |= 1 << cell
            filled |= 1 << cell
            for spot in on[cell]:
                seen[spot] |= bit
            left = cells[digit] & peers
            cells[digit] &= ~peers
            digits[cell] = 0
            while left:
                low = left & -left
                digits[low.bit_length() - 1] &= ~bit
                left ^= low
        board.placed, board.fresh, board.shared = tuple(placed), fresh, {}
        board.filled, board.blank = filled, self.layout.all_cells & ~filled
        board.cells = [left & ~filled for left in cells]
        board.gone = board.noted = board.known = 0
        board.premises = self.premises
        return board

    def without(self, ruled_out: Candidates) -> Board:
        """The board after these candidates were ruled out by a step."""
        board = Board()
        board.layout, board.glances = self.layout, self.glances
        board.placed, board.filled, board.blank = self.placed, self.filled, self.blank
        board.seen, board.fresh = self.seen, self.fresh
        board.noted, board.known, board.shared = self.noted, self.known, self.shared
        board.gone = self.gone | ruled_out
        board.cells, board.digits, board.premises = [*self.cells], [*self.digits], [*self.premises]
        board._strike(ruled_out & ~self.gone)
        return board

    def _strike(self, ruled_out: Candidates) -> None:
        many, every = self.layout.many, self.layout.all_cells
        for d in self.layout.digits:
            struck = ruled_out >> many * (d - 1) & every
            if struck:
                self.premises[d] |= struck
                self.cells[d] &= ~struck
                bit = 1 << (d - 1)
                for cell in members(struck):
                    self.digits[cell] &= ~bit

    @property
    def written(self) -> Candidates:
        """The digits that stand, as candidates."""
        many = self.layout.many
        return sum([cells << many * d for d, cells in enumerate(self.placed[1:])])

    @property
    def candidates(self) -> Candidates:
        """All candidates that stand."""
        mask, shift, many = 0, 0, self.layout.many
        for cells in self.cells[1:]:
            mask |= cells << shift
            shift += many
        return mask

    def places(self, digit: int, house: int) -> Cells:
        """The cells of a house that can still take a digit."""
        return self.cells[digit] & self.layout.masks[house]
