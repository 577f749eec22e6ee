"""Pairs, triples and quads: as many digits as cells, in one house."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from itertools import combinations

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce
from papernudge.hints.looks import Scan, Sight
from papernudge.hints.masks import (
    DIGITS_IN,
    Candidates,
    Cells,
    Digits,
    House,
    cells_mask,
    members,
)
from papernudge.hints.pattern import BASE, SET, Pattern

_SIZES = {2: "pair", 3: "triple", 4: "quad"}


def naked_subsets(board: Board, budget: int) -> list[Deduction]:
    """Two cells of a house that can take two digits only keep these to themselves; so three cells
    with three digits, and four with four.

    Here R1C1 and R1C2 take 8 and 9 between them.

    >>> from papernudge.hints.drawing import drawn, told
    >>> board = drawn('''
    ...     . . 1  . . .  . . .
    ...     2 3 4  . . .  . . .
    ...     5 6 7  . . .  . . .''')
    >>> print(told(naked_subsets(board, 9)))
    naked pair, 4 looks: no 8 or 9 in R1C4, R1C5, R1C6, R1C7, R1C8, R1C9
    """
    found: dict[Cells, Deduction] = {}
    for house, cells_of_it in enumerate(board.layout.house_cells):
        for size, chosen, digits in tight(tuple([board.digits[c] for c in cells_of_it])):
            if 2 * size > budget:
                break
            cells = cells_mask(cells_of_it[k] for k in chosen)
            if cells in found:
                continue
            ruled_out = _elsewhere(board, cells, digits)
            if ruled_out:
                reads = tuple(Sight(c, digits) for c in members(cells))
                around = (house, *(h for h in board.layout.holding(cells) if h != house))
                pattern = Pattern(digits, ((SET, cells),), ((BASE, around),))
                name = f"naked {_SIZES[len(reads)]}"
                found[cells] = deduce(board, name, reads, cells, ruled_out, pattern)
    return [d for d in found.values() if d.looks <= budget]


Chosen = tuple[int, ...]
"""Cells of a house by their number in it."""


@lru_cache(maxsize=1 << 14)
def tight(house: tuple[Digits, ...]) -> tuple[tuple[int, Chosen, Digits], ...]:
    """Two to four cells with as many digits, fewest first, in a house with more blanks than that.
    ``house``: what each of its cells can take, 0 for a filled one.
    """
    blanks = [k for k, digits in enumerate(house) if digits]
    few = [k for k in blanks if house[k].bit_count() <= 4]
    found = list[tuple[int, Chosen, Digits]]()
    stack: list[tuple[int, Chosen, Digits]] = [(0, (), 0)]
    while stack:
        start, chosen, digits = stack.pop()
        size = len(chosen)
        if size >= 2 and digits.bit_count() == size < len(blanks):
            found.append((size, chosen, digits))
        if size < 4:
            for n in range(start, len(few)):
                union = digits | house[few[n]]
                if union.bit_count() <= 4:
                    stack.append((n + 1, (*chosen, few[n]), union))
    return tuple(sorted(found))


def _elsewhere(board: Board, cells: Cells, digits: Digits) -> Candidates:
    """The candidates for these digits in the other cells of every house that holds the set."""
    layout, around = board.layout, 0
    for house in layout.holding(cells):
        around |= layout.masks[house]
    around &= ~cells
    ruled_out = 0
    for digit in DIGITS_IN[digits]:
        ruled_out |= layout.candidates_of(digit, board.cells[digit] & around)
    return ruled_out


def hidden_subsets(board: Board, budget: int) -> list[Deduction]:
    """Two digits that have the same two places in a house bar all else from these cells; so three
    digits with three places, and four with four.

    That a hidden pair bars all else from its two cells: common practice, no source. Here 8 and 9
    have only R1C1 and R1C2 in the first block.

    >>> from papernudge.hints.drawing import drawn, told
    >>> board = drawn('''
    ...     . . .  . . .  . . .
    ...     . 5 .  8 9 .  . . .
    ...     . 6 .  . . .  8 9 .
    ...
    ...     . . 8  . . .  . . .
    ...     . . 9  . . .  . . .''')
    >>> print(told(d for d in hidden_subsets(board, 30) if d.reads[0].house == 18))
    hidden pair, 12 looks: no 1, 2, 3, 4 or 7 in R1C1, R1C2
    """
    found = []
    for house, cells_of_it in enumerate(board.layout.house_cells):
        for size, digits, chosen in _keeping(tuple([board.digits[c] for c in cells_of_it])):
            if 2 * size > budget:
                break
            cells = cells_mask(cells_of_it[k] for k in chosen)
            found.append(_hidden(board, house, cells, digits))
    return [d for d in found if d and d.looks <= budget]


@lru_cache(maxsize=1 << 14)
def _keeping(house: tuple[Digits, ...]) -> tuple[tuple[int, tuple[int, ...], Chosen], ...]:
    """Two to four digits with as many places, fewest first, in a house with more blanks than that.
    ``house``: what each of its cells can take, 0 for a filled one.
    """
    side = len(house)
    places = [sum(1 << k for k, held in enumerate(house) if held >> d & 1) for d in range(side)]
    placeable = [(d + 1, mask) for d, mask in enumerate(places) if 2 <= mask.bit_count() <= 4]
    blanks = sum(1 for digits in house if digits)
    found = []
    for size in range(2, min(4, blanks - 1) + 1):
        for some in combinations(placeable, size):
            union = 0
            for _, mask in some:
                union |= mask
            if union.bit_count() == size:
                found.append((size, tuple(d for d, _ in some), tuple(members(union))))
    return tuple(found)


def _hidden(board: Board, house: House, cells: Cells, digits: tuple[int, ...]) -> Deduction | None:
    ruled_out = 0
    for digit in board.layout.digits:
        if digit not in digits:
            ruled_out |= board.layout.candidates_of(digit, board.cells[digit] & cells)
    if not ruled_out:
        return None
    reads = tuple(Scan(d, house, cells) for d in digits)
    pattern = Pattern(sum(1 << (d - 1) for d in digits), ((SET, cells),), ((BASE, (house,)),))
    found = deduce(board, f"hidden {_SIZES[len(digits)]}", reads, cells, ruled_out, pattern)
    # Held in mind is each digit with each of its places, not just the cells.
    places = sum((board.cells[d] & cells).bit_count() for d in digits)
    return replace(found, looks=found.looks + places + len(digits) - cells.bit_count())
