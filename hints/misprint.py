"""Where printed digits that don't make a proper puzzle went wrong, as far as they tell.

Two printed digits of one house that are the same show it by themselves. Else, if there is just one
given that, printed otherwise, would leave exactly one solution, it is the likeliest misprint (or
misreading): one wrong digit is likelier than two.
"""

from __future__ import annotations

from dataclasses import dataclass

from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import VALUES, House
from papernudge.hints.solver import count_solutions

_TRIES = 1000
"""So many changed givens are tried at most: more than the newspaper's grid can have, 81 of eight
other digits, so that it is larger boards alone that are given up on."""


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


def find_misprint(givens: str, layout: Layout = NEWSPAPER) -> Misprint:
    """Locates it, by a uniqueness check at most for each given and each other digit. ``givens``: a
    character for each cell, without exactly one solution.
    """
    pairs = _clashes(givens, layout)
    cells = tuple(sorted({cell for pair in pairs for cell in pair}))
    suspects = [c for c in layout.cells if givens[c] != "." and all(c in pair for pair in pairs)]
    mended = _mended(givens, suspects, layout)
    if cells:
        printed = tuple(VALUES[givens[c]] for c in cells)
        return Misprint("clash", cells, printed, _showing(givens, cells, layout), mended)
    if not mended:
        return Misprint()
    cell = mended[0][0]
    return Misprint("one given", (cell,), (VALUES[givens[cell]],), (layout.blocks[cell],), mended)


def _clashes(givens: str, layout: Layout) -> list[tuple[int, int]]:
    return [
        (cell, other)
        for cell in layout.cells
        if givens[cell] != "."
        for other in layout.peers[cell]
        if other > cell and givens[other] == givens[cell]
    ]


def _showing(givens: str, cells: tuple[int, ...], layout: Layout) -> tuple[House, ...]:
    """The houses in which a digit is seen twice, leaving out what others show already: blocks
    last.
    """
    houses: list[House] = []
    shown: set[frozenset[int]] = set()
    for house, inside in enumerate(layout.house_cells):
        held = [c for c in inside if c in cells]
        twice = {frozenset((a, b)) for a in held for b in held if a < b and givens[a] == givens[b]}
        if twice - shown:
            houses.append(house)
            shown |= twice
    return tuple(houses)


def _mended(
    givens: str, suspects: list[int], layout: Layout
) -> tuple[tuple[int, tuple[int, ...]], ...]:
    """The one given that, changed, leaves one solution, with its digits; nothing if there are
    several or none.
    """
    if sum(mark != "." for mark in givens) < layout.fewest:
        return ()
    if len(suspects) * (layout.side - 1) > _TRIES:
        return ()
    found: list[tuple[int, tuple[int, ...]]] = []
    for cell in suspects:
        seen = {givens[x] for x in layout.peers[cell]} | {givens[cell]}
        digits = tuple(
            d
            for d, mark in enumerate(layout.symbols, start=1)
            if mark not in seen
            and count_solutions(givens[:cell] + mark + givens[cell + 1 :], layout=layout) == 1
        )
        if digits:
            found.append((cell, digits))
        if len(found) > 1:
            return ()
    return tuple(found)
