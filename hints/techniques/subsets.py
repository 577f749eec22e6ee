"""Pairs, triples and quads: as many digits as cells, in one house."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce
from papernudge.hints.geometry import (
    DIGITS_IN,
    HOUSES,
    Candidates,
    Cells,
    Digits,
    House,
    candidates_of,
    houses_holding,
    members,
)
from papernudge.hints.looks import Scan, Sight
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
    for house, all_of_it in enumerate(HOUSES):
        blanks = [c for c in members(all_of_it & board.blank) if board.digits[c].bit_count() <= 4]
        for cells, digits in _tight(board, blanks, _largest(board, house, budget)):
            if cells in found:
                continue
            ruled_out = _elsewhere(board, cells, digits)
            if ruled_out:
                reads = tuple(Sight(c, digits) for c in members(cells))
                name = f"naked {_SIZES[len(reads)]}"
                around = (house, *(h for h in houses_holding(cells) if h != house))
                pattern = Pattern(digits, ((SET, cells),), ((BASE, around),))
                found[cells] = deduce(board, name, reads, cells, ruled_out, pattern)
    return [d for d in found.values() if d.looks <= budget]


def _largest(board: Board, house: House, budget: int) -> int:
    """The most cells worth trying: each costs two looks at least, and one must be left over."""
    return min(4, (HOUSES[house] & board.blank).bit_count(), budget // 2)


def _tight(board: Board, blanks: list[int], largest: int) -> Iterator[tuple[Cells, Digits]]:
    """Sets of two to ``largest`` of these cells with as many digits as cells."""
    stack: list[tuple[int, int, Cells, Digits]] = [(0, 0, 0, 0)]
    while stack:
        start, size, cells, digits = stack.pop()
        if size >= 2 and digits.bit_count() == size:
            yield cells, digits
        if size == largest:
            continue
        for k in range(start, len(blanks)):
            cell = blanks[k]
            union = digits | board.digits[cell]
            if union.bit_count() <= largest:
                stack.append((k + 1, size + 1, cells | 1 << cell, union))


def _elsewhere(board: Board, cells: Cells, digits: Digits) -> Candidates:
    """The candidates for these digits in the other cells of every house that holds the set."""
    around = 0
    for house in houses_holding(cells):
        around |= HOUSES[house]
    around &= ~cells
    ruled_out = 0
    for digit in DIGITS_IN[digits]:
        ruled_out |= candidates_of(digit, board.cells[digit] & around)
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
    >>> print(told(d for d in hidden_subsets(board, 10) if d.reads[0].house == 18))
    hidden pair, 10 looks: no 1, 2, 3, 4 or 7 in R1C1, R1C2
    """
    found = []
    for house, all_of_it in enumerate(HOUSES):
        left = (all_of_it & board.blank).bit_count()
        placeable = [
            (d, cells)
            for d in range(1, 10)
            if 2 <= (cells := board.cells[d] & all_of_it).bit_count() <= 4
        ]
        for size in range(2, min(4, left - 1, budget // 2) + 1):
            for chosen in combinations(placeable, size):
                cells = 0
                for _, places in chosen:
                    cells |= places
                if cells.bit_count() == size:
                    found.append(_hidden(board, house, cells, tuple(d for d, _ in chosen)))
    return [d for d in found if d and d.looks <= budget]


def _hidden(board: Board, house: House, cells: Cells, digits: tuple[int, ...]) -> Deduction | None:
    ruled_out = 0
    for digit in range(1, 10):
        if digit not in digits:
            ruled_out |= candidates_of(digit, board.cells[digit] & cells)
    if not ruled_out:
        return None
    reads = tuple(Scan(d, house, cells) for d in digits)
    pattern = Pattern(sum(1 << (d - 1) for d in digits), ((SET, cells),), ((BASE, (house,)),))
    return deduce(board, f"hidden {_SIZES[len(digits)]}", reads, cells, ruled_out, pattern)
