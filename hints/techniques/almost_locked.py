"""Almost-locked sets: one digit more than cells."""

from __future__ import annotations

from collections.abc import Iterator
from functools import lru_cache, partial
from heapq import heappop, heappush
from typing import NamedTuple

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, deduce, paid
from papernudge.hints.layout import Layout
from papernudge.hints.looks import Sight
from papernudge.hints.masks import DIGITS_IN, Cell, Cells, Digit, Digits
from papernudge.hints.pattern import (
    BASE,
    ONE_SET,
    OTHER_SET,
    STRONG,
    WEAK,
    Link,
    Node,
    Pattern,
    meeting,
)

ALMOST_LOCKED_SETS = "almost-locked sets"


class AlmostLocked(NamedTuple):
    """Cells of one house with one digit more than cells; ``taken``: what each cell can take;
    ``places``: for each digit the cells of the set that can take it; ``around``: the cells that see
    all of these.
    """

    looks: int
    cells: Cells
    digits: Digits
    taken: tuple[tuple[Cell, Digits], ...]
    places: tuple[Cells, ...]
    around: tuple[Cells, ...]

    @classmethod
    def of(
        cls, layout: Layout, looks: int, union: Digits, taken: tuple[tuple[Cell, Digits], ...]
    ) -> AlmostLocked:
        """From its cells and what they can take."""
        cells, places, around = _placed(layout, taken)
        return cls(looks, cells, union, taken, places, around)


@lru_cache(maxsize=1 << 15)
def _placed(
    layout: Layout, taken: tuple[tuple[Cell, Digits], ...]
) -> tuple[Cells, tuple[Cells, ...], tuple[Cells, ...]]:
    """All the cells, for each digit those that can take it, and the cells that see all of these."""
    cells, places = 0, [0] * (layout.side + 1)
    for cell, digits in taken:
        cells |= 1 << cell
        for digit in DIGITS_IN[digits]:
            places[digit] |= 1 << cell
    seen = [layout.seen_by_all(some) if some else 0 for some in places]
    return cells, tuple(places), tuple(seen)


def almost_locked_sets(board: Board, budget: int) -> list[Deduction]:
    """Two sets of cells, each in a house, each with one digit more than cells. A digit x that
    can't be in both (all its places in one see all in the other) is missing from one of them, which
    then holds all its other digits: so a digit z of both is in one or the other, and what sees all
    its places in both is out.

    Here R1C1 and R1C2 hold two of 1, 2 and 3, R1C8 and R2C8 two of 1, 3 and 4. Row 1 has 1 just
    once, so 3 is in R1C2 or in R2C8.

    >>> from papernudge.hints.drawing import marked, told
    >>> board = marked('''
    ...     12 23 .  . . .  . 14 .
    ...     .  .  .  . . .  . 34 .''')
    >>> print(told(d for d in almost_locked_sets(board, 8) if len(d.reads) == 4))
    almost-locked sets, 8 looks: no 3 in R1C7, R1C9, R2C1, R2C2, R2C3
    """
    return [deduction for _, deduction in AlmostLockedHunt(board).more(board, budget)]


_Pair = tuple[AlmostLocked, AlmostLocked, tuple[Digit, ...]]
"""Two sets and the digits that can't be in both."""


class AlmostLockedHunt:
    """See ``hunt``: sets are taken up as the budget lets them in, each paired with all before."""

    def __init__(self, board: Board) -> None:
        """Nothing is taken up yet."""
        self.board: Board | None = None
        self.houses: list[tuple[Digits, ...]] = [()] * len(board.layout.houses)
        self.known: set[tuple[tuple[Cell, Digits], ...]] = set()
        self.untaken = list[AlmostLocked]()
        self.taken = list[AlmostLocked]()
        self.having: list[dict[Cells, list[int]]] = [{} for _ in range(board.layout.side + 1)]
        self.pairs: list[tuple[int, int, _Pair]] = []
        self.later: list[tuple[int, int, Deduction]] = []
        self.count = 0
        self.given: set[object] = set()

    def more(self, board: Board, budget: int) -> Iterator[tuple[Board, Deduction]]:
        """See ``Hunt``."""
        if board is not self.board:
            self._look_at(board)
        while self.untaken and self.untaken[0].looks + _LEAST <= budget:
            self._take_up(board, heappop(self.untaken))
        while self.pairs and self.pairs[0][0] <= budget:
            for deduction in _linked(board, *heappop(self.pairs)[2]):
                self._later(deduction.looks, deduction)
        while self.later and self.later[0][0] <= budget:
            deduction = heappop(self.later)[2]
            key = deduction.reads, deduction.ruled_out
            if key not in self.given:
                self.given.add(key)
                yield board, deduction

    def _later(self, looks: int, deduction: Deduction) -> None:
        self.count += 1
        heappush(self.later, (looks, self.count, deduction))

    def _look_at(self, board: Board) -> None:
        """Find the sets that have come up since the last board."""
        self.board, layout = board, board.layout
        for house, cells in enumerate(layout.house_cells):
            digits = tuple([board.digits[c] for c in cells])
            if digits == self.houses[house]:
                continue
            self.houses[house] = digits
            for chosen, union in _almost(digits):
                taken = tuple((cells[k], digits[k]) for k in chosen)
                if taken not in self.known:
                    self.known.add(taken)
                    looks = len(taken) + sum([paid(board, Sight(c, union)) for c, _ in taken])
                    heappush(self.untaken, AlmostLocked.of(layout, looks, union, taken))

    def _take_up(self, board: Board, one: AlmostLocked) -> None:
        """Pair a set with all before that share two digits with it, one of them not in both, if the
        pair strikes anything: what strikes nothing now never will.

        ``having``: for each digit the sets that can take it, by their places for it.
        """
        linked: dict[int, list[Digit]] = {}
        number = len(self.taken)
        self.taken.append(one)
        for x in DIGITS_IN[one.digits]:
            outside = ~one.around[x]
            having = self.having[x]
            found = [n for theirs, some in having.items() if not theirs & outside for n in some]
            for n in sorted(found):
                linked.setdefault(n, []).append(x)
            having.setdefault(one.places[x], []).append(number)
        for n, exclusive in linked.items():
            other = self.taken[n]
            if one.cells & other.cells or not _strikes(board, one, other, exclusive):
                continue
            if (one.cells | other.cells).bit_count() == 2:
                continue  # a naked pair
            first, second = sorted((one, other))
            pair = first, second, tuple(exclusive)
            self.count += 1
            heappush(self.pairs, (one.looks + other.looks, self.count, pair))


def _strikes(board: Board, one: AlmostLocked, other: AlmostLocked, exclusive: list[Digit]) -> bool:
    """Whether a digit of both beside one that can't be in both is struck anywhere."""
    shared = one.digits & other.digits
    if len(exclusive) == 1:
        shared &= ~(1 << (exclusive[0] - 1))
    cells, here, there = board.cells, one.around, other.around
    for z in DIGITS_IN[shared]:  # noqa: SIM110 - a generator takes twice as long
        if cells[z] & here[z] & there[z]:
            return True
    return False


_LEAST = 2
"""No set costs fewer looks: a cell that is held in mind, and what it can take."""


@lru_cache(maxsize=1 << 14)
def _almost(house: tuple[Digits, ...]) -> tuple[tuple[tuple[int, ...], Digits], ...]:
    """One to four cells of a house with one digit more than cells, by their numbers in it."""
    few = [k for k, digits in enumerate(house) if 1 <= digits.bit_count() <= 5]
    found = []
    stack: list[tuple[int, tuple[int, ...], Digits]] = [(0, (), 0)]
    while stack:
        start, chosen, digits = stack.pop()
        if chosen and digits.bit_count() == len(chosen) + 1:
            found.append((chosen, digits))
        if len(chosen) < 4:
            for n in range(start, len(few)):
                union = digits | house[few[n]]
                if union.bit_count() <= 5:
                    stack.append((n + 1, (*chosen, few[n]), union))
    return tuple(found)


def _linked(
    board: Board, one: AlmostLocked, other: AlmostLocked, exclusive: tuple[Digit, ...]
) -> Iterator[Deduction]:
    both = one.digits & other.digits
    for z in DIGITS_IN[both]:
        struck = board.cells[z] & one.around[z] & other.around[z]
        if struck:
            for x in exclusive:
                if x != z:
                    yield _deduced(board, (one, other), x, z, struck)


def _deduced(
    board: Board, sets: tuple[AlmostLocked, ...], x: Digit, z: Digit, struck: Cells
) -> Deduction:
    """Each cell must be seen to take its set's digits only, and x and z only where they count."""
    kept = 1 << (x - 1) | 1 << (z - 1)
    reads = [Sight(c, s.digits & (digits | ~kept)) for s in sets for c, digits in s.taken]
    held = sets[0].cells | sets[1].cells
    sees = partial(_pattern, board.layout, sets, x, z)
    ruled_out = board.layout.candidates_of(z, struck)
    return deduce(board, ALMOST_LOCKED_SETS, tuple(sorted(reads)), held, ruled_out, sees)


def _pattern(layout: Layout, sets: tuple[AlmostLocked, ...], x: Digit, z: Digit) -> Pattern:
    one, other = sorted(sets, key=lambda s: s.cells & -s.cells)
    ends = [(Node(d, one.places[d]), Node(d, other.places[d])) for d in (x, z)]
    links = tuple(
        Link(kind, a, b, meeting(layout, a, b))
        for kind, (a, b) in zip((WEAK, STRONG), ends, strict=True)
    )
    houses = tuple(dict.fromkeys(layout.holding(s.cells)[0] for s in (one, other)))
    return Pattern(
        one.digits | other.digits,
        ((ONE_SET, one.cells), (OTHER_SET, other.cells)),
        ((BASE, houses),),
        links,
    )
