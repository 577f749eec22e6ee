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

Technique = Callable[[Board, int], list[Deduction]]
"""All deductions on a board of no more than so many looks."""


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
        self.reach: dict[int, int] = {}
        self.given: set[int] = set()
        self.kept: list[Deduction] = []

    def more(self, board: Board, budget: int) -> Iterator[tuple[Board, Deduction]]:
        """See ``Hunt``."""
        if board is not self.last:
            self.reach.pop(id(self.last) if self.last is not self.start else 0, None)
            self.last = board
        for where in (self.start, board) if board is not self.start else (board,):
            before = self.reach.get(id(where), 0)
            if before >= budget:
                continue
            self.reach[id(where)] = budget
            for deduction in self.technique(where, budget):
                # A technique that keeps what it found for a digit hands out the same again.
                if deduction.looks > before and id(deduction) not in self.given:
                    self.given.add(id(deduction))
                    self.kept.append(deduction)
                    yield where, deduction
