"""Colouring: a digit's two-place houses, strung together, coloured in turn."""

from __future__ import annotations

from functools import partial

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce, paid
from papernudge.hints.looks import Scan
from papernudge.hints.masks import Cell, members
from papernudge.hints.pattern import (
    BASE,
    ONE_COLOUR,
    OTHER_COLOUR,
    STRONG,
    Link,
    Node,
    Pattern,
)

COLOURING = "colouring"
MOST_HOUSES = 7
"""So many houses a string goes through at most."""

_Edges = dict[Cell, list[tuple[int, Cell, Scan]]]


def colouring(board: Board, budget: int) -> list[Deduction]:
    """Where each house of a string has two places for a digit, these hold it in turn: all of one
    colour do, or all of the other.

    What sees both colours is out. And if two of a colour see each other, that colour is out.
    Here 1 has two places in row 1, column 9 and block 9, so R1C2 and R9C7 differ.

    >>> from papernudge.hints.drawing import marked, told
    >>> board = marked('''
    ...     2 1 2  2 2 2  2 2 1
    ...     . . .  . . .  . . 2
    ...     . . .  . . .  . . 2
    ...
    ...     . . .  . . .  . . 2
    ...     . . .  . . .  . . 2
    ...     . . .  . . .  . . 2
    ...
    ...     . . .  . . .  2 2 2
    ...     . . .  . . .  2 2 1
    ...     . . .  . . .  1 2 2''')
    >>> print(told(d for d in colouring(board, 20) if len(d.reads) == 3))
    colouring, 14 looks: no 1 in R9C2
    """
    return [
        deduction
        for digit in board.layout.digits
        for deduction in _of_digit(board, digit, budget)
        if deduction.looks <= budget
    ]


def _of_digit(board: Board, digit: int, budget: int) -> list[Deduction]:
    """Kept on the boards of one search as long as the digit's places last."""
    key = (COLOURING, digit, board.cells[digit])
    found: _Found | None = board.shared.get(key)
    if found is None:
        found = board.shared[key] = _Found(board, digit)
    return found.up_to(budget)


def _strings(board: Board, digit: int) -> _Edges:
    edges: _Edges = {}
    for house, all_of_it in enumerate(board.layout.masks):
        places = board.cells[digit] & all_of_it
        if places.bit_count() == 2:
            one, other = members(places)
            read = Scan(digit, house, places)
            looks = paid(board, read)
            edges.setdefault(one, []).append((looks, other, read))
            edges.setdefault(other, []).append((looks, one, read))
    return edges


_Way = tuple[int, tuple[Cell, ...], tuple[Scan, ...]]


class _Found:
    """The strings of a digit, no cell twice, grown as far as was asked."""

    def __init__(self, board: Board, digit: int) -> None:
        self.board, self.digit = board, digit
        self.edges = _strings(board, digit)
        self.later: list[_Way] = [(1, (start,), ()) for start in self.edges]
        self.found: list[Deduction] = []

    def up_to(self, budget: int) -> list[Deduction]:
        """Those of two houses or more, of no more than so many looks and maybe some dearer ones."""
        open_ = [way for way in self.later if way[0] <= budget]
        if not open_:
            return self.found
        self.later = [way for way in self.later if way[0] > budget]
        open_.reverse()
        while open_:
            looks, cells, reads = open_.pop()
            if len(reads) > 1 and cells[0] < cells[-1]:
                self.found += _coloured(self.board, self.digit, cells, reads)
            if len(reads) == MOST_HOUSES:
                continue
            for further, cell, read in self.edges[cells[-1]]:
                if cell not in cells:
                    way = looks + further + 1, (*cells, cell), (*reads, read)
                    (open_ if way[0] <= budget else self.later).append(way)
        return self.found


def _coloured(
    board: Board, digit: int, cells: tuple[Cell, ...], reads: tuple[Scan, ...]
) -> list[Deduction]:
    start, end = cells[0], cells[-1]
    peers = board.layout.peer_masks
    if len(cells) % 2 == 0:
        struck = board.cells[digit] & peers[start] & peers[end]
    elif peers[start] >> end & 1:
        struck = 1 << start | 1 << end
    else:
        return []
    if not struck:
        return []
    held = sum(1 << c for c in cells)
    ordered = tuple(sorted(reads))
    sees = partial(_string, digit, cells, reads)
    ruled_out = board.layout.candidates_of(digit, struck)
    return [deduce(board, COLOURING, ordered, held, ruled_out, sees)]


def _string(digit: int, cells: tuple[Cell, ...], reads: tuple[Scan, ...]) -> Pattern:
    one, other = (sum(1 << c for c in cells[k::2]) for k in (0, 1))
    nodes = [Node(digit, 1 << c) for c in cells]
    links = tuple(
        Link(STRONG, a, b, read.house) for a, b, read in zip(nodes, nodes[1:], reads, strict=False)
    )
    houses = tuple(read.house for read in reads)
    return Pattern(
        1 << (digit - 1), ((ONE_COLOUR, one), (OTHER_COLOUR, other)), ((BASE, houses),), links
    )
