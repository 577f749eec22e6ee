"""How long an ordinary solver takes: minutes, fitted on people.

The minutes are those of the people in one data set, those of them who finished: 755 puzzles with
mean solving times (S.-W. Wang, "A Dataset of Sudoku Puzzles With Difficulty Metrics Experienced by
Human Players", IEEE Access 12, 2024, CC0). The features come from solving in *waves*: everything
that can be seen at a time is written at once, so none of them depends on the order in which equals
are taken, nor on how the grid is turned or labelled. People go about it in different ways, so four
ways of choosing what is seen (``Manner``) are walked. ``tests/hints/bench_grade.py`` fits the
weights anew and prints how well they predict puzzles that they were not fitted on.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from functools import cached_property
from math import exp, log
from typing import Any, NamedTuple

from papernudge.hints.board import Board
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.line import Line
from papernudge.hints.looks import PATTERN, Sight, scan_looks, single_looks
from papernudge.hints.masks import DIGITS_IN, VALUES, Cell, Cells, Digit, House
from papernudge.hints.position import Fault, Position
from papernudge.hints.registry import NEEDED
from papernudge.hints.search import FAR, cheapest_lines
from papernudge.hints.walk import Walk, cheapest_solve

Place = tuple[Cell, Digit]

WEIGHTS: Mapping[str, float] = {
    "base": 0.0202,
    "scarcity": 0.5910,
    "waves": 0.2265,
    "blanks": 0.0186,
    "no block": 0.0135,
    "no place": 0.0347,
    "reasoning": 0.0730,
    "blocks scarce at first": 0.1563,
    "blocks scarce in view": 0.4216,
    "blocks scarce step by step": 0.2083,
    "least looks": -0.0736,
    "narrowest": 0.0128,
    "one or two ways": -0.0102,
    "pairs": 0.0038,
}
"""Our fitted numbers: log minutes = base + the sum of weight times feature. Which features to take
was found on the same puzzles; they overlap, so a single weight says little."""

SPREAD: Sequence[tuple[float, float, float]] = (
    (1.580, -0.260, 0.195),
    (1.696, -0.271, 0.316),
    (1.803, -0.263, 0.313),
    (1.958, -0.305, 0.370),
    (2.302, -0.407, 0.588),
)
"""Where expected log minutes are so, four of five puzzles took between these powers of e times the
minutes expected; between two of these rows evenly, beyond the outer ones as they say."""

EARLY = 25
"""Scarcity is felt over the first so many digits."""

TRIED = FAR + PATTERN
"""A line that costs more is not looked for: people try digits there. As far as this nothing that is
found depends on the order of cells and digits; nets, which come later, do."""

RATE = 0.25
"""A way to write a digit is noticed at a rate of exp(-RATE times its looks): fitted together with
the looks, see ``papernudge.hints.looks``."""


@dataclass(frozen=True, slots=True)
class Grade:
    """What to expect of a puzzle.

    ``minutes``: of an ordinary solver who finishes; ``minutes_range``: where four of five puzzles
    of this expectation lie. ``looks``: of the walk; ``hardest``: the technique of its dearest
    line; ``steps``: its lines; ``needs``: every technique that one of its steps uses, the plain
    ones first. ``solved``: whether named reasons carry it to the end.
    """

    minutes: float
    minutes_range: tuple[float, float]
    looks: int
    hardest: str
    steps: int
    solved: bool
    needs: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Minutes to a tenth, looks, hardest, steps, needs."""
        return {
            "minutes": round(self.minutes, 1),
            "minutes_range": [round(end, 1) for end in self.minutes_range],
            "looks": self.looks,
            "hardest": self.hardest,
            "steps": self.steps,
            "needs": list(self.needs),
        }


@dataclass(frozen=True, slots=True)
class Effort:
    """What of a grade can be told of any board: people's times are known of newspaper grids only.
    The fields are those of :class:`Grade`.
    """

    looks: int
    hardest: str
    steps: int
    solved: bool
    needs: tuple[str, ...] = ()


def effort(givens: str, layout: Layout = NEWSPAPER, walked: Walk | None = None) -> Effort:
    """What a puzzle of any board takes. ``walked``: its walk, if it is at hand.

    ValueError if the givens are malformed or don't have exactly one solution.
    """
    return _effort(_proper(givens, layout), walked)


def grade(givens: str, walked: Walk | None = None) -> Grade:
    """The grade of a newspaper's puzzle. ``walked``: its walk, if it is at hand.

    ValueError if the givens are malformed or don't have exactly one solution.
    """
    position = _proper(givens, NEWSPAPER)
    taken = _effort(position, walked)
    expected = sum(WEIGHTS[name] * value for name, value in features(position).items())
    low, high = spread(expected)
    return Grade(
        exp(expected),
        (exp(expected + low), exp(expected + high)),
        taken.looks,
        taken.hardest,
        taken.steps,
        taken.solved,
        taken.needs,
    )


def _proper(givens: str, layout: Layout) -> Position:
    position = Position.of(givens, layout=layout)
    if position.solution is None:
        many = Fault.MANY_SOLUTIONS in position.given_faults
        raise ValueError(
            "expected givens with exactly one solution to grade, got givens with "
            f"{'several' if many else 'none'}; check the digits"
        )
    return position


def _effort(position: Position, walked: Walk | None) -> Effort:
    lines = walked.lines if walked else tuple(cheapest_solve(position))
    dearest = max(lines, key=lambda line: line.price, default=None)
    return Effort(
        sum(line.looks for line in lines),
        dearest.technique if dearest else "none",
        len(lines),
        sum(len(line.places) for line in lines) == position.blank.bit_count(),
        needs(lines),
    )


def needs(lines: Iterable[Line]) -> tuple[str, ...]:
    """Every technique that a step of a solve uses, in the order in which drills list them."""
    used = {step.technique for line in lines for step in line.steps}
    return tuple(name for name in NEEDED if name in used)


def spread(expected: float) -> tuple[float, float]:
    """From and to where four of five lie, as powers of e, where log minutes are so expected."""
    before = SPREAD[0]
    for row in SPREAD:
        if expected <= row[0]:
            share = (expected - before[0]) / (row[0] - before[0]) if row is not before else 0.0
            return (
                before[1] + share * (row[1] - before[1]),
                before[2] + share * (row[2] - before[2]),
            )
        before = row
    return before[1:]


class Manner(Enum):
    """What is written at once."""

    BLOCKS = "what has one place in a block; else in a line; else one digit in a cell"
    PLACES = "what has one place in any house; else one digit in a cell"
    IN_VIEW = "what is noticed at half the rate of the easiest, or more"
    STEP_BY_STEP = "what takes as few looks as the easiest"


@dataclass(frozen=True, slots=True)
class _Way:
    """A digit that can be written: whether by a block, by any house, and its least looks."""

    by_block: bool
    by_house: bool
    looks: float


@dataclass(frozen=True)
class _Ways:
    """All digits that can be written without an elimination. What is asked of them is worked out
    once: four manners come by the same boards.
    """

    each: Mapping[Place, _Way]

    @cached_property
    def in_blocks(self) -> list[Place]:
        """Those that can be written by a block."""
        return [place for place, way in self.each.items() if way.by_block]

    @cached_property
    def hidden(self) -> list[Place]:
        """Those that can be written by a house."""
        return [place for place, way in self.each.items() if way.by_house]

    @cached_property
    def wait(self) -> float:
        """How long it takes until one is noticed, 1 over the sum of all rates."""
        return 1 / sum(exp(-RATE * way.looks) for way in self.each.values())

    @cached_property
    def least(self) -> float:
        """The looks of the easiest."""
        return min(way.looks for way in self.each.values())


@dataclass(frozen=True, slots=True)
class _Wave:
    """Digits written at once: how many, and all ways there were; the price of the line if there was
    none (else 0).
    """

    written: int
    ways: _Ways
    price: int


def features(position: Position) -> dict[str, float]:
    """What the minutes are predicted from.

    ``scarcity``: mean of 1 / (digits with one place in sight + 0.7) over the first digits, blocks
    first; ``blocks scarce``: the same of those in blocks only, over the first fifteen digits by
    PLACES, thirty-five IN_VIEW, and twenty-five STEP_BY_STEP; ``no block``, ``no place``: waves of
    BLOCKS without a digit that has one place in a block, or in any house; ``one or two ways``:
    waves of PLACES with no more; ``least looks``: mean of the looks of the easiest over the first
    digits; ``narrowest``: the longest wait STEP_BY_STEP; ``reasoning``: log of 1 + the price of
    lines that need eliminations; ``waves``: log of the number of waves of PLACES; ``pairs``: cells
    that can take two digits at first; ``blanks``: cells to fill.
    """
    met, start = _Met({}, {}), Board.of(position)
    solution = position.solution or ""
    blocks, places, view, steps = (list(_waves(start, solution, m, met)) for m in Manner)
    plain = [wave for wave in blocks if not wave.price]
    return {
        "base": 1.0,
        "scarcity": _early(blocks, EARLY, lambda wave: 1 / (len(wave.ways.hidden) + 0.7)),
        "waves": log(max(1, len(places))),
        "blanks": float(position.blank.bit_count()),
        "no block": float(sum(not wave.ways.in_blocks for wave in plain)),
        "no place": float(sum(not wave.ways.hidden for wave in plain)),
        "reasoning": log(1 + sum(wave.price for wave in blocks)),
        "blocks scarce at first": _early(places, 15, _scarce_blocks),
        "blocks scarce in view": _early(view, 35, _scarce_blocks),
        "blocks scarce step by step": _early(steps, EARLY, _scarce_blocks),
        "least looks": _early(blocks, EARLY, lambda wave: wave.ways.least),
        "narrowest": max((wave.ways.wait for wave in steps if not wave.price), default=0.0),
        "one or two ways": float(sum(len(w.ways.each) <= 2 for w in places if not w.price)),
        "pairs": float(sum(digits.bit_count() == 2 for digits in start.digits)),
    }


def _scarce_blocks(wave: _Wave) -> float:
    return 1 / (len(wave.ways.in_blocks) + 0.7)


def _early(waves: Sequence[_Wave], many: int, value: Callable[[_Wave], float]) -> float:
    """The mean over the first so many digits that need no elimination."""
    each = [value(wave) for wave in waves if not wave.price for _ in range(wave.written)][:many]
    return sum(each) / len(each) if each else 0.0


class _Met(NamedTuple):
    """What has been found out about boards met before, by the digits that stand there: the ways to
    write, and where there are none what is written then.
    """

    ways: dict[tuple[Cells, ...], _Ways]
    reasoned: dict[tuple[Cells, ...], tuple[list[Place], int]]


def _waves(board: Board, solution: str, manner: Manner, met: _Met) -> Iterator[_Wave]:
    """Solve by waves; where nothing can be written, by all cheapest lines of reasoning."""
    while board.blank:
        digits = board.placed
        ways = met.ways.get(digits)
        if ways is None:
            ways = met.ways[digits] = _ways(board)
        if not ways.each and digits not in met.reasoned:
            met.reasoned[digits] = _reasoned(board, solution)
        chosen, price = (_chosen(ways, manner), 0) if ways.each else met.reasoned[digits]
        yield _Wave(len(chosen), ways, price)
        board = board.with_digits(chosen)


def _reasoned(board: Board, solution: str) -> tuple[list[Place], int]:
    """What the cheapest lines write, and their price; the right digits of all cells that can take
    as few as any, where no line costs less than trying.
    """
    lines = cheapest_lines(board, most=TRIED)
    if lines:
        return sorted({line.places[0] for line in lines}), lines[0].price
    few = min(digits.bit_count() for digits in board.digits if digits)
    cells = [cell for cell, digits in enumerate(board.digits) if digits.bit_count() == few]
    return [(cell, VALUES[solution[cell]]) for cell in cells], TRIED


def _ways(board: Board) -> _Ways:
    """All digits that can be written without an elimination: the last blanks of houses, then what
    has one place in a house, then what a cell alone can take.

    They are what ``papernudge.hints.techniques.singles`` finds, of each of which only the looks
    are asked here.
    """
    blank, seen, layout = board.blank, board.seen, board.layout
    every = layout.all_digits
    last, hidden = list[tuple[House, Cells, Digit]](), list[tuple[House, Cells, Digit]]()
    for house, all_of_it in enumerate(layout.masks):
        left = all_of_it & blank
        if not left & (left - 1):
            if left:
                last.append((house, left, (every & ~seen[house]).bit_length()))
            continue
        for digit in DIGITS_IN[every & ~seen[house]]:
            place = board.cells[digit] & left
            if place and not place & (place - 1):
                hidden.append((house, place, digit))
    found: dict[Place, _Way] = {}
    for house, place, digit in last + hidden:
        key = place.bit_length() - 1, digit
        looks, other = scan_looks(board, digit, house, place), found.get(key)
        by_block = layout.compact[house]
        if other is not None:
            by_block, looks = by_block or other.by_block, min(looks, other.looks)
        found[key] = _Way(by_block, True, looks)
    lone = 0
    for _, place, _ in last:
        lone |= place
    for cell, digits in enumerate(board.digits):
        if digits and not digits & (digits - 1) and not lone >> cell & 1:
            key = cell, digits.bit_length()
            looks, other = single_looks(board, Sight(cell, digits)), found.get(key)
            if other is None:
                found[key] = _Way(False, False, looks)
            elif looks < other.looks:
                found[key] = replace(other, looks=looks)
    return _Ways(found)


def _chosen(ways: _Ways, manner: Manner) -> Sequence[Place]:
    if manner is Manner.BLOCKS and ways.in_blocks:
        return ways.in_blocks
    if manner in (Manner.BLOCKS, Manner.PLACES):
        return ways.hidden or list(ways.each)
    within = log(2) / RATE if manner is Manner.IN_VIEW else 0.25
    return [place for place, way in ways.each.items() if way.looks <= ways.least + within]
