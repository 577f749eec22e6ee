"""Leftovers: as many blocks as lines, on boards where blocks don't end where lines do."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache
from itertools import combinations

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce
from papernudge.hints.layout import BLOCK, COLUMN, ROW, Layout
from papernudge.hints.looks import Scan
from papernudge.hints.masks import Cells, Digit, House
from papernudge.hints.pattern import BASE, COVER, LOCKED, Pattern
from papernudge.hints.techniques.hunt import by_digit

LEFTOVERS = "leftovers"
MOST_LEFT = 6
"""So many cells of the blocks lie outside the lines at most: common practice, no source."""

_Houses = tuple[House, ...]


def leftovers(board: Board, budget: int) -> list[Deduction]:
    """Two or more blocks lie in as many neighbouring lines but for a few cells: these cells hold
    the same digits as those of the lines outside the blocks. So a digit that has no place in the
    former has none in the latter, and the other way round.

    That the cells left over on either side hold the same: common practice, no source. On boards of
    even blocks lines and blocks end together, and nothing is left over. Here the block from R1C2
    and the block from R4C5 have their places for 3 in columns 4 and 5, so those have none outside.

    >>> from papernudge.hints.drawing import drawn, told
    >>> from papernudge.hints.shapes import board_of
    >>> board = drawn('''
    ...     . 4 3 . .
    ...     . . . . .
    ...     . 3 . . .''', board_of(regions="ABCCC ABBBC AAABC DDDDE DEEEE"))
    >>> print(told(leftovers(board, 30), board.layout))
    leftovers, 13 looks: no 3 in R4C4
    """
    if board.layout.even is not None:
        return []
    return by_digit(board, budget, LEFTOVERS, _of_digit)


def _of_digit(board: Board, digit: Digit) -> Iterator[Deduction]:
    masks, seen, bit = board.layout.masks, board.seen, 1 << (digit - 1)
    known = set[tuple[_Houses, _Houses]]()
    for some, others in _about_the_same(board.layout):
        blocks = tuple(h for h in some if not seen[h] & bit)
        lines = tuple(h for h in others if not seen[h] & bit)
        if len(blocks) != len(lines) or len(blocks) < 2:
            continue
        for base, cover in ((blocks, lines), (lines, blocks)):
            if (base, cover) not in known:
                known.add((base, cover))
                yield from _struck(board, digit, base, cover, masks)


def _struck(
    board: Board, digit: Digit, base: _Houses, cover: _Houses, masks: tuple[Cells, ...]
) -> Iterator[Deduction]:
    """As many houses of the base as of the cover take the digit, all of it inside the cover."""
    inside = outside = 0
    for house in base:
        inside |= masks[house]
    for house in cover:
        outside |= masks[house]
    places = board.cells[digit] & inside
    struck = board.cells[digit] & outside & ~inside
    if not struck or places & ~outside:
        return
    reads = tuple(Scan(digit, house, masks[house] & outside) for house in base)
    pattern = Pattern(1 << (digit - 1), ((LOCKED, places),), ((BASE, base), (COVER, cover)))
    ruled_out = board.layout.candidates_of(digit, struck)
    yield deduce(board, LEFTOVERS, reads, places, ruled_out, pattern)


@lru_cache(maxsize=64)
def _about_the_same(layout: Layout) -> tuple[tuple[_Houses, _Houses], ...]:
    """Blocks and neighbouring lines, as many of either, that hold about the same cells."""
    found = []
    blocks, masks = layout.all_of(BLOCK), layout.masks
    for kind in (ROW, COLUMN):
        lines = layout.all_of(kind)
        for many in range(2, len(lines) - 1):
            for first in range(len(lines) - many + 1):
                chosen = lines[first : first + many]
                held = 0
                for line in chosen:
                    held |= masks[line]
                near = [b for b in blocks if (masks[b] & ~held).bit_count() <= MOST_LEFT]
                for some in combinations(near, many):
                    left = sum((masks[b] & ~held).bit_count() for b in some)
                    if 0 < left <= MOST_LEFT:
                        found.append((some, chosen))
    return tuple(found)
