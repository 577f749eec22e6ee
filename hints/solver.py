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

from papernudge.hints.geometry import PEERS, Candidates

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


def _spread(cells: list[int]) -> Candidates:
    """These cells in all nine digit planes."""
    plane = sum(1 << c for c in cells)
    return sum(plane << 81 * d for d in range(9))


# One lane for each pair of digit and house, parked on a chosen cell of the house.
_ROW_LANES = _spread([c for c in range(81) if c % 9 == 0])
_COLUMN_LANES = _spread([c for c in range(81) if c < 9])
_BLOCK_LANES = _spread([c for c in range(81) if c % 27 < 9 and c % 3 == 0])
_BLOCK_SHIFTS = (1, 2, 9, 10, 11, 18, 19, 20)


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


def models(state: Candidates) -> Iterator[Candidates]:
    """Every full grid inside a set of candidates, each as 81 candidates."""
    stack = [(state, 0)]
    while stack:
        state, done = stack.pop()
        outcome = propagated(state, done)
        if outcome is None:
            continue
        state, done, two = outcome
        if done == state:
            yield state
            continue
        # The rest first, the choice last, so that the choice is taken up next.
        choice = two & -two
        stack.append((state & ~choice, done))
        stack.append((state & KEEP[choice.bit_length() - 1], done))


def is_possible(state: Candidates) -> bool:
    """Whether a set of candidates holds a full grid."""
    return next(models(state), None) is not None


def propagated(
    state: Candidates, done: Candidates = 0
) -> tuple[Candidates, Candidates, Candidates] | None:
    """Write all singles until none is left; None when a rule has no candidate any more.

    ``done``: candidates already known as written. Returns the state, what is written, and the
    candidates to split on (those of a tight rule; empty when the grid is full).
    """
    while True:
        # For each rule: any candidate, and more than one. First the nine digits of a cell.
        any_, many = 0, 0
        for shift in range(0, 729, 81):
            plane = state >> shift & _PLANE
            many |= any_ & plane
            any_ |= plane
        if any_ != _PLANE:
            return None
        naked = any_ & ~many
        single = naked * _DIGIT_COPIES & state
        # The nine places in a row, then in a column, then in a block.
        r_any, r_many = state, 0
        for shift in range(1, 9):
            plane = state >> shift
            r_many |= r_any & plane
            r_any |= plane
        if r_any & _ROW_LANES != _ROW_LANES:
            return None
        single |= ((_ROW_LANES & ~r_many) * 511) & state
        c_any, c_many = state, 0
        for shift in range(9, 81, 9):
            plane = state >> shift
            c_many |= c_any & plane
            c_any |= plane
        if c_any & _COLUMN_LANES != _COLUMN_LANES:
            return None
        single |= ((_COLUMN_LANES & ~c_many) * _COLUMN_COPIES) & state
        b_any, b_many = state, 0
        for shift in _BLOCK_SHIFTS:
            plane = state >> shift
            b_many |= b_any & plane
            b_any |= plane
        if b_any & _BLOCK_LANES != _BLOCK_LANES:
            return None
        single |= ((_BLOCK_LANES & ~b_many) * _BLOCK_COPIES) & state
        fresh = single & ~done
        if not fresh:
            return state, done, _tightest(state, many)
        done |= fresh
        while fresh:
            low = fresh & -fresh
            state &= KEEP[low.bit_length() - 1]
            fresh ^= low
        if done & ~state:
            return None  # two of the singles were rivals


_DIGIT_COPIES = sum(1 << 81 * d for d in range(9))
_COLUMN_COPIES = sum(1 << 9 * r for r in range(9))
_BLOCK_COPIES = 1 | sum(1 << s for s in _BLOCK_SHIFTS)


def _tightest(state: Candidates, many: int) -> Candidates:
    """The candidates of a cell with as few as possible, 0 if each cell has one."""
    if not many:
        return 0
    ones, twos, threes = 0, 0, 0
    for shift in range(0, 729, 81):
        plane = state >> shift & _PLANE
        threes |= twos & plane
        twos |= ones & plane
        ones |= plane
    pairs = twos & ~threes
    cell = pairs & -pairs if pairs else many & -many
    return (cell * _DIGIT_COPIES) & state
