"""The cheapest lines of a position found plainly: everything is tried, nothing is searched for."""

from __future__ import annotations

from collections.abc import Iterator

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction
from papernudge.hints.search import TECHNIQUES
from papernudge.hints.techniques.singles import hidden_singles, last_blanks, naked_singles


def plainly(board: Board, most: int) -> Iterator[tuple[Deduction, Deduction | None]]:
    """Every single, and every elimination with each single that it opens or makes cheaper, of no
    more than ``most`` looks. A pattern that two techniques see bears the name of the first.
    """
    there: dict[object, int] = {}
    for technique in (last_blanks, hidden_singles, naked_singles):
        for single in technique(board, most):
            there[single.reads] = single.looks
            yield single, None
    named: dict[object, Deduction] = {}
    for finder, _ in TECHNIQUES:
        for strike in finder(board, most - 1):
            pattern = frozenset(strike.reads), strike.held
            first = named.setdefault(pattern, strike)
            if first.technique != strike.technique and not strike.ruled_out & ~first.ruled_out:
                continue
            after = board.without(strike.ruled_out)
            left = most - strike.looks
            for single in (*hidden_singles(after, left), *naked_singles(after, left)):
                if single.looks < there.get(single.reads, most):
                    yield strike, single


def cheapest(board: Board, most: int) -> tuple[int, set[str]]:
    """The least looks, and the names of what lines of so many rest on; lines with an elimination
    count only where they cost less than any single. ``most`` and no name where all cost more.
    """
    names: dict[int, set[str]] = {}
    singles: set[int] = set()
    for first, second in plainly(board, most):
        price = first.looks + (second.looks if second else 0)
        if second is None:
            singles.add(price)
        names.setdefault(price, set()).add(first.technique + (" and a single" if second else ""))
    if not names:
        return most, set()
    least = min(names)
    pure = {name for name in names[least] if not name.endswith(" and a single")}
    return least, pure or {name.removesuffix(" and a single") for name in names[least]}
