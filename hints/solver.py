"""Exact solving: how many solutions, up to a limit, and which.

The whole grid is one integer of 729 bits, a bit for each candidate, digit by digit (bit
``81 * (d - 1) + c``). Writing a digit is one AND. Every rule of the grid says that one of nine
candidates is the true one: nine digits in a cell, nine places in a row, a column, a block. Laid
side by side, the nine are added up for all houses and digits at once, keeping for every rule
whether *any* and whether *more than one* candidate stands: so a handful of wide operations
find all singles of the grid. What singles leave open is split on a rule with two candidates.

Exact cover by forced moves and branching on the tightest rule is D. E. Knuth's ("Dancing Links",
2000); counting in parallel by bit planes is common practice in word-parallel programming.
"""

from __future__ import annotations

from collections.abc import Iterator

from papernudge.hints.geometry import PEERS, Candidates, Cells

_ALL = (1 << 729) - 1
_PLANE = (1 << 81) - 1


def _keep(bit: int) -> Candidates:
    """What stays when this candidate is written: all but its rivals."""
    digit, cell = divmod(bit, 81)
    rivals = PEERS[cell] << 81 * digit
    for other in range(9):
        if other != digit:
            rivals |= 1 << (81 * other + cell)
    return _ALL & ~rivals


KEEP: tuple[Candidates, ...] = tuple(_keep(bit) for bit in range(729))


def _spread(cells: range | list[int]) -> Candidates:
    """These cells in all nine digit planes."""
    plane = sum(1 << c for c in cells)
    return sum(plane << 81 * d for d in range(9))


def _rule(lanes: Candidates, steps: list[int]) -> tuple[Candidates, list[int], Candidates]:
    """A kind of rule: a bit for each such rule, parked on its first candidate; the way from there
    to the other eight; and a factor that copies the bit to all nine.
    """
    return lanes, steps, 1 | sum(1 << step for step in steps)


_RULES = (
    _rule(_PLANE, [81 * d for d in range(1, 9)]),  # a cell has one digit
    _rule(_spread(range(0, 81, 9)), [*range(1, 9)]),  # a row has one place for a digit
    _rule(_spread(range(9)), [*range(9, 81, 9)]),  # a column
    _rule(
        _spread([27 * r + 3 * c for r in range(3) for c in range(3)]), [1, 2, 9, 10, 11, 18, 19, 20]
    ),
)


def count_solutions(line: str, limit: int = 2) -> int:
    """How many ways there are to fill the grid, counted up to ``limit``.

    ``line``: 81 characters, ``.`` or ``0`` for nothing. A repeated digit in a house gives 0.

    >>> count_solutions("." * 81, limit=3)
    3
    """
    found = 0
    if limit <= 0:
        return 0
    for _ in solutions(line):
        found += 1
        if found >= limit:
            break
    return found


def solve(line: str) -> str | None:
    """The solution, if there is exactly one."""
    first: str | None = None
    for solution in solutions(line):
        if first is not None:
            return None
        first = solution
    return first


def solutions(line: str) -> Iterator[str]:
    """Every way to fill the grid, as 81-character lines, each once."""
    for state in models(candidates_after(line)):
        digits = ["."] * 81
        while state:
            low = state & -state
            digit, cell = divmod(low.bit_length() - 1, 81)
            digits[cell] = str(digit + 1)
            state ^= low
        yield "".join(digits)


def candidates_after(line: str) -> Candidates:
    """What the digits of a line leave. Clashing digits leave a cell or a house with nothing."""
    if len(line) != 81:
        raise ValueError(f"expected 81 characters, one for each cell, got {len(line)}")
    state = _ALL
    written = 0
    for cell, mark in enumerate(line):
        if mark not in ".0":
            bit = 81 * (int(mark) - 1) + cell
            state &= KEEP[bit]
            written |= 1 << bit
    # A clash has struck out one of the digits that stand there: then nothing may stand.
    return state if written & ~state == 0 else 0


def models(
    state: Candidates,
    focus: Cells = 0,
    by_place: bool = False,
    seed: int = 0,
    patience: int = 1 << 60,
) -> Iterator[Candidates]:
    """Every full grid inside a set of candidates, each as 81 candidates.

    Splits a cell into its digits, those in ``focus`` first, or with ``by_place`` a house into the
    places of a digit. ``seed`` chooses between branches as good as each other.
    Raises ``OutOfPatience`` when more than ``patience`` branches have been opened.
    """
    stack = [(state, 0)]
    opened = 0
    while stack:
        state, done = stack.pop()
        outcome = propagated(state, done)
        if outcome is None:
            continue
        state, done = outcome
        if done == state:
            yield state
            continue
        opened += 1
        if opened > patience:
            raise OutOfPatience(f"expected an answer within {patience} branches, got none")
        turn = seed + seed * opened
        options = _places(state) if by_place else _digits(state, focus, turn)
        choice = options & -options if turn % 2 == 0 else 1 << (options.bit_length() - 1)
        # The rest first, the choice last, so that the choice is taken up next.
        stack.append((state & ~choice, done))
        stack.append((state & KEEP[choice.bit_length() - 1], done))


class OutOfPatience(Exception):  # noqa: N818 - says what it is
    """A search was given up before it found an answer."""


def is_possible(state: Candidates, focus: Cells = 0) -> bool:
    """Whether a set of candidates holds a full grid. ``focus``: where a contradiction may lie.

    Starts afresh with other branches when one attempt takes long: few digits leave room for bad
    luck early on (C. P. Gomes, B. Selman, H. Kautz, "Boosting combinatorial search through
    randomization", AAAI 1998). Raises ``OutOfPatience`` when no attempt gets through.
    """
    for seed, patience in enumerate((100, 100, 100, 200, 200, 200, 400, 400, 400, 1600, 1600)):
        near, by_place = (focus, 0, 0)[seed % 3], seed % 3 == 1
        try:
            return next(models(state, near, by_place, seed, patience), None) is not None
        except OutOfPatience:
            continue
    raise OutOfPatience("expected an answer after eleven attempts, got none")


def propagated(state: Candidates, done: Candidates = 0) -> tuple[Candidates, Candidates] | None:
    """Write all singles until none is left; None when a rule has no candidate any more.

    ``done``: candidates known as written. Returns the state and what is written by then.
    """
    while True:
        found = singles_of(state)
        if found is None:
            return None
        fresh = found & ~done
        if not fresh:
            return state, done
        done |= fresh
        state = written_out(state, fresh)
        if done & ~state:
            return None  # two of the singles were rivals


def singles_of(state: Candidates) -> Candidates | None:
    """The candidates that are the last of a rule; None if a rule has none."""
    found = 0
    for lanes, steps, copies in _RULES:
        some, many = state, 0
        for step in steps:
            other = state >> step
            many |= some & other
            some |= other
        if lanes & ~some:
            return None
        found |= (lanes & ~many) * copies & state
    return found


def written_out(state: Candidates, fresh: Candidates) -> Candidates:
    """What is left when these candidates are written."""
    while fresh:
        low = fresh & -fresh
        state &= KEEP[low.bit_length() - 1]
        fresh ^= low
    return state


def _digits(state: Candidates, focus: Cells, turn: int) -> Candidates:
    """The candidates of a cell with as few as possible but more than one, in focus if there is one;
    ``turn`` picks among such cells.
    """
    once, twice, thrice, more = 0, 0, 0, 0
    for shift in range(0, 729, 81):
        plane = state >> shift & _PLANE
        more |= thrice & plane
        thrice |= twice & plane
        twice |= once & plane
        once |= plane
    pairs = twice & ~thrice
    cells = pairs & focus or twice & ~more & focus or twice & focus or pairs or twice
    cells = cells >> turn % 81 << turn % 81 or cells
    return ((cells & -cells) * _RULES[0][2]) & state


def _places(state: Candidates) -> Candidates:
    """The candidates for a digit in a house with as few as possible but more than one."""
    best, fewest = 0, 10
    for lanes, steps, copies in _RULES[1:]:
        once, twice, thrice = state, 0, 0
        for step in steps:
            other = state >> step
            thrice |= twice & other
            twice |= once & other
            once |= other
        twice &= lanes
        found = twice & ~thrice or twice
        options = ((found & -found) * copies) & state
        if 0 < options.bit_count() < fewest:
            best, fewest = options, options.bit_count()
    return best
