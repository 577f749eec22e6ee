"""Colouring: a digit's two-place houses, strung together, coloured in turn."""

from __future__ import annotations

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce, paid
from papernudge.hints.geometry import HOUSES, PEERS, Cell, candidates_of, members
from papernudge.hints.looks import Scan
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
        for digit in range(1, 10)
        for deduction in _of_digit(board, digit, budget)
        if deduction.looks <= budget
    ]


def _of_digit(board: Board, digit: int, budget: int) -> list[Deduction]:
    """Kept on the boards of one search as long as the digit's places last and the budget doesn't
    grow.
    """
    key = (COLOURING, digit, board.cells[digit])
    reach: int
    found: list[Deduction]
    reach, found = board.shared.get(key, (0, []))
    if reach < budget:
        edges = _strings(board, digit)
        found = [
            deduction
            for start in edges
            for way in _ways(edges, start, budget)
            for deduction in _coloured(board, digit, start, *way)
        ]
        board.shared[key] = budget, found
    return found


def _strings(board: Board, digit: int) -> _Edges:
    edges: _Edges = {}
    for house in range(27):
        places = board.cells[digit] & HOUSES[house]
        if places.bit_count() == 2:
            one, other = members(places)
            read = Scan(digit, house, places)
            looks = paid(board, read)
            edges.setdefault(one, []).append((looks, other, read))
            edges.setdefault(other, []).append((looks, one, read))
    return edges


_Way = tuple[int, tuple[Cell, ...], tuple[Scan, ...]]


def _ways(edges: _Edges, start: Cell, budget: int) -> list[_Way]:
    """The strings of two houses or more from one cell on, no cell twice."""
    done: list[_Way] = []
    open_: list[_Way] = [(1, (start,), ())]
    while open_:
        looks, cells, reads = open_.pop()
        if len(reads) > 1 and cells[0] < cells[-1]:
            done.append((looks, cells, reads))
        for further, cell, read in edges[cells[-1]]:
            if cell not in cells and looks + further + 1 <= budget and len(reads) < 7:
                open_.append((looks + further + 1, (*cells, cell), (*reads, read)))
    return done


def _coloured(
    board: Board,
    digit: int,
    start: Cell,
    looks: int,
    cells: tuple[Cell, ...],
    reads: tuple[Scan, ...],
) -> list[Deduction]:
    end = cells[-1]
    if len(cells) % 2 == 0:
        struck = board.cells[digit] & PEERS[start] & PEERS[end]
    elif PEERS[start] >> end & 1:
        struck = 1 << start | 1 << end
    else:
        return []
    if not struck:
        return []
    held = sum(1 << c for c in cells)
    ordered = tuple(sorted(reads))
    pattern = _string(digit, cells, reads)
    return [deduce(board, COLOURING, ordered, held, candidates_of(digit, struck), pattern)]


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
