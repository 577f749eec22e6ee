"""Where printed digits that don't make a proper puzzle went wrong, as far as they tell.

Two printed digits of one house that are the same show it by themselves. Else, if there is just one
given that, printed otherwise, would leave exactly one solution, it is the likeliest misprint (or
misreading): one wrong digit is likelier than two.
"""

from __future__ import annotations

from dataclasses import dataclass

from papernudge.hints.geometry import BLOCK, DIGITS, HOUSE_CELLS, PEERS, House, members
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.solver import count_solutions

_FEWEST = 17
"""No puzzle with fewer givens has exactly one solution (G. McGuire, B. Tugemann, G. Civario, *There
is no 16-clue Sudoku*, Experimental Mathematics 23(2), 2014; from memory)."""


@dataclass(frozen=True, slots=True)
class Misprint:
    """What can be said about givens that don't have exactly one solution.

    ``kind``: ``"clash"`` (digits that repeat each other), ``"one given"`` (just one that, changed,
    would mend the puzzle) or ``""`` (it can't be located). ``cells``: the givens in question,
    ``digits`` what is printed there, ``houses`` where to look for them. ``instead``: the one cell
    whose change mends the puzzle, and the digits that would.
    """

    kind: str = ""
    cells: tuple[int, ...] = ()
    digits: tuple[int, ...] = ()
    houses: tuple[House, ...] = ()
    instead: tuple[tuple[int, tuple[int, ...]], ...] = ()


def find_misprint(givens: str) -> Misprint:
    """Locates it, by at most eight uniqueness checks a given. ``givens``: 81 characters without
    exactly one solution.
    """
    pairs = _clashes(givens)
    cells = tuple(sorted({cell for pair in pairs for cell in pair}))
    suspects = [c for c in NEWSPAPER.cells if givens[c] != "." and all(c in pair for pair in pairs)]
    mended = _mended(givens, suspects)
    if cells:
        printed = tuple(int(givens[c]) for c in cells)
        return Misprint("clash", cells, printed, _showing(givens, cells), mended)
    if not mended:
        return Misprint()
    cell = mended[0][0]
    return Misprint("one given", (cell,), (int(givens[cell]),), (BLOCK[cell],), mended)


def _clashes(givens: str) -> list[tuple[int, int]]:
    return [
        (cell, other)
        for cell in NEWSPAPER.cells
        if givens[cell] != "."
        for other in members(PEERS[cell])
        if other > cell and givens[other] == givens[cell]
    ]


def _showing(givens: str, cells: tuple[int, ...]) -> tuple[House, ...]:
    """The houses in which a digit is seen twice, leaving out what others show already: blocks
    last.
    """
    houses: list[House] = []
    shown: set[frozenset[int]] = set()
    for house, inside in enumerate(HOUSE_CELLS):
        held = [c for c in inside if c in cells]
        twice = {frozenset((a, b)) for a in held for b in held if a < b and givens[a] == givens[b]}
        if twice - shown:
            houses.append(house)
            shown |= twice
    return tuple(houses)


def _mended(givens: str, suspects: list[int]) -> tuple[tuple[int, tuple[int, ...]], ...]:
    """The one given that, changed, leaves one solution, with its digits; nothing if there are
    several or none.
    """
    if sum(mark != "." for mark in givens) < _FEWEST:
        return ()
    found: list[tuple[int, tuple[int, ...]]] = []
    for cell in suspects:
        seen = {givens[x] for x in members(PEERS[cell])} | {givens[cell]}
        digits = tuple(
            d
            for d in DIGITS
            if str(d) not in seen
            and count_solutions(givens[:cell] + str(d) + givens[cell + 1 :]) == 1
        )
        if digits:
            found.append((cell, digits))
        if len(found) > 1:
            return ()
    return tuple(found)
