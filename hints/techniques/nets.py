"""Nets: assume a candidate, follow what it forces, until something becomes impossible."""

from __future__ import annotations

from collections.abc import Iterator

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.geometry import HOUSES_OF, Candidates, members
from papernudge.hints.pattern import ASSUMED, BASE, Pattern
from papernudge.hints.solver import KEEP, singles_of, written_out

NET = "net"
LOOKS_A_DIGIT = 3
"""What following one digit costs: the house it is asked in, the digit, the cell it goes to."""


def nets(board: Board, branches: int) -> list[Deduction]:
    """A candidate that leads to a contradiction is out.

    From the assumed candidate all singles are followed, round by round. Where they run dry a
    cell is split into its digits, and each must come to a contradiction; ``branches`` is how
    deep such splits may go. With enough of them every proper puzzle is carried to its end.

    Here 1 in R1C1 leaves only 2 for R1C2 and for R1C3.

    >>> from papernudge.hints.drawing import marked, told
    >>> print(told(d for d in nets(marked('''
    ...     134 12 12  . . .  . . .'''), 0) if d.held == 1))
    net, 9 looks: no 1 in R1C1
    """
    state = board.written | board.candidates
    found = []
    for bit in members(board.candidates):
        digits = followed(state & KEEP[bit], branches, board.written | 1 << bit)
        if digits is not None:
            looks = LOOKS_A_DIGIT * (1 + digits)
            cell = 1 << bit % 81
            pattern = Pattern(
                1 << bit // 81, ((ASSUMED, cell),), ((BASE, (HOUSES_OF[bit % 81][2],)),)
            )
            found.append(Deduction(NET, (), cell, (), 1 << bit, looks, pattern=pattern))
    return found


def followed(state: Candidates, branches: int, done: Candidates = 0) -> int | None:
    """How many digits are followed until nothing is possible: the least, over the cells that may be
    split. None if no contradiction is reached.
    """
    count = 0
    while True:
        found = singles_of(state)
        if found is None:
            return count
        fresh = found & ~done
        if not fresh:
            break
        count += fresh.bit_count()
        done |= fresh
        state = written_out(state, fresh)
        if done & ~state:
            return count
    if branches == 0 or done == state:
        return None
    ways = (_split(state, options, branches, done) for options in _options(state))
    least = min((way for way in ways if way is not None), default=None)
    return None if least is None else count + least


def _split(state: Candidates, options: Candidates, branches: int, done: Candidates) -> int | None:
    """The digits followed when each of a cell's candidates is assumed in turn."""
    total = 0
    for option in members(options):
        digits = followed(state & KEEP[option], branches - 1, done)
        if digits is None:
            return None
        total += 1 + digits
    return total


def _options(state: Candidates) -> Iterator[Candidates]:
    """The candidates of each cell that has as few as a splittable cell can have."""
    cells = [[bit for bit in range(cell, 729, 81) if state >> bit & 1] for cell in range(81)]
    fewest = min(len(bits) for bits in cells if len(bits) > 1)
    for bits in cells:
        if len(bits) == fewest:
            yield sum(1 << bit for bit in bits)
