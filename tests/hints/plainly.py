"""The cheapest lines of a position found plainly: everything is tried, nothing is searched for."""

from __future__ import annotations

from collections.abc import Iterator

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.geometry import HOUSES
from papernudge.hints.looks import ELSEWHERE, PATTERN, Sight, price
from papernudge.hints.search import TECHNIQUES
from papernudge.hints.techniques.singles import hidden_singles, last_blanks, naked_singles


def plainly(board: Board, most: int) -> Iterator[tuple[int, str, str]]:
    """The price of every single, its name and nothing; where there is none, of every elimination
    with each single that it opens, the name of the pattern and of the single. None of more than
    ``most``. A pattern that two techniques see bears the name of the first.
    """
    there = [*last_blanks(board), *hidden_singles(board), *naked_singles(board)]
    for single in there:
        yield single.looks, single.technique, ""
    named: dict[object, Deduction] = {}
    for finder, _ in TECHNIQUES if not there else ():
        for strike in finder(board, most - PATTERN):
            pattern = frozenset(strike.reads), strike.held
            first = named.setdefault(pattern, strike)
            if first is not strike and not strike.ruled_out & ~first.ruled_out:
                continue
            after = board.without(strike.ruled_out)
            for single in (*hidden_singles(after), *naked_singles(after)):
                looks = PATTERN + strike.looks + opened(after, strike, single)
                if looks <= most:
                    yield looks, strike.technique, single.technique


def opened(board: Board, strike: Deduction, single: Deduction) -> int:
    """What a single costs after a pattern: no going over to cells for who asks cells, and ELSEWHERE
    where it lies in no house that holds the pattern.
    """
    read, cell = single.reads[0], single.places[0][0]
    looks = single.looks
    if isinstance(read, Sight) and any(isinstance(r, Sight) for r in strike.reads):
        looks = price(board, read)
    near = any(
        strike.held & ~HOUSES[h] == 0 and HOUSES[h] >> cell & 1 for h in range(27) if strike.held
    )
    return looks if near else looks + ELSEWHERE


def cheapest(board: Board, most: int) -> tuple[int, set[str]]:
    """The least price, and the names of what lines of that price rest on: of singles if one
    stands. ``most`` and no name where all cost more.
    """
    found = list(plainly(board, most))
    least = min((looks for looks, _, _ in found), default=most)
    return least, {name for looks, name, _ in found if looks == least}
