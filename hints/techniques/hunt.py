"""A technique at work along one search: it goes on from where it stopped.

A search asks its techniques for ever dearer deductions, on a board on which ever more is ruled out.
A hunt remembers how far it has got: a larger budget takes up what was left over, a changed board
only adds what the change has brought. What was seen on an earlier board stays true.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Protocol

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.masks import Digit

EVERY = 1 << 30
"""A budget that nothing exceeds."""

Technique = Callable[[Board, int], list[Deduction]]
"""All deductions on a board of no more than so many looks."""


def by_digit(
    board: Board, budget: int, name: str, of_digit: Callable[[Board, Digit], Iterator[Deduction]]
) -> list[Deduction]:
    """What a technique finds digit by digit, of no more looks than ``budget``; kept under its name
    as long as the places of a digit stay as they are.
    """
    found: list[Deduction] = []
    for digit in board.layout.digits:
        key = (name, digit, board.cells[digit])
        known: list[Deduction] | None = board.shared.get(key)
        if known is None:
            known = board.shared[key] = list(of_digit(board, digit))
        found += known
    return [d for d in found if d.looks <= budget]


class Hunt(Protocol):
    """Hands out each deduction once, with the board that it is seen on."""

    def more(self, board: Board, budget: int) -> Iterator[tuple[Board, Deduction]]:
        """What has not been handed out yet, of no more than ``budget`` looks. ``board``: the one
        that the hunt began with, with as much ruled out as before or more.
        """
        ...


class Asked:
    """A plain technique, asked on the board as it was at the start and on the board as it is."""

    def __init__(self, technique: Technique, board: Board) -> None:
        """Nothing is asked yet."""
        self.technique = technique
        self.start = self.last = board
        self.reach_at_start = self.reach = 0
        self.given: dict[int, Deduction] = {}

    def more(self, board: Board, budget: int) -> Iterator[tuple[Board, Deduction]]:
        """See ``Hunt``."""
        if board is not self.last:
            self.last, self.reach = board, 0
        if self.reach_at_start < budget:
            yield from self._fresh(self.start, self.reach_at_start, budget)
            self.reach_at_start = budget
        if board is not self.start and self.reach < budget:
            yield from self._fresh(board, self.reach, budget)
            self.reach = budget

    def _fresh(self, board: Board, before: int, budget: int) -> Iterator[tuple[Board, Deduction]]:
        for deduction in self._found(board, budget):
            # A technique that keeps what it found for a digit hands out the same again.
            if before < deduction.looks <= budget and id(deduction) not in self.given:
                self.given[id(deduction)] = deduction
                yield board, deduction

    def _found(self, board: Board, budget: int) -> list[Deduction]:
        return self.technique(board, budget)


class Listed(Asked):
    """A technique that takes as long to find little as to find all: it is asked once a board."""

    def __init__(self, technique: Technique, board: Board) -> None:
        """Nothing is listed yet."""
        super().__init__(technique, board)
        self.all: dict[Board, list[Deduction]] = {}

    def _found(self, board: Board, budget: int) -> list[Deduction]:
        known = self.all.get(board)
        if known is None:
            at_start = self.all.get(self.start)
            self.all = {} if at_start is None else {self.start: at_start}
            known = self.all[board] = self.technique(board, EVERY)
        return known
