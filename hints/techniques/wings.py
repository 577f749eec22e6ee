"""Wings: two cells that between them must hold a digit, hinged on a third or on a house."""

from __future__ import annotations

from itertools import combinations

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce
from papernudge.hints.looks import Scan, Sight
from papernudge.hints.masks import DIGITS_IN, Cell, Cells, Digits, cells_mask, members
from papernudge.hints.pattern import BASE, BRIDGE, PINCER, PIVOT, Pattern


def xy_wings(board: Board, budget: int) -> list[Deduction]:
    """A hinge takes x or y, one cell that it sees x or z, another y or z: one of the two holds z,
    so no cell that sees both does.

    >>> from papernudge.hints.drawing import marked, told
    >>> print(told(xy_wings(marked('''
    ...     12 . .  13 . .  . . .
    ...     .  . .  .  . .  . . .
    ...     .  . .  .  . .  . . .
    ...
    ...     23 . .  .  . .  . . .'''), 9)))
    XY-wing, 6 looks: no 3 in R4C4
    """
    found, pairs = list[Deduction](), _pairs(board)
    peers, every = board.layout.peer_masks, board.layout.all_digits
    for hinge, digits in _with(board, 2):
        near, x = peers[hinge], digits & -digits
        wings = []
        for other_digit in DIGITS_IN[every & ~digits]:
            z = 1 << (other_digit - 1)
            ones, others = pairs.get(x | z, 0) & near, pairs.get(digits ^ x | z, 0) & near
            if ones and others:
                wings += [
                    (min(one, other), max(one, other), z)
                    for one in members(ones)
                    for other in members(others)
                ]
        for one, other, z in sorted(wings):
            found += _wing(board, "XY-wing", (hinge, one, other), z, (one, other))
    return [d for d in found if d.looks <= budget]


def xyz_wings(board: Board, budget: int) -> list[Deduction]:
    """A hinge takes x, y or z, two cells that it sees x or z and y or z: one of the three holds z.

    >>> from papernudge.hints.drawing import marked, told
    >>> print(told(xyz_wings(marked('''
    ...     123 . .  13 . .  . . .
    ...     .   . .  .  . .  . . .
    ...     23  . .  .  . .  . . .'''), 9)))
    XYZ-wing, 6 looks: no 3 in R1C2, R1C3
    """
    found, pairs, peers = list[Deduction](), _pairs(board), board.layout.peer_masks
    for hinge, digits in _with(board, 3):
        inside = 0
        for left_out in DIGITS_IN[digits]:
            inside |= pairs.get(digits & ~(1 << (left_out - 1)), 0)
        for one, other in combinations(members(inside & peers[hinge]), 2):
            shared = board.digits[one] & board.digits[other]
            if board.digits[one] != board.digits[other]:
                cells = (hinge, one, other)
                found += _wing(board, "XYZ-wing", cells, shared, cells)
    return [d for d in found if d.looks <= budget]


def w_wings(board: Board, budget: int) -> list[Deduction]:
    """Two cells take the same x or y, and in some house every place for x sees one of them: so one
    of them is not x but y, and no cell that sees both holds y.

    >>> from papernudge.hints.drawing import marked, told
    >>> print(told(w_wings(marked('''
    ...     .  12 .  . . .  . . .
    ...     .  .  .  . . .  . . .
    ...     .  .  .  . . .  . . .
    ...
    ...     .  .  .  . . .  . 12 .
    ...     .  .  .  . . .  . . .
    ...     .  .  .  . . .  . . .
    ...
    ...     3  1  3  3 3 3  3 1 3'''), 20)))
    W-wing, 10 looks: no 2 in R1C8, R4C2
    """
    found, peers = [], board.layout.peer_masks
    alike = [
        (*two, a)
        for a, cells in _pairs(board).items()
        if cells & (cells - 1)
        for two in combinations(members(cells), 2)
    ]
    for one, other, a in sorted(alike):
        if peers[one] >> other & 1:
            continue
        for x, y in (DIGITS_IN[a], DIGITS_IN[a][::-1]):
            struck = board.cells[y] & peers[one] & peers[other]
            if not struck:
                continue
            near = peers[one] | peers[other]
            for house, all_of_it in enumerate(board.layout.masks):
                places = board.cells[x] & all_of_it
                mine = 1 << one | 1 << other
                if places and places & ~near == 0 and not places & mine:
                    reads = (Sight(one, a), Sight(other, a), Scan(x, house, places))
                    ruled_out = board.layout.candidates_of(y, struck)
                    pattern = Pattern(
                        a,
                        ((BRIDGE, places), (PINCER, mine)),
                        ((BASE, (house,)),),
                        takes=((one, a), (other, a)),
                    )
                    found.append(deduce(board, "W-wing", reads, places | mine, ruled_out, pattern))
    return [d for d in found if d.looks <= budget]


def _with(board: Board, count: int) -> list[tuple[Cell, Digits]]:
    return [(c, ds) for c, ds in enumerate(board.digits) if ds.bit_count() == count]


def _pairs(board: Board) -> dict[Digits, Cells]:
    """For each two digits the cells that can take just these."""
    pairs: dict[Digits, Cells] = {}
    for cell, digits in _with(board, 2):
        pairs[digits] = pairs.get(digits, 0) | 1 << cell
    return pairs


def _wing(
    board: Board, name: str, cells: tuple[Cell, ...], shared: Digits, holders: tuple[Cell, ...]
) -> list[Deduction]:
    digit, layout = shared.bit_length(), board.layout
    struck = board.cells[digit] & layout.seen_by_all(cells_mask(holders))
    if not struck:
        return []
    reads = tuple(Sight(c, board.digits[c]) for c in sorted(cells))
    held = sum(1 << c for c in cells)
    pivot, pincers = 1 << cells[0], 1 << cells[1] | 1 << cells[2]
    digits = board.digits[cells[0]] | board.digits[cells[1]] | board.digits[cells[2]]
    mine = layout.houses_of
    met = tuple(h for c in cells[1:] for h in mine[cells[0]] if h in mine[c])
    pattern = Pattern(
        digits,
        ((PIVOT, pivot), (PINCER, pincers)),
        ((BASE, tuple(dict.fromkeys(met))),),
        takes=tuple((c, board.digits[c]) for c in sorted(cells)),
    )
    ruled_out = layout.candidates_of(digit, struck)
    return [deduce(board, name, reads, held, ruled_out, pattern)]
