"""The one home of generators for the hint tests: positions, and the grid's symmetries."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from random import Random

from hypothesis import strategies as st

from papernudge.hints import Position, solve
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import HOUSES, candidate, candidate_pairs, cells_mask, members
from papernudge.hints.line import Line
from papernudge.hints.looks import Read, Scan, Sight


@dataclass(frozen=True)
class Symmetry:
    """Where each cell goes (81 cells) and which digit each becomes (index 0 unused)."""

    cells: tuple[int, ...]
    digits: tuple[int, ...]

    def line(self, line: str) -> str:
        marks = ["."] * 81
        for cell, mark in enumerate(line):
            if mark != ".":
                marks[self.cells[cell]] = str(self.digits[int(mark)])
        return "".join(marks)

    def cell_set(self, cells: int) -> int:
        return cells_mask(self.cells[c] for c in members(cells))

    def digit_set(self, digits: int) -> int:
        return sum(1 << (self.digits[b + 1] - 1) for b in members(digits))

    def house(self, house: int) -> int:
        return HOUSES.index(self.cell_set(HOUSES[house]))

    def candidates(self, mask: int) -> int:
        return sum(candidate(self.cells[c], self.digits[d]) for c, d in candidate_pairs(mask))

    def read(self, read: Read) -> Read:
        if isinstance(read, Scan):
            places = self.cell_set(read.places & HOUSES[read.house])
            return Scan(self.digits[read.digit], self.house(read.house), places)
        return Sight(self.cells[read.cell], self.digit_set(read.digits))

    def key(self, line: Line) -> object:
        """What a line is, carried over: what it writes, what each step asks and strikes."""
        return (
            line.price,
            frozenset((self.cells[c], self.digits[d]) for c, d in line.places),
            frozenset(
                (
                    step.technique,
                    frozenset(self.read(r) for r in step.asked),
                    self.candidates(step.ruled_out),
                )
                for step in line.steps
            ),
        )


SAME = Symmetry(tuple(range(81)), tuple(range(10)))


def symmetry(random: Random) -> Symmetry:
    """Any of the grid's symmetries: lines and bands exchanged, turned, mirrored, relabelled."""

    def order() -> list[int]:
        bands = random.sample(range(3), 3)
        return [3 * band + k for band in bands for k in random.sample(range(3), 3)]

    rows, columns, mirrored = order(), order(), random.random() < 0.5
    cells = []
    for cell in range(81):
        row, column = rows[cell // 9], columns[cell % 9]
        cells.append(9 * column + row if mirrored else 9 * row + column)
    return Symmetry(tuple(cells), (0, *random.sample(range(1, 10), 9)))


def symmetries() -> st.SearchStrategy[Symmetry]:
    return st.integers(0, 2**32).map(lambda seed: symmetry(Random(seed)))


@cache
def _base(seed: int, givens: int) -> str:
    return puzzle(seed, givens)


def puzzles() -> st.SearchStrategy[str]:
    """Proper puzzles of our own, from sparse to generous: some that are made once a run, lying in
    any way and with any digits, since making one takes longer than most of what is tried on it.
    """
    bases = st.builds(_base, st.integers(100, 150), st.sampled_from([25, 28, 32]))
    return st.builds(lambda line, way: way.line(line), bases, symmetries())


@st.composite
def positions(draw: st.DrawFn) -> Position:
    """A proper puzzle with some of its digits written in."""
    line = draw(puzzles())
    solution = solve(line)
    assert solution is not None
    random = Random(draw(st.integers(0, 2**32)))
    blanks = [c for c in range(81) if line[c] == "."]
    written = set(random.sample(blanks, random.randrange(len(blanks))))
    return Position.of(line, "".join(solution[c] if c in written else "." for c in range(81)))
