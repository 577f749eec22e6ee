"""When one step is plainly easier than another: what a coach would never pass over.

What a step *demands* is four numbers: how many patterns must be found before it, its kind, how many
blanks its house has, and how many written digits outside that house bear witness. A step is
**dominated** if another one that is available demands no more of any of the four, and less of one.

Kinds, from the easiest: the last blank of a house; blanks of a house that settle each other; a
digit's one place in a block; in a line; a cell's one digit. (Common practice, no source.)

The house of a cell's one digit is the one that it is read from first. Witnesses of blanks that
settle each other are those of all their digits; those of a line of reasoning those of all its
steps. A digit that the house itself shows, or that notes have ruled out, needs no witness.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum
from typing import NamedTuple, TypeVar

from papernudge.hints.board import Board
from papernudge.hints.looks import (
    Read,
    Scan,
    scan_witnesses,
    sight_digits_elsewhere,
    sight_houses,
)
from papernudge.hints.masks import House

T = TypeVar("T")


class Kind(IntEnum):
    """What a step asks, from the easiest to the hardest."""

    LAST_BLANK = 0
    SETTLED = 1
    BLOCK = 2
    LINE = 3
    CELL = 4


class Demand(NamedTuple):
    """What a step asks of the solver: less is easier, in each of the four."""

    patterns: int
    kind: Kind
    blanks: int
    witnesses: int

    def dominates(self, other: Demand) -> bool:
        """Whether a step that demands this makes one that demands the other needless."""
        return (
            self[0] <= other[0]
            and self[1] <= other[1]
            and self[2] <= other[2]
            and self[3] <= other[3]
            and self != other
        )

    def dominated_by(self, other: Demand) -> bool:
        """The same from the other side."""
        return other.dominates(self)


def demand(board: Board, reads: tuple[Read, ...], patterns: int = 0, before: int = 0) -> Demand:
    """What the step demands that writes a digit for each of these answers.

    ``patterns``: how many steps come before it; ``before``: the witnesses of those.
    """
    first = reads[0]
    house = house_of(board, first)
    blanks = (board.layout.masks[house] & board.blank).bit_count()
    witnesses = before + sum(witnesses_of(board, read) for read in reads)
    return Demand(patterns, kind_of(board, reads), blanks, witnesses)


def house_of(board: Board, read: Read) -> House:
    """The house that a single is told by."""
    if isinstance(read, Scan):
        return read.house
    return sight_houses(board, read.cell, read.digits)[0]


def kind_of(board: Board, reads: tuple[Read, ...]) -> Kind:
    """The kind of the step that writes a digit for each of these answers."""
    first = reads[0]
    if not isinstance(first, Scan):
        return Kind.CELL
    if len(reads) > 1:
        return Kind.SETTLED
    if board.layout.masks[first.house] & board.blank == first.places:
        return Kind.LAST_BLANK
    return Kind.BLOCK if board.layout.compact[first.house] else Kind.LINE


def witnesses_of(board: Board, read: Read) -> int:
    """How many written digits outside the house that is read bear witness."""
    if isinstance(read, Scan):
        return scan_witnesses(board, read).bit_count()
    return sight_digits_elsewhere(board, read.cell, read.digits).bit_count()


def undominated(steps: Iterable[tuple[Demand, T]]) -> list[T]:
    """Those steps that no other one dominates."""
    every = list(steps)
    demands = {one for one, _ in every}
    left = {one for one in demands if not any(other.dominates(one) for other in demands)}
    return [step for one, step in every if one in left]
