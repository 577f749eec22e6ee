"""How long an ordinary solver takes: minutes, fitted on people.

The minutes are those of the people in one data set, those of them who finished: 755 puzzles with
mean solving times (S.-W. Wang, "A Dataset of Sudoku Puzzles With Difficulty Metrics Experienced by
Human Players", IEEE Access 12, 2024, CC0). The features come from solving in *waves*: everything
that can be seen at a time is written at once, so none of them depends on the order in which equals
are taken, nor on how the grid is turned or labelled. ``tests/hints/bench_grade.py`` fits the
weights anew and prints how well they predict puzzles that they were not fitted on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import exp, log
from typing import Any

from papernudge.hints.board import Board
from papernudge.hints.geometry import Cell, Digit
from papernudge.hints.looks import Scan
from papernudge.hints.position import Fault, Position
from papernudge.hints.search import Search
from papernudge.hints.techniques.singles import hidden_singles, last_blanks, naked_singles
from papernudge.hints.walk import Walk, walk

Place = tuple[Cell, Digit]

WEIGHTS: Mapping[str, float] = {
    "base": -0.1802,
    "scarcity": 1.0087,
    "waves": 0.3279,
    "blanks": 0.0187,
    "no block": 0.0286,
    "no place": 0.0733,
    "reasoning": 0.1043,
}
"""Our fitted numbers: log minutes = base + the sum of weight times feature."""

SPREAD = (-0.296, 0.319)
"""Four of five puzzles took between these powers of e times the minutes expected."""

EARLY = 25
"""Scarcity is felt over the first so many digits."""


@dataclass(frozen=True, slots=True)
class Grade:
    """What to expect of a puzzle.

    ``minutes``: of an ordinary solver who finishes; ``minutes_range``: where four of five puzzles
    of this expectation lie. ``looks``: of the walk; ``hardest``: the technique of its dearest
    line; ``steps``: its lines. ``solved``: whether named reasons carry it to the end.
    """

    minutes: float
    minutes_range: tuple[float, float]
    looks: int
    hardest: str
    steps: int
    solved: bool

    def to_json(self) -> dict[str, Any]:
        """Minutes to a tenth, looks, hardest, steps."""
        return {
            "minutes": round(self.minutes, 1),
            "minutes_range": [round(end, 1) for end in self.minutes_range],
            "looks": self.looks,
            "hardest": self.hardest,
            "steps": self.steps,
        }


def grade(givens: str, walked: Walk | None = None) -> Grade:
    """The grade of a puzzle. ``walked``: its walk, if it is at hand.

    ValueError if the givens are malformed or don't have exactly one solution.
    """
    position = Position.of(givens)
    if position.solution is None:
        many = Fault.MANY_SOLUTIONS in position.given_faults
        raise ValueError(
            "expected givens with exactly one solution to grade, got givens with "
            f"{'several' if many else 'none'}; check the digits"
        )
    walked = walked or walk(position)
    expected = sum(WEIGHTS[name] * value for name, value in features(position).items())
    low, high = SPREAD
    dearest = max(walked.lines, key=lambda line: line.price, default=None)
    return Grade(
        exp(expected),
        (exp(expected + low), exp(expected + high)),
        walked.looks,
        dearest.technique if dearest else "none",
        len(walked.lines),
        walked.solved,
    )


def features(position: Position) -> dict[str, float]:
    """What the minutes are predicted from.

    ``scarcity``: mean of 1 / (hidden singles in sight + 0.7) over the first digits, where hidden
    singles in blocks are written before others; ``no block``, ``no place``: waves of that solve
    without a hidden single in a block, or in any house; ``reasoning``: log of 1 + the looks of
    lines that need eliminations; ``waves``: log of the number of waves when hidden singles of
    blocks and lines count alike; ``blanks``: cells to fill.
    """
    waves = list(_waves(position, by_block=True))
    early = [1 / (wave.hidden + 0.7) for wave in waves for _ in range(wave.written)][:EARLY]
    return {
        "base": 1.0,
        "scarcity": sum(early) / len(early) if early else 0.0,
        "waves": log(max(1, sum(1 for _ in _waves(position, by_block=False)))),
        "blanks": float(position.blank.bit_count()),
        "no block": float(sum(wave.looks == 0 and wave.in_blocks == 0 for wave in waves)),
        "no place": float(sum(wave.looks == 0 and wave.hidden == 0 for wave in waves)),
        "reasoning": log(1 + sum(wave.looks for wave in waves)),
    }


@dataclass(frozen=True, slots=True)
class _Wave:
    """Digits written at once: how many, how many hidden singles there were in all and in blocks,
    and the looks of the line if there was no single (else 0).
    """

    written: int
    hidden: int
    in_blocks: int
    looks: int


def _waves(position: Position, by_block: bool) -> Iterator[_Wave]:
    """Solve by waves: hidden singles (of blocks before others, if asked), else naked ones, else all
    cheapest lines of reasoning.
    """
    while position.blank:
        board = Board.of(position)
        blocks, hidden = _hidden(board)
        looks = 0
        chosen = (blocks if by_block else hidden) or hidden
        chosen = chosen or {place for single in naked_singles(board) for place in single.places}
        if not chosen:
            found = Search(board).run()
            chosen = {place for line in found for place in line.deduction.places}
            looks = found[0].price if found else 0
        if not chosen:
            return
        yield _Wave(len(chosen), len(hidden), len(blocks), looks)
        for cell, digit in chosen:
            position = position.with_digit(cell, digit)


def _hidden(board: Board) -> tuple[set[Place], set[Place]]:
    """The hidden singles of blocks, and those of all houses."""
    blocks, anywhere = set[Place](), set[Place]()
    for single in (*last_blanks(board), *hidden_singles(board)):
        read = single.reads[0]
        anywhere.add(single.places[0])
        if isinstance(read, Scan) and read.house >= 18:
            blocks.add(single.places[0])
    return blocks, anywhere
