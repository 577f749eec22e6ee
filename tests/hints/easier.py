"""Every step that needs no pattern, found plainly, and what each demands by plain counting."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

from papernudge.hints.board import Board
from papernudge.hints.geometry import HOUSES_OF, PEERS, members
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.line import Line
from papernudge.hints.looks import Scan

Asked = tuple[int, int, int, int]
"""Patterns before it, kind (0 last blank to 4 cell), blanks of its house, witnesses outside it."""


def beats(one: Asked, other: Asked) -> bool:
    return one != other and all(a <= b for a, b in zip(one, other, strict=True))


def steps(board: Board) -> Iterator[Asked]:
    """What each step in sight demands."""
    for house in range(27):
        blanks = [c for c in NEWSPAPER.house_cells[house] if board.blank >> c & 1]
        if len(blanks) == 1:
            yield 0, 0, 1, 0
            continue
        for digit in range(1, 10):
            places = [c for c in blanks if board.cells[digit] >> c & 1]
            if len(places) == 1 and not _stands(board, digit, house):
                yield (
                    0,
                    2 if house >= 18 else 3,
                    len(blanks),
                    _witnesses(board, digit, blanks, places),
                )
        if 2 <= len(blanks) <= 4:
            settled = _settled(board, house, blanks)
            if settled is not None:
                yield 0, 1, len(blanks), settled
    for cell in members(board.blank):
        if board.digits[cell].bit_count() == 1:
            yield _by_cell(board, cell)


def _stands(board: Board, digit: int, house: int) -> bool:
    return any(board.placed[digit] >> c & 1 for c in NEWSPAPER.house_cells[house])


def _witnesses(board: Board, digit: int, blanks: list[int], places: list[int]) -> int:
    """The fewest written digits that see all blanks but the places, but for what notes rule out."""
    need = [c for c in blanks if c not in places and not board.premises[digit] >> c & 1]
    written = [w for w in members(board.placed[digit]) if any(PEERS[w] >> c & 1 for c in need)]
    for size in range(len(written) + 1):
        for chosen in combinations(written, size):
            if all(any(PEERS[w] >> c & 1 for w in chosen) for c in need):
                return size
    raise AssertionError("expected witnesses")


def _settled(board: Board, house: int, blanks: list[int]) -> int | None:
    """The fewest witnesses by which the blanks settle each other: the first digit by any number,
    each other by one or none.
    """
    missing = [d for d in range(1, 10) if not _stands(board, d, house)]

    def rest(left: list[int], digits: list[int], first: bool) -> int | None:
        if not left:
            return 0
        best = None
        for digit in digits:
            places = [c for c in left if board.cells[digit] >> c & 1]
            if len(places) != 1:
                continue
            if first and sum(board.cells[digit] >> c & 1 for c in blanks) != 1:
                continue
            count = _witnesses(board, digit, left, places)
            if not first and count > 1:
                continue
            after = rest(
                [c for c in left if c not in places], [d for d in digits if d != digit], False
            )
            if after is not None and (best is None or count + after < best):
                best = count + after
        return best

    return rest(blanks, missing, True)


def _by_cell(board: Board, cell: int) -> Asked:
    """By the house that shows most: its blanks, and the digits that others must show."""
    out = [d for d in range(1, 10) if not board.digits[cell] >> (d - 1) & 1]
    need = [d for d in out if not board.premises[d] >> cell & 1]
    shown = {h: sum(_stands(board, d, h) for d in need) for h in HOUSES_OF[cell]}
    house = max((HOUSES_OF[cell][k] for k in (2, 0, 1)), key=lambda h: shown[h])
    blanks = sum(board.blank >> c & 1 for c in NEWSPAPER.house_cells[house])
    return 0, 4, blanks, len(need) - shown[house]


def of(line: Line) -> Asked:
    """What a line without a pattern demands."""
    board, reads = line.last.board, line.last.deduction.reads
    first = reads[0]
    if not isinstance(first, Scan):
        return _by_cell(board, first.cell)
    blanks = [c for c in NEWSPAPER.house_cells[first.house] if board.blank >> c & 1]
    if len(blanks) == 1:
        return 0, 0, 1, 0
    kind = 1 if len(reads) > 1 else 2 if first.house >= 18 else 3
    witnesses = 0
    for read in reads:
        assert isinstance(read, Scan)
        witnesses += _witnesses(board, read.digit, blanks, list(members(read.places)))
    return 0, kind, len(blanks), witnesses
