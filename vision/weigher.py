"""Readings of the givens and what each weighs, by the model of :mod:`papernudge.vision.decode`."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import NEWSPAPER, Layout

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Solver = Callable[[str, Layout], str | None]
"""A line and its board to the only solution, None where there is not exactly one."""

PROPER_ODDS = 1.0e3
RIGHT = 0.9
"""Mean of ρ before anything is seen: worth nine right entries and a wrong one."""
RATES: Floats = ((np.arange(16) + 0.5) / 16) ** ((1 - RIGHT) / RIGHT)
"""Values of ρ, each as likely as any other: quantiles of Beta(A, 1), A = RIGHT / (1 - RIGHT)."""


@dataclass(frozen=True)
class Effort:
    """How much may be searched for one grid: bounds the time on nonsense.

    ``solved``: readings handed to the solver; ``weighed``: readings weighed in one search;
    ``nodes``: branchings on the way to complete grids. A photo that can be read takes one of the
    first, seldom fifteen.
    """

    solved: int
    weighed: int
    nodes: int

    def on(self, layout: Layout) -> Effort:
        """As much on a larger board: there is more to be weighed, and to solve takes longer, by the
        square of its cells about.
        """
        if not _is_large(layout):
            return self
        more = layout.many / NEWSPAPER.many
        solved, nodes = round(self.solved / more**2), round(self.nodes / more)
        return Effort(max(1, solved), round(self.weighed * more), nodes)


WHOLE, LITTLE = Effort(120, 200, 1500), Effort(12, 20, 150)


def _is_large(layout: Layout) -> bool:
    return layout.many > NEWSPAPER.many


def line_of(givens: Ints, layout: Layout) -> str:
    """The line of givens (N,), 0 for none."""
    marks = f".{layout.symbols}"
    return "".join(marks[d] for d in givens)


def clashes(givens: Ints, layout: Layout) -> bool:
    """Whether two givens (N,) of a house are alike."""
    seen: set[int] = set()
    step = layout.side + 1
    cells = np.flatnonzero(givens)
    for cell, digit in zip(cells.tolist(), givens[cells].tolist(), strict=True):
        for house in layout.houses_of[cell]:
            key = step * house + digit
            if key in seen:
                return True
            seen.add(key)
    return False


def entry_prior(solution: str, layout: Layout) -> Floats:
    """Log π, shape (N, n + 1)."""
    side = layout.side
    prior = np.full((layout.many, side + 1), math.log(side * (1 - RIGHT) / (side - 1)))
    prior[np.arange(layout.many), layout.read(solution)] = math.log(side * RIGHT)
    prior[:, 0] = 0.0
    return prior


@dataclass(frozen=True, eq=False)
class Mind:
    """A complete grid that the solver may have had in mind, and what it makes of the entries.

    A cell without a given holds e with weight exp(most) · ink · (base + ρ · slope), the last three
    (N, n + 1), ``most`` (N,); ``free``: the log of its sum over e by ρ and cell, (R, N).
    """

    ink: Floats
    base: Floats
    slope: Floats
    most: Floats
    free: Floats

    @classmethod
    def of(cls, solution: str | None, other: Floats, layout: Layout) -> Mind:
        """``solution``: its line, or None where nothing is known of it."""
        base, slope = np.ones_like(other), np.zeros_like(other)
        if solution is not None:
            side = layout.side
            base[:, 1:], slope[:, 1:] = side / (side - 1), -side / (side - 1)
            aimed = np.arange(len(other)), layout.read(solution)
            base[aimed], slope[aimed] = 0.0, float(side)
        most = other.max(axis=1)
        ink = np.exp(other - most[:, None])
        sums = (ink * base).sum(axis=1) + RATES[:, None] * (ink * slope).sum(axis=1)
        return cls(ink, base, slope, most, np.log(np.maximum(sums, 1e-300)) + most)

    def weights(self, blank: npt.NDArray[np.bool_]) -> Floats:
        """Log-weight by ρ of the cells without a given, (W, R), for ``blank`` (W, N)."""
        return np.asarray(blank @ self.free.T - math.log(len(RATES)))

    def summed(self, blank: npt.NDArray[np.bool_], chances: Floats) -> Floats:
        """What stands in the blank cells, (N, n + 1), summed over W readings with these chances."""
        rates = self.weights(blank)
        rates = np.exp(rates - np.logaddexp.reduce(rates, axis=1)[:, None])
        top = self.free.max(axis=0)
        shrunk = np.exp(top - self.free)
        weighed = blank * chances[:, None]
        flat = (weighed * (rates @ shrunk)).sum(axis=0)
        steep = (weighed * ((rates * RATES) @ shrunk)).sum(axis=0)
        cells = self.ink * (self.base * flat[:, None] + self.slope * steep[:, None])
        # Whatever ρ is, a cell's chances add up to one: so the divisor is known.
        return np.asarray(cells * np.exp(self.most - top)[:, None])


@dataclass(frozen=True, eq=False)
class World:
    """A reading of the givens. ``printed``: their log-weight; ``aim``: the key of its mind."""

    givens: Ints
    printed: float
    weight: float
    aim: str | None
    proper: bool


class Weigher:
    """Gives readings of the givens their exact weight, remembering what it has solved."""

    def __init__(
        self, given: Floats, other: Floats, solve: Solver, effort: Effort, layout: Layout
    ) -> None:
        self.given, self.other, self.effort = given, other, effort.on(layout)
        self.solve, self.layout, self.fewest = solve, layout, layout.fewest
        self.most = 2 * self.effort.solved if _is_large(layout) else math.inf
        self.solved, self.nodes = 0, 0
        self.worlds: dict[bytes, World] = {}
        self.proper: list[tuple[Ints, Ints, str]] = []  # cells, givens and solution
        # None (nothing known) and complete grids.
        self.minds: dict[str | None, Mind] = {}
        self.consider(None)
        self.aims: list[str | None] = [None]

    @property
    def cost(self) -> int:
        """What was done so far, in readings solved: ten weighed or twenty branchings take about as
        long as one.
        """
        return self.solved + len(self.worlds) // 10 + self.nodes // 20

    def consider(self, solution: str | None) -> Mind:
        """What the entries say if this complete grid was aimed at; None: nothing is known of it."""
        if solution not in self.minds:
            self.minds[solution] = Mind.of(solution, self.other, self.layout)
        return self.minds[solution]

    def aim_at(self, solution: str | None) -> None:
        """Also weigh misprinted readings as if this grid had been in the solver's mind."""
        if solution not in self.aims:
            self.consider(solution)
            self.aims.append(solution)

    def weigh(self, givens: Ints) -> World:
        """The reading with its weight."""
        key = givens.astype(np.int8).tobytes()
        if key not in self.worlds:
            self.worlds[key] = self._world(givens, self._solution(givens))
        return self.worlds[key]

    def _solution(self, givens: Ints) -> str | None:
        """The only solution, None where there is not exactly one.

        Givens added to a proper puzzle leave its solution alone, or leave none at all: that needs
        no solving.
        """
        for cells, fewer, solution in self.proper:
            if (givens[cells] == fewer).all():
                more = np.flatnonzero(givens).tolist()
                grid = self.layout.read(solution)
                fits = all(grid[c] == givens[c] for c in more)
                return solution if fits else None
        if clashes(givens, self.layout):
            return None
        self.solved += 1
        if np.count_nonzero(givens) < self.fewest:
            return None
        if self.solved > self.most:
            return self._presumed(givens)
        found = self.solve(line_of(givens, self.layout), self.layout)
        if found is not None and len(self.proper) < 8:
            cells = np.flatnonzero(givens)
            self.proper.append((cells, givens[cells], found))
        return found

    def _presumed(self, givens: Ints) -> str | None:
        """The known solution that agrees with what is left unsolved, which may well be proper:
        better a question too many.
        """
        for _, _, solution in self.proper:
            grid = np.array(self.layout.read(solution))
            if ((givens == 0) | (givens == grid)).all():
                return solution
        return None

    def _world(self, givens: Ints, solution: str | None) -> World:
        cells = np.flatnonzero(givens)
        printed = float(self.given[cells, givens[cells]].sum())
        if solution is None:
            printed -= math.log(PROPER_ODDS)
        elif not self.aims[1:]:
            self.aims.append(solution)
        blank = (givens == 0)[None]
        free = {
            aim: float(np.logaddexp.reduce(self.consider(aim).weights(blank)[0]))
            for aim in ([solution] if solution is not None else self.aims)
        }
        best = max(free, key=lambda aim: free[aim])
        return World(givens, printed, printed + free[best], best, solution is not None)

    def best(self) -> World:
        """The heaviest reading, misprints in the light of all grids considered so far."""
        return self.settle()[0]

    def settle(self) -> list[World]:
        """All readings, heaviest first; misprints in the light of all grids considered."""
        loose = [key for key, world in self.worlds.items() if not world.proper]
        if loose:
            blank = np.array([self.worlds[key].givens == 0 for key in loose])
            aims = list(self.minds)
            free = np.column_stack(
                [np.logaddexp.reduce(self.minds[aim].weights(blank), axis=1) for aim in aims]
            )
            for key, row, at in zip(loose, free, free.argmax(axis=1).tolist(), strict=True):
                world = self.worlds[key]
                self.worlds[key] = replace(
                    world, weight=world.printed + float(row[at]), aim=aims[at]
                )
        return sorted(self.worlds.values(), key=lambda w: -w.weight)
