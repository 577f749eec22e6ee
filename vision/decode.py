r"""From single cells' scores to the most probable reading of the whole grid.

The model (ours). For cell i let q_i(d) be the classifier's chance of digit d (0: no big digit) and
h_i its chance that the mark is handwritten. A reading is a choice of givens g (g_i = 0: none
printed in cell i) and of entries e in the other cells. Its posterior is

    P(g, e | photo)  ∝  Ω(g) · ∏_{g_i ≠ 0} 9φ q_i(g_i) (1 - h_i) · ∏_{g_i = 0} b_i(e_i) π(e_i | g)

    b_i(0) = β q_i(0),   b_i(d) = ε q_i(d) h_i
    φ, ε, β  the shares of givens, entries and blanks on this page, by EM (Dempster, Laird and
             Rubin, 1977) from the cells' own chances: a lone "entry" on a page on which
             nothing else is written had better be certain
    9        for a given, as for a right entry below: a grid is thought of first, and what is
             printed follows from it
    Ω(g)   = 1 where g has exactly one solution, else 1 / PROPER_ODDS
    π(e|g) = 1 for a blank, 9·RIGHT for e = s_i, 9·(1 - RIGHT)/8 for any other digit, where
             s is the solution of g, or, if g has not exactly one, the complete grid that
             the whole photo speaks for most: what the solver had in mind

Ω is a prior with finite odds, not a law: misprints exist, and an improper reading that the ink
speaks for clearly wins. It compares *one* proper reading with *one* improper reading, hence
counts how much rarer proper ones are in the neighbourhood of a reading. π says that most
entries are right; it can never turn a clearly written digit into another one.
Given g the cells without givens are independent, so entries are summed over in closed form and
only g is searched: best first over the uncertain cells, until what is left cannot change
the outcome. Where too many cells are uncertain for that, complete grids s are searched
instead, by branch and bound over the same terms, and each s proposes its own g.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.vision.fill import PEERS, best_fillings

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Solver = Callable[[str], str | None]
"""81 characters to the only solution, None where there is not exactly one."""

PROPER_ODDS = 1.0e3
RIGHT = 0.9
FEWEST = 17
"""No puzzle with one solution has fewer givens (G. McGuire, B. Tugemann and G. Civario,
Experimental Mathematics 23(2), 2014)."""
MOST_SOLVED = 120
"""Most readings handed to the solver for one grid: bounds the time on nonsense."""
FEW = 5
"""With more uncertain cells than this, complete grids are searched as well."""
ENTRIES = 6
"""Entries from which it is worth asking what the solver of a misprint had in mind."""
REACH = 6.0
"""Readings less probable than the best by this many nats are left out of the sums."""


@dataclass(frozen=True, eq=False)
class Decoded:
    """The joint posterior, summed up cell by cell.

    ``given``: float64 (81, 10), chance that digit d is printed in the cell (column 0: none is).
    ``other``: float64 (81, 10), chance that it is blank (column 0) or holds entry d. Each cell's
    nineteen chances add up to 1. ``best_given``, ``best_other``: int64 (81,), the most probable
    reading. ``proper``: whether its givens have exactly one solution. ``complete``: whether
    the search proved that no reading left out beats it.
    ``worlds``: the readings of givens that were weighed, most probable first, with their chances.
    """

    given: Floats
    other: Floats
    best_given: Ints
    best_other: Ints
    proper: bool
    complete: bool
    worlds: tuple[tuple[Ints, float], ...]


def shares(digits: Floats, hand: Floats) -> Floats:
    """How much of the page is given, entry and blank: three shares that add up to 1.

    ``digits``: float64 (81, 10) log-probabilities; ``hand``: float64 (81,) log-odds. Starts even;
    a fifth of a cell of each kind is granted without being seen, and at least FEWEST givens.
    """
    marked = np.logaddexp.reduce(digits[:, 1:], axis=1)
    kinds = np.column_stack(
        [marked - np.logaddexp(0.0, hand), marked - np.logaddexp(0.0, -hand), digits[:, 0]]
    )
    found = np.full(3, 1 / 3)
    for _ in range(30):
        chances = kinds + np.log(found)
        chances -= np.logaddexp.reduce(chances, axis=1)[:, None]
        found = (np.exp(chances).sum(axis=0) + 0.2) / (len(kinds) + 0.6)
        if found[0] < FEWEST / 81:
            found[1:] *= (1 - FEWEST / 81) / found[1:].sum()
            found[0] = FEWEST / 81
    return found


def _terms(digits: Floats, hand: Floats) -> tuple[Floats, Floats]:
    """Log terms of a given (81, 10) with column 0 unused, and of blank or entry (81, 10)."""
    share = np.log(shares(digits, hand))
    log_hand = -np.logaddexp(0.0, -hand)
    log_print = -np.logaddexp(0.0, hand)
    given = digits + log_print[:, None] + share[0] + math.log(9)
    given[:, 0] = -np.inf
    other = digits + log_hand[:, None] + share[1]
    other[:, 0] = digits[:, 0] + share[2]
    return given, other


def _line(givens: Ints) -> str:
    return "".join(".123456789"[d] for d in givens)


def _clashes(givens: Ints) -> bool:
    cells = np.flatnonzero(givens)
    rows, columns = cells // 9, cells % 9
    for house in (rows, columns, rows // 3 * 3 + columns // 3):
        keys = house * 10 + givens[cells]
        if len(np.unique(keys)) < len(keys):
            return True
    return False


def _entry_prior(solution: str | None) -> Floats:
    """Log π, shape (81, 10)."""
    if solution is None:
        return np.zeros((81, 10))
    prior = np.full((81, 10), math.log(9 * (1 - RIGHT) / 8))
    prior[np.arange(81), [int(d) for d in solution]] = math.log(9 * RIGHT)
    prior[:, 0] = 0.0
    return prior


@dataclass(frozen=True, eq=False)
class _World:
    givens: Ints
    weight: float
    cells: Floats  # log terms of blank or entry with their prior, (81, 10)
    proper: bool


class _Weigher:
    """Gives readings of the givens their exact weight, remembering what it has solved."""

    def __init__(self, given: Floats, other: Floats, solve: Solver) -> None:
        self.given, self.other, self.solve = given, other, solve
        self.solved = 0
        self.worlds: dict[bytes, _World] = {}
        # What the solver may have had in mind: None (nothing known) and complete grids, each with
        # the terms of blank and entry and their sums over what may stand in a cell.
        self.minds: dict[str | None, tuple[Floats, Floats]] = {}
        self.consider(None)

    def consider(self, solution: str | None) -> tuple[Floats, Floats]:
        """The terms of a cell without a given if this complete grid was aimed at."""
        if solution not in self.minds:
            cells = self.other + _entry_prior(solution)
            self.minds[solution] = cells, np.logaddexp.reduce(cells, axis=1)
        return self.minds[solution]

    def weigh(self, givens: Ints) -> _World:
        """The reading with its weight."""
        key = givens.astype(np.int8).tobytes()
        if key not in self.worlds:
            solution = None
            if not _clashes(givens):
                self.solved += 1
                solution = self.solve(_line(givens))
            self.worlds[key] = self._world(givens, solution)
        return self.worlds[key]

    def _world(self, givens: Ints, solution: str | None) -> _World:
        printed = givens > 0
        weight = float(self.given[np.flatnonzero(printed), givens[printed]].sum())
        if solution is not None:
            cells, free = self.consider(solution)
        else:
            weight -= math.log(PROPER_ODDS)
            cells, free = max(self.minds.values(), key=lambda mind: mind[1][~printed].sum())
        return _World(givens, weight + float(free[~printed].sum()), cells, solution is not None)

    def settle(self) -> list[_World]:
        """All readings, heaviest first; improper ones in the light of all grids considered."""
        for key, world in self.worlds.items():
            if not world.proper:
                self.worlds[key] = self._world(world.givens, None)
        return sorted(self.worlds.values(), key=lambda w: -w.weight)


def _best_first(costs: list[list[float]]) -> Iterator[tuple[float, tuple[int, ...]]]:
    """All choices of one option per list, by rising total cost; options sorted, first costs 0.

    Lawler's scheme: every choice is reached once, from the choice in which its last raised
    list stands one lower.
    """
    heap: list[tuple[float, tuple[int, ...], int]] = [(0.0, (0,) * len(costs), 0)]
    while heap:
        cost, choice, first = heapq.heappop(heap)
        yield cost, choice
        for at in range(first, len(costs)):
            up = choice[at] + 1
            if up < len(costs[at]):
                raised = cost - costs[at][choice[at]] + costs[at][up]
                heapq.heappush(heap, (raised, (*choice[:at], up, *choice[at + 1 :]), at))


@dataclass(frozen=True, eq=False)
class _Choices:
    """The uncertain cells and what each may hold (0: no given), cheapest first."""

    base: Ints
    ceiling: float  # no reading weighs more than this less its cost
    cells: list[int]
    costs: list[list[float]]
    picks: list[list[int]]

    def reading(self, choice: tuple[int, ...]) -> Ints:
        givens = self.base.copy()
        for cell, picks, at in zip(self.cells, self.picks, choice, strict=True):
            givens[cell] = picks[at]
        return givens


def _barred(base: Ints, certain: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Bool (81, 10): digits that clash with a given which nothing puts in doubt."""
    barred = np.zeros((81, 10), np.bool_)
    for cell in np.flatnonzero(certain & (base > 0)):
        barred[list(PEERS[cell]), base[cell]] = True
    return barred


def _choices(given: Floats, other: Floats, reach: float) -> _Choices:
    """What the uncertain cells may hold within ``reach`` nats of the best.

    Costs are admissible: an entry is credited with the best prior it could have. A given that
    clashes with a certain one is charged for the improper grid that it makes at once, so
    that proper readings come first (two such givens are charged twice, more than they weigh:
    the one place where the bound is not exact).
    """
    terms = given.copy()
    credit = np.full(10, math.log(9 * RIGHT))
    credit[0] = 0.0
    terms[:, 0] = np.logaddexp.reduce(other + credit, axis=1)
    base = terms.argmax(axis=1)
    certain = ((terms.max(axis=1)[:, None] - terms) <= reach).sum(axis=1) == 1
    terms -= np.where(_barred(base, certain), math.log(PROPER_ODDS), 0.0)
    order = np.argsort(-terms, axis=1, kind="stable")
    sorted_terms = np.take_along_axis(terms, order, axis=1)
    gaps = sorted_terms[:, :1] - sorted_terms
    near = gaps <= reach
    cells = [int(c) for c in np.flatnonzero(near.sum(axis=1) > 1)]
    return _Choices(
        order[:, 0].astype(np.int64),
        float(sorted_terms[:, 0].sum()),
        cells,
        [gaps[c][near[c]].tolist() for c in cells],
        [order[c][near[c]].tolist() for c in cells],
    )


def _search_givens(weigher: _Weigher, choices: _Choices) -> bool:
    """Weigh readings of the givens by falling promise; true if nothing left out can win."""
    best = max((w.weight for w in weigher.worlds.values()), default=-math.inf)
    for pops, (cost, choice) in enumerate(_best_first(choices.costs)):
        if choices.ceiling - cost < best - REACH:
            return True
        if weigher.solved >= MOST_SOLVED or pops >= 20 * MOST_SOLVED:
            return choices.ceiling - cost < best
        best = max(best, weigher.weigh(choices.reading(choice)).weight)
    return True


def _search_near_best(weigher: _Weigher, choices: _Choices) -> None:
    """Weigh every change of one cell of the best reading.

    A search cut short has not looked at all cells: what it did not look at would seem certain.
    """
    best = weigher.settle()[0].givens
    for cell, picks in zip(choices.cells, choices.picks, strict=True):
        for digit in picks[:3]:
            changed = best.copy()
            changed[cell] = digit
            weigher.weigh(changed)


def _fillings(given: Floats, other: Floats) -> tuple[list[Ints], npt.NDArray[np.bool_]]:
    """The likeliest complete grids, and where each digit would rather be printed, bool (81, 9)."""
    if_digit = np.empty((81, 9))
    printed = np.empty((81, 9), np.bool_)
    for digit in range(1, 10):
        free = np.logaddexp.reduce(other + _entry_prior(str(digit) * 81), axis=1)
        if_digit[:, digit - 1] = np.logaddexp(given[:, digit], free)
        # Where the hand is anyone's guess a given is the safer one: it can only add to what
        # makes the solution single.
        printed[:, digit - 1] = given[:, digit] > free - math.log(9 * RIGHT) - 1.0
    return best_fillings(if_digit)[0], printed


def _had_in_mind(base: Ints, other: Floats, solve: Solver) -> str | None:
    """The grid that a solver of a misprinted puzzle was filling in.

    Every given is left out in turn; of the solutions so found, the one that agrees best with
    what is written. None where leaving out one given doesn't help.
    """
    best: tuple[float, str] | None = None
    for cell in np.flatnonzero(base):
        left = base.copy()
        left[cell] = 0
        solution = None if _clashes(left) else solve(_line(left))
        if solution is not None:
            terms = np.logaddexp.reduce(other + _entry_prior(solution), axis=1)
            agrees = float(terms[left == 0].sum())
            best = max(best or (agrees, solution), (agrees, solution))
    return None if best is None else best[1]


def _propose(weigher: _Weigher) -> None:
    """Let the likeliest complete grids say what was printed."""
    grids, printed = _fillings(weigher.given, weigher.other)
    if grids:
        weigher.consider(_line(grids[0]))
    for grid in grids:
        weigher.weigh(np.where(printed[np.arange(81), grid - 1], grid, 0))


def _summed(weigher: _Weigher, complete: bool) -> Decoded:
    worlds = weigher.settle()
    worlds = [w for w in worlds if w.weight >= worlds[0].weight - 2 * REACH]
    weights = np.array([w.weight for w in worlds])
    chances = np.exp(weights - weights.max())
    chances /= chances.sum()
    given, other = np.zeros((81, 10)), np.zeros((81, 10))
    for world, chance in zip(worlds, chances, strict=True):
        printed = np.flatnonzero(world.givens)
        given[printed, world.givens[printed]] += chance
        blank = np.flatnonzero(world.givens == 0)
        cells = world.cells[blank]
        other[blank] += chance * np.exp(cells - np.logaddexp.reduce(cells, axis=1)[:, None])
    best = worlds[0]
    best_other = best.cells.argmax(axis=1)
    best_other[best.givens > 0] = 0
    pairs = tuple((w.givens, float(c)) for w, c in zip(worlds, chances, strict=True))
    return Decoded(
        given, other, best.givens, best_other.astype(np.int64), best.proper, complete, pairs
    )


def decode(digits: Floats, hand: Floats, solve: Solver) -> Decoded:
    """The most probable reading and every cell's posterior, under the model above.

    ``digits``: float64 (81, 10), calibrated log-probabilities, index 0 blank. ``hand``: float64
    (81,), log-odds that a mark is handwritten. ``solve``: see Solver; it is asked at most
    about twice MOST_SOLVED times.
    """
    given, other = _terms(digits, hand)
    weigher = _Weigher(given, other, solve)
    choices = _choices(given, other, math.log(PROPER_ODDS) + REACH)
    base = choices.reading((0,) * len(choices.cells))
    if not weigher.weigh(base).proper:
        if (other[base == 0].argmax(axis=1) > 0).sum() >= ENTRIES:
            weigher.consider(_had_in_mind(base, other, solve))
        if len(choices.cells) > FEW:
            _propose(weigher)
    complete = _search_givens(weigher, choices)
    if not complete:
        _search_near_best(weigher, choices)
    return _summed(weigher, complete)
