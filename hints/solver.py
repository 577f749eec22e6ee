"""Exact solving: how many solutions, up to a limit, and which.

The whole grid is one integer with a bit for each candidate, digit by digit: 729 bits, bit
``81 * (d - 1) + c`` for digit d in cell c. Writing a digit is one AND. Every rule of the grid says
that one of nine candidates is the true one: nine digits in a cell, nine places in a row, a column,
a block. Laid side by side, the nine are added up for all houses and digits at once, keeping for
every rule whether *any* and whether *more than one* candidate stands: so a handful of wide
operations find all singles of the grid. What singles leave open is split on a cell or a house
with as few candidates as possible.

Exact cover by forced moves and branching on the tightest rule is D. E. Knuth's ("Dancing Links",
2000); counting in parallel by bit planes is common practice in word-parallel programming.

The same code solves grids of other sizes with rectangular blocks: a ``Shape`` holds the tables.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from papernudge.hints.geometry import Candidates, Cells


class Rule(NamedTuple):
    """A kind of rule, say that a digit has one place in a row.

    ``lanes``: a bit for each such rule, parked on its first candidate. ``inner`` and ``outer``: the
    way from there to the others, in two strides: by one of each, or by none. ``steps``: the whole
    ways. ``copies``: a factor that copies a lane's bit to all candidates of its rule.
    """

    lanes: Candidates
    inner: tuple[int, ...]
    outer: tuple[int, ...]
    steps: tuple[int, ...]
    copies: Candidates


@dataclass(frozen=True)
class Shape:
    """A square grid of blocks ``rows`` high and ``columns`` wide, and the tables to solve it.

    Three by three unless said otherwise; no more than nine digits.
    """

    rows: int = 3
    columns: int = 3

    @cached_property
    def size(self) -> int:
        """How many digits, and cells in a house."""
        return self.rows * self.columns

    @cached_property
    def plane(self) -> Cells:
        """All cells."""
        return (1 << self.size**2) - 1

    @cached_property
    def everything(self) -> Candidates:
        """All candidates."""
        return (1 << self.size**3) - 1

    @cached_property
    def keep(self) -> tuple[Candidates, ...]:
        """For each candidate what stays when it is written: all but its rivals."""
        kept = [self.everything] * self.size**3
        for rule in self.rules:
            for first in range(self.size**3):
                if rule.lanes >> first & 1:
                    bits = [first, *(first + step for step in rule.steps)]
                    mask = sum(1 << bit for bit in bits)
                    for bit in bits:
                        kept[bit] &= ~mask | 1 << bit
        return tuple(kept)

    @cached_property
    def rules(self) -> tuple[Rule, ...]:
        """A cell has one digit; a digit one place in a row, in a column, in a block."""
        n, high, wide = self.size, self.rows, self.columns
        blocks = [n * r + c for r in range(0, n, high) for c in range(0, n, wide)]
        return (
            self._rule(range(n * n), n * n, n * n * wide, planes=1),
            self._rule(range(0, n * n, n), 1, wide),
            self._rule(range(n), n, n * wide),
            self._rule(blocks, 1, n),
        )

    def _rule(self, cells: Iterable[int], stride: int, leap: int, planes: int = 0) -> Rule:
        """The rules whose first candidates are these cells, in each digit's plane or in one."""
        plane = sum(1 << c for c in cells)
        lanes = sum(plane << self.size**2 * d for d in range(planes or self.size))
        inner = tuple(stride * k for k in range(1, self.columns))
        outer = tuple(leap * k for k in range(1, self.rows))
        steps = tuple(i + o for o in (0, *outer) for i in (0, *inner))[1:]
        return Rule(lanes, inner, outer, steps, 1 | sum(1 << step for step in steps))


NINE = Shape()
KEEP = NINE.keep
(_CELLS, _IN_CELL), (_ROWS, _IN_ROW), (_COLUMNS, _IN_COLUMN), (_BLOCKS, _IN_BLOCK) = (
    (rule.lanes, rule.copies) for rule in NINE.rules
)


def count_solutions(line: str, limit: int = 2, shape: Shape = NINE) -> int:
    """How many ways there are to fill the grid, counted up to ``limit``.

    ``line``: 81 characters, ``.`` or ``0`` for nothing. A repeated digit in a house gives 0.

    >>> count_solutions("." * 81, limit=3)
    3
    >>> count_solutions("." * 16, limit=1000, shape=Shape(2, 2))
    288
    """
    found = 0
    if limit <= 0:
        return 0
    for _ in models(candidates_after(line, shape), shape=shape):
        found += 1
        if found >= limit:
            break
    return found


def solve(line: str, shape: Shape = NINE) -> str | None:
    """The solution, if there is exactly one."""
    first: str | None = None
    for solution in solutions(line, shape):
        if first is not None:
            return None
        first = solution
    return first


def solutions(line: str, shape: Shape = NINE) -> Iterator[str]:
    """Every way to fill the grid, as lines of text, each once."""
    for state in models(candidates_after(line, shape), shape=shape):
        digits = ["."] * shape.size**2
        while state:
            low = state & -state
            digit, cell = divmod(low.bit_length() - 1, shape.size**2)
            digits[cell] = str(digit + 1)
            state ^= low
        yield "".join(digits)


def candidates_after(line: str, shape: Shape = NINE) -> Candidates:
    """What the digits of a line leave; nothing at all if they clash."""
    cells = shape.size**2
    if len(line) != cells:
        raise ValueError(f"expected {cells} characters, one for each cell, got {len(line)}")
    state = shape.everything
    written = 0
    keep = shape.keep
    for cell, mark in enumerate(line):
        if mark not in ".0":
            bit = cells * (int(mark) - 1) + cell
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
    shape: Shape = NINE,
) -> Iterator[Candidates]:
    """Every full grid inside a set of candidates, each as a set of candidates.

    Splits a cell into its digits, those in ``focus`` first, or with ``by_place`` a house into the
    places of a digit. ``seed`` chooses between branches as good as each other. Raises
    ``OutOfPatience`` when more than ``patience`` branches have been opened.
    """
    stack = [(state, 0)]
    opened = 0
    while stack:
        state, done = stack.pop()
        outcome = propagated(state, done, shape)
        if outcome is None:
            continue
        state, done = outcome
        if done == state:
            yield state
            continue
        opened += 1
        if opened > patience:
            raise OutOfPatience(f"expected an answer within {patience} branches, got none")
        choice = _choice(state, focus, by_place, seed + seed * opened, shape)
        # The rest first, the choice last, so that the choice is taken up next.
        stack.append((state & ~choice, done))
        stack.append((state & shape.keep[choice.bit_length() - 1], done))


_PATIENCE = tuple(n for n in (100, 200, 400, 1600, 6400, 20_000) for _ in range(3))
"""Branches that the attempts at one question may open, each of three ways to branch in turn."""


class OutOfPatience(Exception):  # noqa: N818 - says what it is
    """A search was given up before it found an answer."""


def is_possible(state: Candidates, focus: Cells = 0) -> bool:
    """Whether a set of candidates holds a full grid. ``focus``: where a contradiction may lie.

    Starts afresh with other branches when one attempt takes long: few digits leave room for bad
    luck early on (C. P. Gomes, B. Selman, H. Kautz, "Boosting combinatorial search through
    randomization", AAAI 1998). Raises ``OutOfPatience`` when no attempt gets through.
    """
    for seed, patience in enumerate(_PATIENCE):
        near, by_place = (focus, 0, 0)[seed % 3], seed % 3 == 1
        try:
            return next(models(state, near, by_place, seed, patience), None) is not None
        except OutOfPatience:
            continue
    raise OutOfPatience(f"expected an answer after {len(_PATIENCE)} attempts, got none")


def propagated(
    state: Candidates, done: Candidates = 0, shape: Shape = NINE
) -> tuple[Candidates, Candidates] | None:
    """Write all singles until none is left; None when a rule has no candidate any more.

    ``done``: candidates known as written. Returns the state and what is written by then.
    """
    while True:
        found = singles_of(state, shape)
        if found is None:
            return None
        fresh = found & ~done
        if not fresh:
            return state, done
        done |= fresh
        state = written_out(state, fresh, shape)
        if done & ~state:
            return None  # two of the singles were rivals


def singles_of(state: Candidates, shape: Shape = NINE) -> Candidates | None:
    """The candidates that are the last of a rule; None if a rule has none."""
    if shape is NINE:
        return singles_of_nine(state)
    found = 0
    for lanes, inner, outer, _, copies in shape.rules:
        some, many = state, 0
        for step in inner:
            other = state >> step
            many |= some & other
            some |= other
        group, groups = some, many
        for step in outer:
            other = group >> step
            many |= some & other | groups >> step
            some |= other
        if lanes & ~some:
            return None
        found |= (lanes & ~many) * copies & state
    return found


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


def written_out(state: Candidates, fresh: Candidates, shape: Shape = NINE) -> Candidates:
    """What is left when these candidates are written."""
    keep = shape.keep
    while fresh:
        low = fresh & -fresh
        state &= keep[low.bit_length() - 1]
        fresh ^= low
    return state


def _choice(state: Candidates, focus: Cells, by_place: bool, turn: int, shape: Shape) -> Candidates:
    """The candidate to branch on."""
    if by_place:
        options = _places(state, shape)
    elif focus or turn:
        options = _digits(state, focus, turn, shape)
    else:
        options = _pairs(state, shape) or _digits(state, 0, 0, shape)
    return options & -options if turn % 2 == 0 else 1 << (options.bit_length() - 1)


def _twos(state: Candidates, rule: Rule) -> Candidates:
    """The candidates of the rules of one kind that have two left."""
    once, twice, thrice = state, 0, 0
    for step in rule.steps:
        other = state >> step
        thrice |= twice & other
        twice |= once & other
        once |= other
    return (twice & ~thrice & rule.lanes) * rule.copies & state


def _pairs(state: Candidates, shape: Shape) -> Candidates:
    """The candidates of cells with two digits, those that are also one of two places in as many of
    their houses as possible: whichever way such a one falls, much follows.
    """
    cells, rows, columns, blocks = (_twos(state, rule) for rule in shape.rules)
    two = rows & columns | rows & blocks | columns & blocks
    return (
        cells & rows & columns & blocks or cells & two or cells & (rows | columns | blocks) or cells
    )


def _digits(state: Candidates, focus: Cells, turn: int, shape: Shape) -> Candidates:
    """The candidates of a cell with as few as possible but more than one, in focus if there is one;
    ``turn`` picks among such cells.
    """
    once, twice, thrice, more = 0, 0, 0, 0
    for shift in (0, *shape.rules[0].steps):
        plane = state >> shift & shape.plane
        more |= thrice & plane
        thrice |= twice & plane
        twice |= once & plane
        once |= plane
    pairs = twice & ~thrice
    cells = pairs & focus or twice & ~more & focus or twice & focus or pairs or twice
    cells = cells >> turn % 81 << turn % 81 or cells
    return ((cells & -cells) * shape.rules[0].copies) & state


def _places(state: Candidates, shape: Shape) -> Candidates:
    """The candidates for a digit in a house with as few as possible but more than one."""
    best, fewest = 0, 10
    for rule in shape.rules[1:]:
        once, twice, thrice = state, 0, 0
        for step in rule.steps:
            other = state >> step
            thrice |= twice & other
            twice |= once & other
            once |= other
        twice &= rule.lanes
        found = twice & ~thrice or twice
        options = ((found & -found) * rule.copies) & state
        if 0 < options.bit_count() < fewest:
            best, fewest = options, options.bit_count()
    return best
