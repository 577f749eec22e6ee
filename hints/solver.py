"""Exact solving: how many solutions, up to a limit, and which.

The whole grid is one integer with a bit for each candidate, digit by digit: of the newspaper's grid
729 bits, bit ``81 * (d - 1) + c`` for digit d in cell c. Writing a digit is one AND. Every rule of
the grid says that one of nine candidates is the true one: nine digits in a cell, nine places in a
row, a column, a block. Laid side by side, the nine are added up for all houses and digits at once,
keeping for every rule whether *any* and whether *more than one* candidate stands: so a handful of
wide operations find all singles of the grid. Houses whose cells lie at no even distance from each
other (blocks of any form, extra blocks) are added up one after the other, all digits at once. What
singles leave open is split on a cell or a house with as few candidates as possible.

Exact cover by forced moves and branching on the tightest rule is D. E. Knuth's ("Dancing Links",
2000); counting in parallel by bit planes is common practice in word-parallel programming.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cache
from typing import NamedTuple

from papernudge.hints.crossings import Crossings
from papernudge.hints.layout import BLOCK, COLUMN, DIAGONAL, NEWSPAPER, ROW, Layout
from papernudge.hints.masks import SYMBOLS, VALUES, Candidates, Cells


class Rule(NamedTuple):
    """A kind of rule, say that a digit has one place in a row.

    ``lanes``: a bit for each such rule, parked on its first candidate. ``stem`` and ``branch``: the
    way from there to the others, stride by stride, each all that was reached by the one before and
    by these steps on from there. ``steps``: the whole ways. ``copies``: a factor that copies a
    lane's bit to all candidates of its rule.
    """

    lanes: Candidates
    stem: _Ladder
    branch: _Ladder
    steps: tuple[int, ...]
    copies: Candidates

    @classmethod
    def of(cls, lanes: Candidates, stem: _Ladder, branch: _Ladder) -> Rule:
        """With the whole ways from the strides."""
        ways = [0]
        for steps in (*stem, *branch):
            ways += [way + step for step in steps for way in ways]
        return cls(lanes, stem, branch, tuple(ways[1:]), sum(1 << way for way in ways))


_Ladder = tuple[tuple[int, ...], ...]


def _ladder(stride: int, many: int) -> _Ladder:
    """To so many places at even distances, in as few steps as its factors allow: to sixteen by 1,
    2, 4 and 8.
    """
    ladder = []
    while many > 1:
        factor = next(k for k in range(2, many + 1) if many % k == 0)
        ladder.append(tuple(stride * k for k in range(1, factor)))
        stride, many = stride * factor, many // factor
    return tuple(ladder)


_Some = tuple[Candidates, Candidates]


def _climbed(some: Candidates, many: Candidates, ladder: _Ladder) -> _Some:
    """Whether any and whether more than one of a group stands, parked on its first."""
    for steps in ladder:
        group, groups = some, many
        for step in steps:
            other = group >> step
            many |= some & other | groups >> step
            some |= other
    return some, many


class Rules:
    """The tables to solve a layout.

    ``cells``: a cell has one digit; ``even``: a digit one place in each row, each column, each of
    blocks that are all alike, each diagonal; ``odd``: the cells of each house of any other form,
    and as a set; ``halves``: by how much and onto what the upper half of the digits is laid to be
    added to the lower, again and again, ``rest``: how those that are left are added up; ``stems``:
    rules that begin alike, together; ``lane``: the first cell's candidates. ``singles``: see
    ``singles_of``; ``locked``: strikes more where these run dry, ``rivals``: for each candidate
    what it strikes; None and none where both take longer than to branch.
    """

    __slots__ = (
        "cells",
        "even",
        "everything",
        "halves",
        "keep",
        "lane",
        "locked",
        "many",
        "odd",
        "plane",
        "rest",
        "rivals",
        "singles",
        "stems",
    )

    def __init__(self, layout: Layout) -> None:
        many, side = layout.many, layout.side
        self.many, self.plane, self.everything = many, layout.all_cells, layout.all_candidates
        self.keep = layout.keep
        self.lane = sum(1 << many * d for d in range(side))
        high, wide = layout.even or _factors(side)
        self.cells = Rule.of(self.plane, _ladder(many, side), ())
        firsts = _first_cells(layout)
        beside = _ladder(1, wide)
        ways = {
            ROW: (beside, _ladder(wide, high)),
            COLUMN: (_ladder(side, side), ()),
            BLOCK: (beside, _ladder(side, high)) if layout.even else None,
            "falling": (_ladder(side + 1, side), ()),
            "rising": (_ladder(side - 1, side), ()),
        }
        self.even = tuple(
            Rule.of(self.lane * sum(1 << cell for cell in firsts[kind]), *way)
            for kind, way in ways.items()
            if way and firsts[kind]
        )
        self.halves, self.rest = _halves(many, side)
        self.stems = _by_stem(self.even)
        regular = {ROW, COLUMN, DIAGONAL, *((BLOCK,) if layout.even else ())}
        self.odd = tuple(
            (house.cells, layout.masks[number])
            for number, house in enumerate(layout.houses)
            if house.kind not in regular
        )
        self.singles: Callable[[Candidates], Candidates | None]
        self.singles = _WRITTEN_OUT.get(layout, self._singles)
        large = layout.even is not None and many >= _LARGE
        self.locked = Crossings(layout) if large else None
        self.rivals = tuple(self.everything & ~left for left in self.keep) if large else ()

    def _singles(self, state: Candidates) -> Candidates | None:
        """See ``singles_of``, for any layout."""
        some, many = state, 0
        for shift, lower in self.halves:
            low, high = some & lower, some >> shift
            many = low & high | many & lower | many >> shift
            some = low | high
        some, many = _climbed(some, many, self.rest)
        if self.plane & ~some:
            return None
        found = (self.plane & ~many) * self.cells.copies
        for stem, rules in self.stems:
            reached = _climbed(state, 0, stem)
            for lanes, _, branch, _, copies in rules:
                some, many = _climbed(*reached, branch) if branch else reached
                if lanes & ~some:
                    return None
                found |= (lanes & ~many) * copies
        lane = self.lane
        for cells, house in self.odd:
            some = many = 0
            for cell in cells:
                other = state >> cell & lane
                many |= some & other
                some |= other
            if some != lane:
                return None
            found |= (lane & ~many) * house
        return found & state


_LARGE = 100
"""Cells from which on locked candidates are struck before a branch is opened, and which is opened
is chosen with care: on boards of sixteen rows a quarter as many branches are opened then; on nine
it takes longer than to open them."""


_SOON = 3000
"""Branches of a large board that are opened within about a second."""


def _by_stem(rules: Iterable[Rule]) -> tuple[tuple[_Ladder, tuple[Rule, ...]], ...]:
    found: dict[_Ladder, list[Rule]] = {}
    for rule in rules:
        found.setdefault(rule.stem, []).append(rule)
    return tuple((stem, tuple(some)) for stem, some in found.items())


@cache
def rules_of(layout: Layout) -> Rules:
    """The tables of a layout, made once."""
    return Rules(layout)


def _halves(
    many: int, side: int
) -> tuple[tuple[tuple[int, Candidates], ...], tuple[tuple[int, ...], ...]]:
    """Digits are added up faster as sets of half the size, as long as there is an even number."""
    halves = []
    while side % 2 == 0:
        side //= 2
        halves.append((many * side, (1 << many * side) - 1))
    return tuple(halves), _ladder(many, side)


def _factors(side: int) -> tuple[int, int]:
    """Two strides that make the way through a house short."""
    high = max(k for k in range(1, side) if side % k == 0 and k * k <= side)
    return high, side // high


def _first_cells(layout: Layout) -> dict[str, list[int]]:
    """The first cells of houses of each regular kind."""
    first: dict[str, list[int]] = {}
    for house in layout.houses:
        first.setdefault(house.kind, []).append(house.cells[0])
    diagonals = first.get(DIAGONAL, [])
    first["falling"], first["rising"] = diagonals[:1], diagonals[1:]
    return first


def count_solutions(line: str, limit: int = 2, layout: Layout = NEWSPAPER) -> int:
    """How many ways there are to fill the grid, counted up to ``limit``.

    ``line``: a character for each cell, ``.`` or ``0`` for nothing. A repeated digit in a house
    gives 0.

    >>> count_solutions("." * 81, limit=3)
    3
    >>> count_solutions("." * 16, limit=1000, layout=Layout.of_blocks(2, 2))
    288
    """
    found = 0
    if limit <= 0:
        return 0
    for _ in models(candidates_after(line, layout), layout=layout):
        found += 1
        if found >= limit:
            break
    return found


def solve(line: str, layout: Layout = NEWSPAPER, patience: int = 1 << 60) -> str | None:
    """The solution, if there is exactly one. ``patience``: see ``models``."""
    first: str | None = None
    for solution in solutions(line, layout, patience):
        if first is not None:
            return None
        first = solution
    return first


def solve_soon(line: str, layout: Layout = NEWSPAPER) -> str | None:
    """The same; on large boards None too where it takes more than a second or two. Lines that were
    misread may be such, of puzzles in print hardly any.
    """
    try:
        return solve(line, layout, _SOON if layout.many >= _LARGE else 1 << 60)
    except OutOfPatience:
        return None


def solutions(line: str, layout: Layout = NEWSPAPER, patience: int = 1 << 60) -> Iterator[str]:
    """Every way to fill the grid, as lines of text, each once. ``patience``: see ``models``."""
    start = candidates_after(line, layout)
    for state in models(start, patience=patience, layout=layout):
        digits = ["."] * layout.many
        while state:
            low = state & -state
            digit, cell = divmod(low.bit_length() - 1, layout.many)
            digits[cell] = SYMBOLS[digit]
            state ^= low
        yield "".join(digits)


def candidates_after(line: str, layout: Layout = NEWSPAPER) -> Candidates:
    """What the digits of a line leave; nothing at all if they clash."""
    cells = layout.many
    if len(line) != cells:
        raise ValueError(f"expected {cells} characters, one for each cell, got {len(line)}")
    state = layout.all_candidates
    written = 0
    keep = layout.keep
    for cell, mark in enumerate(line):
        if mark not in ".0":
            bit = cells * (VALUES[mark] - 1) + cell
            state &= keep[bit]
            written |= 1 << bit
    # A clash has struck out one of the digits that stand there.
    return state if written & ~state == 0 else 0


def models(
    state: Candidates,
    focus: Cells = 0,
    by_place: bool = False,
    seed: int = 0,
    patience: int = 1 << 60,
    layout: Layout = NEWSPAPER,
) -> Iterator[Candidates]:
    """Every full grid inside a set of candidates, each as a set of candidates.

    Splits a cell into its digits, those in ``focus`` first, or with ``by_place`` a house into the
    places of a digit. ``seed`` chooses between branches as good as each other. Raises
    ``OutOfPatience`` when more than ``patience`` branches have been opened.
    """
    rules = rules_of(layout)
    stack = [(state, 0)]
    opened = 0
    while stack:
        state, done = stack.pop()
        outcome = _propagated(state, done, rules)
        if outcome is None:
            continue
        state, done = outcome
        if done == state:
            yield state
            continue
        if rules.locked is not None:
            left = rules.locked(state)
            if left != state:
                stack.append((left, done))
                continue
        opened += 1
        if opened > patience:
            raise OutOfPatience(f"expected an answer within {patience} branches, got none")
        choice = _choice(state, focus, by_place, seed + seed * opened, rules)
        # The rest first, the choice last, so that the choice is taken up next.
        stack.append((state & ~choice, done))
        stack.append((state & rules.keep[choice.bit_length() - 1], done))


_PATIENCE = tuple(n for n in (100, 200, 400, 1600, 6400, 20_000) for _ in range(3))
"""Branches that the attempts at one question may open, each of three ways to branch in turn."""


class OutOfPatience(Exception):  # noqa: N818 - says what it is
    """A search was given up before it found an answer."""


def is_possible(state: Candidates, focus: Cells = 0, layout: Layout = NEWSPAPER) -> bool:
    """Whether a set of candidates holds a full grid. ``focus``: where a contradiction may lie.

    Starts afresh with other branches when one attempt takes long: few digits leave room for bad
    luck early on (C. P. Gomes, B. Selman, H. Kautz, "Boosting combinatorial search through
    randomization", AAAI 1998). Raises ``OutOfPatience`` when no attempt gets through.
    """
    for seed, patience in enumerate(_PATIENCE):
        near, by_place = (focus, 0, 0)[seed % 3], seed % 3 == 1
        try:
            return next(models(state, near, by_place, seed, patience, layout), None) is not None
        except OutOfPatience:
            continue
    raise OutOfPatience(f"expected an answer after {len(_PATIENCE)} attempts, got none")


def propagated(
    state: Candidates, done: Candidates = 0, layout: Layout = NEWSPAPER
) -> tuple[Candidates, Candidates] | None:
    """Write all singles until none is left; None when a rule has no candidate any more.

    ``done``: candidates known as written. Returns the state and what is written by then.
    """
    return _propagated(state, done, rules_of(layout))


def _propagated(
    state: Candidates, done: Candidates, rules: Rules
) -> tuple[Candidates, Candidates] | None:
    singles, keep = rules.singles, rules.keep
    while True:
        found = singles(state)
        if found is None:
            return None
        fresh = found & ~done
        if not fresh:
            return state, done
        done |= fresh
        state = written_out(state, fresh, keep)
        if done & ~state:
            return None  # two of the singles were rivals


def singles_of(state: Candidates, layout: Layout = NEWSPAPER) -> Candidates | None:
    """The candidates that are the last of a rule; None if a rule has none."""
    return rules_of(layout).singles(state)


def written_out(state: Candidates, fresh: Candidates, keep: Sequence[Candidates]) -> Candidates:
    """What is left when these candidates are written. ``keep``: of the layout."""
    while fresh:
        low = fresh & -fresh
        state &= keep[low.bit_length() - 1]
        fresh ^= low
    return state


def singles_of_nine(state: Candidates) -> Candidates | None:
    """The same for three by three, where half of all time is spent: written out rule by rule; rows
    and blocks share their threes of a row.
    """
    one, two = state >> 81, state >> 162
    both = state | one
    many, some = state & one | both & two, both | two
    one, two = some >> 243, some >> 486
    both = some | one
    lone = _CELLS & ~(many | many >> 243 | many >> 486 | some & one | both & two)
    if _CELLS & ~(both | two):
        return None
    found = lone * _IN_CELL

    one, two = state >> 9, state >> 18
    both = state | one
    many, some = state & one | both & two, both | two
    one, two = some >> 27, some >> 54
    both = some | one
    if _COLUMNS & ~(both | two):
        return None
    lone = _COLUMNS & ~(many | many >> 27 | many >> 54 | some & one | both & two)
    found |= lone * _IN_COLUMN

    one, two = state >> 1, state >> 2
    both = state | one
    many, some = state & one | both & two, both | two
    one, two = some >> 3, some >> 6
    both = some | one
    if _ROWS & ~(both | two):
        return None
    lone = _ROWS & ~(many | many >> 3 | many >> 6 | some & one | both & two)
    found |= lone * _IN_ROW
    one, two = some >> 9, some >> 18
    both = some | one
    if _BLOCKS & ~(both | two):
        return None
    lone = _BLOCKS & ~(many | many >> 9 | many >> 18 | some & one | both & two)
    return (found | lone * _IN_BLOCK) & state


_WRITTEN_OUT: dict[Layout, Callable[[Candidates], Candidates | None]] = {NEWSPAPER: singles_of_nine}
"""Layouts whose singles are found by code of their own."""

(_CELLS, _IN_CELL), (_ROWS, _IN_ROW), (_COLUMNS, _IN_COLUMN), (_BLOCKS, _IN_BLOCK) = (
    (rule.lanes, rule.copies)
    for nine in (rules_of(NEWSPAPER),)
    for rule in (nine.cells, *nine.even)
)


def _choice(state: Candidates, focus: Cells, by_place: bool, turn: int, rules: Rules) -> Candidates:
    """The candidate to branch on."""
    if by_place:
        options = _places(state, rules)
    elif focus or turn:
        options = _digits(state, focus, turn, rules)
    else:
        if rules.rivals and (pairs := _twos(state, rules.cells)):
            return _telling(pairs, rules.rivals)
        options = _pairs(state, rules) or _digits(state, 0, 0, rules)
    return options & -options if turn % 2 == 0 else 1 << (options.bit_length() - 1)


def _twice(ways: Iterable[Candidates]) -> tuple[Candidates, Candidates]:
    """Where two or more of these have a bit, and where three or more."""
    once = twice = thrice = 0
    for some in ways:
        thrice |= twice & some
        twice |= once & some
        once |= some
    return twice, thrice


def _counted(state: Candidates, rule: Rule) -> tuple[Candidates, Candidates]:
    """The lanes of the rules of one kind that have two or more left, and three or more."""
    twice, thrice = _twice([state, *[state >> step for step in rule.steps]])
    return twice & rule.lanes, thrice


def _odd_counted(
    state: Candidates, cells: Iterable[int], lane: Candidates
) -> tuple[Candidates, Candidates]:
    """The same for a house of another form."""
    return _twice([state >> cell & lane for cell in cells])


def _twos(state: Candidates, rule: Rule) -> Candidates:
    """The candidates of the rules of one kind that have two left."""
    twice, thrice = _counted(state, rule)
    return (twice & ~thrice) * rule.copies & state


def _odd_twos(state: Candidates, rules: Rules) -> Candidates:
    """The same for all houses of other forms together."""
    found = 0
    for cells, house in rules.odd:
        twice, thrice = _odd_counted(state, cells, rules.lane)
        found |= (twice & ~thrice) * house & state
    return found


def _pairs(state: Candidates, rules: Rules) -> Candidates:
    """The candidates of cells with two digits, those that are also one of two places in as many of
    their houses as possible: whichever way such a one falls, much follows.
    """
    cells = _twos(state, rules.cells)
    if not cells:
        return 0
    in_one, in_two, in_three = 0, 0, 0
    kinds = [_twos(state, rule) for rule in rules.even]
    for twos in (*kinds, _odd_twos(state, rules)):
        in_three |= in_two & twos
        in_two |= in_one & twos
        in_one |= twos
    return cells & in_three or cells & in_two or cells & in_one or cells


def _telling(pairs: Candidates, rivals: Sequence[Candidates]) -> Candidates:
    """Of the candidates of cells with two digits the one that, written, settles most such cells."""
    best, most, rest = 0, -1, pairs
    while rest:
        low = rest & -rest
        rest ^= low
        settles = (pairs & rivals[low.bit_length() - 1]).bit_count()
        if settles > most:
            best, most = low, settles
    return best


def _digits(state: Candidates, focus: Cells, turn: int, rules: Rules) -> Candidates:
    """The candidates of a cell with as few as possible but more than one, in focus if there is one;
    ``turn`` picks among such cells.
    """
    once, twice, thrice, more = 0, 0, 0, 0
    for shift in (0, *rules.cells.steps):
        plane = state >> shift & rules.plane
        more |= thrice & plane
        thrice |= twice & plane
        twice |= once & plane
        once |= plane
    pairs = twice & ~thrice
    cells = pairs & focus or twice & ~more & focus or twice & focus or pairs or twice
    cells = cells >> turn % rules.many << turn % rules.many or cells
    return ((cells & -cells) * rules.cells.copies) & state


def _places(state: Candidates, rules: Rules) -> Candidates:
    """The candidates for a digit in a house with as few as possible but more than one."""
    best, fewest = 0, len(SYMBOLS) + 1
    for options in _fewest_places(state, rules):
        if 0 < options.bit_count() < fewest:
            best, fewest = options, options.bit_count()
    return best


def _fewest_places(state: Candidates, rules: Rules) -> Iterator[Candidates]:
    """The same for each kind of house, of each house of any other form."""
    for rule in rules.even:
        twice, thrice = _counted(state, rule)
        found = twice & ~thrice or twice
        yield ((found & -found) * rule.copies) & state
    for cells, house in rules.odd:
        twice, thrice = _odd_counted(state, cells, rules.lane)
        found = twice & ~thrice or twice
        yield (found & -found) * house & state
