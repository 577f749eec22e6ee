"""Locked candidates of a whole board at once, for the solver's search on large boards.

Where a block has its places for a digit in one of its rows, the row has none outside the block, and
the other way round; so for columns. A *piece* is what a block and a line share; whether any of its
candidates stands is parked on its first. A few wide operations tell for all digits, blocks and
lines together where just one piece is left, as singles are told in ``papernudge.hints.solver``.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from papernudge.hints.layout import Layout
from papernudge.hints.masks import Candidates


class _Group(NamedTuple):
    """Pieces that are added up: ``leads``: the first piece of each group; ``steps``: the way to the
    others; ``copies``: a factor that copies a lead's bit to all of them.
    """

    leads: Candidates
    steps: tuple[int, ...]
    copies: Candidates

    @classmethod
    def of(cls, leads: Candidates, step: int, many: int) -> _Group:
        """So many pieces at even distances."""
        steps = tuple(step * k for k in range(1, many))
        return cls(leads, steps, 1 | sum(1 << one for one in steps))

    def lone(self, pieces: Candidates) -> Candidates:
        """The pieces that are the last of their groups."""
        some, many = pieces, 0
        for step in self.steps:
            other = pieces >> step
            many |= some & other
            some |= other
        return (self.leads & some & ~many) * self.copies & pieces

    def others(self, lone: Candidates) -> Candidates:
        """All pieces of the groups that these are in."""
        lead = lone
        for step in self.steps:
            lead |= lone >> step
        return (lead & self.leads) * self.copies


class _Way(NamedTuple):
    """One direction. ``steps``: from a piece's first cell to its others; ``firsts``: the first
    cells; ``fill``: a factor that copies a piece's bit to its cells; how pieces make up a block,
    and how a line.
    """

    steps: tuple[int, ...]
    firsts: Candidates
    fill: Candidates
    block: _Group
    line: _Group


class Crossings:
    """The tables of a board of even blocks."""

    def __init__(self, layout: Layout) -> None:
        assert layout.even is not None
        high, wide = layout.even
        side = layout.side

        def lanes(rows: Iterable[int], columns: Iterable[int]) -> Candidates:
            columns = tuple(columns)
            plane = sum(1 << layout.at(r, c) for r in rows for c in columns)
            return sum(plane << layout.many * d for d in range(side))

        every, tops, lefts = range(side), range(0, side, high), range(0, side, wide)
        blocks = lanes(tops, lefts)
        self.ways = (
            _Way(
                tuple(range(1, wide)),
                lanes(every, lefts),
                (1 << wide) - 1,
                _Group.of(blocks, side, high),
                _Group.of(lanes(every, (0,)), wide, side // wide),
            ),
            _Way(
                tuple(side * k for k in range(1, high)),
                lanes(tops, every),
                sum(1 << side * k for k in range(high)),
                _Group.of(blocks, 1, wide),
                _Group.of(lanes((0,), every), side * high, side // high),
            ),
        )

    def __call__(self, state: Candidates) -> Candidates:
        """What is left of a set of candidates."""
        for steps, firsts, fill, block, line in self.ways:
            pieces = state
            for step in steps:
                pieces |= state >> step
            pieces &= firsts
            in_block, in_line = block.lone(pieces), line.lone(pieces)
            gone = line.others(in_block) & ~in_block | block.others(in_line) & ~in_line
            state &= ~((gone & firsts) * fill)
        return state
