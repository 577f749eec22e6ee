r"""From single cells' scores to the most probable reading of the whole grid.

The model (ours). For cell i let q_i(d) be the classifier's chance of digit d (0: no big digit) and
h_i its chance that the mark is handwritten. A reading is a choice of givens g (g_i = 0: none
printed in cell i) and of entries e in the other cells. Its posterior is

    P(g, e | photo)  ∝  Ω(g) · ∏_{g_i ≠ 0} nφ q_i(g_i) (1 - h_i) · ∏_{g_i = 0} b_i(e_i) π(e_i | g)

    b_i(0) = β q_i(0),   b_i(d) = ε q_i(d) h_i
    φ, ε, β  the shares of givens, entries and blanks on this page, by EM (Dempster, Laird and
             Rubin, 1977) from the cells' own chances: a lone "entry" on a page on which
             nothing else is written had better be certain
    n        digits there are, nine on a newspaper's grid; for a given, as for a right entry below:
             a grid is thought of first, and what is printed follows from it
    Ω(g)   = 1 where g has exactly one solution, else 1 / PROPER_ODDS
    π(e|g) = 1 for a blank, nρ for e = s_i, n(1 - ρ)/(n - 1) for any other digit, where s is the
             solution of g, or, if g has not exactly one, the complete grid that the whole
             photo speaks for most: what the solver had in mind
    ρ        the share of this solver's entries that are right, unknown, Beta(A, 1) with mean RIGHT;
             the product over the entries is integrated over ρ, so that a page on which much is
             plainly right, or some plainly wrong, says so for its unclear entries as well

Ω is a prior with finite odds, not a law: misprints exist, and an improper reading that the ink
speaks for clearly wins. It compares *one* proper reading with *one* improper reading, hence
counts how much rarer proper ones are in the neighbourhood of a reading. π says that most
entries are right; it can never turn a clearly written digit into another one.
Given g the cells without givens are independent but for ρ, so entries are summed over in closed
form (the integral over ρ is a sum over RATES, points of equal weight) and only g is searched:
best first over the uncertain cells, until what is left cannot change the outcome. Where too
many cells are uncertain for that, complete grids s are searched instead, by branch and bound
over the same terms, and each s proposes its own g.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.vision.fill import best_fillings
from papernudge.vision.weigher import (
    PROPER_ODDS,
    WHOLE,
    Effort,
    Floats,
    Ints,
    Solver,
    Weigher,
    clashes,
    entry_prior,
    line_of,
)

FEW = 5
"""With more uncertain cells than this, complete grids are searched as well."""
ENTRIES = 6
"""Entries from which it is worth asking what the solver of a misprint had in mind."""
REACH = 6.0
"""Readings less probable than the best by this many nats are left out of the sums."""


@dataclass(frozen=True, eq=False)
class Decoded:
    """The joint posterior, summed up cell by cell.

    ``given``: float64 (N, n + 1), chance that digit d is printed in the cell (column 0: none is).
    ``other``: float64 (N, n + 1), chance that it is blank (column 0) or holds entry d. Each cell's
    chances add up to 1. ``best_given``, ``best_other``: int64 (N,), the most probable
    reading. ``proper``: whether its givens have exactly one solution. ``complete``: whether
    the search proved that no reading left out beats it (of those that aim at the same grid).
    ``ink``: float64 (N,), what the cell's own score gives for the digit read, or for blank;
    ``ink_hand``: the same for its being printed or handwritten, as read.
    ``worlds``: the readings of givens that were weighed, most probable first, with their chances.
    ``cost``: what the search took, in readings handed to the solver or what takes as long.
    """

    given: Floats
    other: Floats
    best_given: Ints
    best_other: Ints
    proper: bool
    complete: bool
    ink: Floats
    ink_hand: Floats
    worlds: tuple[tuple[Ints, float], ...]
    cost: int


def shares(digits: Floats, hand: Floats, layout: Layout = NEWSPAPER) -> Floats:
    """How much of the page is given, entry and blank: three shares that add up to 1.

    ``digits``: float64 (N, n + 1) log-probabilities; ``hand``: float64 (N,) log-odds. Starts even;
    a fifth of a cell of each kind is granted without being seen, and as many givens as a puzzle has
    at least.
    """
    least = layout.fewest / layout.many
    marked = np.logaddexp.reduce(digits[:, 1:], axis=1)
    kinds = np.column_stack(
        [marked - np.logaddexp(0.0, hand), marked - np.logaddexp(0.0, -hand), digits[:, 0]]
    )
    found = np.full(3, 1 / 3)
    for _ in range(30):
        chances = kinds + np.log(found)
        chances -= np.logaddexp.reduce(chances, axis=1)[:, None]
        found = (np.exp(chances).sum(axis=0) + 0.2) / (len(kinds) + 0.6)
        if found[0] < least:
            found[1:] *= (1 - least) / found[1:].sum()
            found[0] = least
    return found


def _terms(digits: Floats, hand: Floats, layout: Layout) -> tuple[Floats, Floats]:
    """Log terms of a given (N, n + 1) with column 0 unused, and of blank or entry (N, n + 1)."""
    share = np.log(shares(digits, hand, layout))
    log_hand = -np.logaddexp(0.0, -hand)
    log_print = -np.logaddexp(0.0, hand)
    given = digits + log_print[:, None] + share[0] + math.log(layout.side)
    given[:, 0] = -np.inf
    other = digits + log_hand[:, None] + share[1]
    other[:, 0] = digits[:, 0] + share[2]
    return given, other


def _best_first(costs: list[list[float]]) -> Iterator[tuple[float, tuple[int, ...]]]:
    """All choices of one option per list, by rising total cost; options sorted, first costs 0.

    Lawler's scheme: every choice is reached once. The lists are taken by the cost of their second
    option; a choice of which the last raised list stands at k leads to those in which it stands
    one higher, in which the next list is raised too, and in which that is raised in its stead.
    """
    yield 0.0, (0,) * len(costs)
    lists = sorted(
        (at for at in range(len(costs)) if len(costs[at]) > 1), key=lambda k: costs[k][1]
    )
    if not lists:
        return
    heap: list[tuple[float, tuple[tuple[int, int], ...]]] = [(costs[lists[0]][1], ((0, 1),))]
    while heap:
        cost, raised = heapq.heappop(heap)
        choice = [0] * len(costs)
        for place, option in raised:
            choice[lists[place]] = option
        yield cost, tuple(choice)
        (place, option), kept = raised[-1], raised[:-1]
        own = costs[lists[place]]
        if option + 1 < len(own):
            heapq.heappush(
                heap, (cost - own[option] + own[option + 1], (*kept, (place, option + 1)))
            )
        if place + 1 < len(lists):
            after = costs[lists[place + 1]][1]
            heapq.heappush(heap, (cost + after, (*raised, (place + 1, 1))))
            if option == 1:
                heapq.heappush(heap, (cost - own[1] + after, (*kept, (place + 1, 1))))


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


def _barred(base: Ints, certain: npt.NDArray[np.bool_], layout: Layout) -> npt.NDArray[np.bool_]:
    """Bool (N, n + 1): digits that clash with a given which nothing puts in doubt."""
    barred = np.zeros((layout.many, layout.side + 1), np.bool_)
    for cell in np.flatnonzero(certain & (base > 0)):
        barred[list(layout.peers[cell]), base[cell]] = True
    return barred


def _choices(given: Floats, free: Floats, reach: float, layout: Layout) -> _Choices:
    """What the uncertain cells may hold within ``reach`` nats of the best.

    ``free``: float64 (N,), log-weight of each cell without a given. A given that
    clashes with a certain one is charged for the improper grid that it makes at once, so
    that proper readings come first (two such givens are charged twice, more than they weigh:
    the one place where the bound is not exact).
    """
    terms = given.copy()
    terms[:, 0] = free
    base = terms.argmax(axis=1)
    certain = ((terms.max(axis=1)[:, None] - terms) <= reach).sum(axis=1) == 1
    terms -= np.where(_barred(base, certain, layout), math.log(PROPER_ODDS), 0.0)
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


def _hopeful(other: Floats) -> Floats:
    """The most that a cell without a given could weigh, (N,): whatever is written is right."""
    credit = np.full(other.shape[1], math.log(other.shape[1] - 1))
    credit[0] = 0.0
    return np.asarray(np.logaddexp.reduce(other + credit, axis=1))


def _search_givens(weigher: Weigher, choices: _Choices) -> bool:
    """Weigh readings of the givens by falling promise; true if nothing left out can win."""
    best = max((w.weight for w in weigher.worlds.values()), default=-math.inf)
    for pops, (cost, choice) in enumerate(_best_first(choices.costs)):
        if choices.ceiling - cost < best - REACH:
            return True
        if weigher.solved >= weigher.effort.solved or pops >= weigher.effort.weighed:
            return choices.ceiling - cost < best
        best = max(best, weigher.weigh(choices.reading(choice)).weight)
    return True


def _search_around(weigher: Weigher) -> bool:
    """The same where a good reading is known: all readings that share its complete grid.

    What its entries weigh is known then, not merely bounded: so the search ends soon. If it finds
    a better one that aims at another grid, it searches around that.
    """
    complete = False
    for _ in range(3):
        best = weigher.best()
        mind = weigher.minds[best.aim]
        rates = mind.weights((best.givens == 0)[None])[0]
        free = mind.free[int(rates.argmax())]
        choices = _choices(weigher.given, free, math.log(PROPER_ODDS) + REACH, weigher.layout)
        complete = _search_givens(weigher, choices)
        if not complete:
            _search_near_best(weigher, choices)
        if weigher.best().aim == best.aim:
            break
    return complete


def _search_near_best(weigher: Weigher, choices: _Choices) -> None:
    """Weigh every change of one cell of the best reading.

    A search cut short has not looked at all cells: what it did not look at would seem certain.
    """
    best = weigher.best().givens
    for cell, picks in zip(choices.cells, choices.picks, strict=True):
        for digit in picks[:3]:
            changed = best.copy()
            changed[cell] = digit
            weigher.weigh(changed)


def _fillings(weigher: Weigher) -> tuple[list[Ints], npt.NDArray[np.bool_]]:
    """The likeliest complete grids, and where each digit would rather be printed, bool (N, n)."""
    given, other, layout = weigher.given, weigher.other, weigher.layout
    if_digit = np.empty((layout.many, layout.side))
    printed = np.empty_like(if_digit, np.bool_)
    for digit in layout.digits:
        prior = entry_prior(layout.symbols[digit - 1] * layout.many, layout)
        free = np.logaddexp.reduce(other + prior, axis=1)
        if_digit[:, digit - 1] = np.logaddexp(given[:, digit], free)
        # Where the hand is anyone's guess a given is the safer one: it can only add to what
        # makes the solution single.
        printed[:, digit - 1] = given[:, digit] > free - prior[:, digit] - 1.0
    grids, _, nodes = best_fillings(if_digit, most_nodes=weigher.effort.nodes, layout=layout)
    weigher.nodes += nodes
    return grids, printed


def _had_in_mind(base: Ints, weigher: Weigher) -> str | None:
    """The grid that a solver of a misprinted puzzle was filling in.

    Every given is left out in turn; of the solutions so found, the one that agrees best with
    what is written. None where leaving out one given doesn't help.
    """
    other, layout = weigher.other, weigher.layout
    best: tuple[float, str] | None = None
    for cell in np.flatnonzero(base):
        left = base.copy()
        left[cell] = 0
        solution = None
        if not clashes(left, layout):
            solution = weigher.solve(line_of(left, layout), layout)
        if solution is not None:
            terms = np.logaddexp.reduce(other + entry_prior(solution, layout), axis=1)
            agrees = float(terms[left == 0].sum())
            best = max(best or (agrees, solution), (agrees, solution))
    return None if best is None else best[1]


def _propose(weigher: Weigher) -> None:
    """Let the likeliest complete grids say what was printed."""
    grids, printed = _fillings(weigher)
    if grids:
        weigher.aim_at(line_of(grids[0], weigher.layout))
    for grid in grids:
        weigher.weigh(np.where(printed[np.arange(len(grid)), grid - 1], grid, 0))


def _summed(weigher: Weigher, complete: bool, digits: Floats, hand: Floats) -> Decoded:
    """The readings weighed, cell by cell; ``digits`` and ``hand``: as of :func:`decode`."""
    worlds = weigher.settle()
    worlds = [w for w in worlds if w.weight >= worlds[0].weight - 2 * REACH]
    weights = np.array([w.weight for w in worlds])
    chances = np.exp(weights - weights.max())
    chances /= chances.sum()
    given, other = np.zeros_like(digits), np.zeros_like(digits)
    for aim in dict.fromkeys(w.aim for w in worlds):
        held = [n for n, w in enumerate(worlds) if w.aim == aim]
        blank = np.array([worlds[n].givens == 0 for n in held])
        other += weigher.minds[aim].summed(blank, chances[held])
    for world, chance in zip(worlds, chances, strict=True):
        cells = np.flatnonzero(world.givens)
        given[cells, world.givens[cells]] += chance
    best = worlds[0]
    blank = best.givens == 0
    best_other = weigher.minds[best.aim].summed(blank[None], np.ones(1)).argmax(axis=1)
    best_other[~blank] = 0
    read = np.maximum(best.givens, best_other)
    for_it = np.where(blank, hand, -hand)  # log-odds of the hand that it is read as
    return Decoded(
        given,
        other,
        best.givens,
        best_other.astype(np.int64),
        best.proper,
        complete,
        np.exp(digits[np.arange(len(read)), read]),
        np.where(read > 0, 1 / (1 + np.exp(-for_it)), 1.0),
        tuple((w.givens, float(c)) for w, c in zip(worlds, chances, strict=True)),
        weigher.cost,
    )


def decode(
    digits: Floats,
    hand: Floats,
    solve: Solver,
    effort: Effort = WHOLE,
    layout: Layout = NEWSPAPER,
) -> Decoded:
    """The most probable reading and every cell's posterior, under the model above.

    ``digits``: float64 (N, n + 1), calibrated log-probabilities, index 0 blank. ``hand``: float64
    (N,), log-odds that a mark is handwritten. ``solve``: see Solver; it is asked at most
    about twice as often as ``effort`` says.
    """
    return _summed(*_searched(digits, hand, solve, effort, layout), digits, hand)


def _searched(
    digits: Floats, hand: Floats, solve: Solver, effort: Effort, layout: Layout
) -> tuple[Weigher, bool]:
    """Weighs readings of the givens, and whether none left out can beat them."""
    given, other = _terms(digits, hand, layout)
    weigher = Weigher(given, other, solve, effort, layout)
    choices = _choices(given, _hopeful(other), math.log(PROPER_ODDS) + REACH, layout)
    base = choices.reading((0,) * len(choices.cells))
    if weigher.weigh(base).proper:
        return weigher, _search_around(weigher)
    entries, givens = (other[base == 0].argmax(axis=1) > 0).sum(), np.count_nonzero(base)
    if entries >= ENTRIES and givens <= weigher.effort.solved:
        weigher.aim_at(_had_in_mind(base, weigher))
    if len(choices.cells) > FEW:
        _propose(weigher)
    complete = _search_givens(weigher, choices)
    if not complete or weigher.best().proper:
        complete = _search_around(weigher)
    return weigher, complete
