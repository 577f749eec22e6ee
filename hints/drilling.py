"""Positions to practise one reason on: it is the cheapest next line, and no other is as cheap.

A position is drilled only where *every* line of the least price rests on the reason asked for, so
nobody who looks for something else gets there as fast. Which of several such lines is taken does
not matter: each is an answer.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from random import Random

from papernudge.hints.board import Board
from papernudge.hints.canonical import canonical
from papernudge.hints.geometry import HOUSES, Cell, Digit, House
from papernudge.hints.line import Line, Step
from papernudge.hints.nudge import Nudge, Told3, focus_of
from papernudge.hints.position import Position
from papernudge.hints.registry import PRACTISED
from papernudge.hints.search import cheapest_lines
from papernudge.hints.solver import solve

Places = tuple[tuple[Cell, Digit], ...]

MOST_LOOKS = 45
"""A line of a higher price than this (looks, and PATTERN for each pattern) is no exercise but an
ordeal, and takes long to find."""

_KINDS = {"row": (0,), "column": (1,), "line": (0, 1), "block": (2,)}
_COUNTS = {"two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8}
_ASKED = re.compile(
    r"(?P<name>.+?)(?: of a house)?"
    r"(?: in an? (?P<kind>row|column|line|block))?"
    r"(?: with (?P<blanks>[2-9]|two|three|four|five|six|seven|eight) blanks)?"
)


@dataclass(frozen=True, slots=True)
class Reason:
    """A reason asked for. ``kind``: row, column, line or block, None for any house; ``blanks``:
    how many cells of that house are blank, None for any number.
    """

    technique: str
    kind: str | None = None
    blanks: int | None = None

    @classmethod
    def parse(cls, text: str) -> Reason:
        """A technique's name, and if wanted ``in a block`` (row, column, line) and ``with 3
        blanks``. ValueError, with what can be asked for, if it is none.

        >>> Reason.parse("hidden single in a block")
        Reason(technique='hidden single', kind='block', blanks=None)
        >>> Reason.parse("several cells in a row with three blanks").blanks
        3
        """
        match = _ASKED.fullmatch(" ".join(text.split()).casefold())
        name = match["name"] if match else ""
        for technique in PRACTISED:
            if name == technique.casefold().removesuffix(" of a house"):
                assert match is not None
                blanks = match["blanks"]
                many = None if blanks is None else _COUNTS.get(blanks) or int(blanks)
                return cls(technique, match["kind"], many)
        raise ValueError(
            f"expected one of {', '.join(PRACTISED)}, then if wanted 'in a block' (row, column,"
            f" line) and 'with 3 blanks'; got {text!r}"
        )

    def __str__(self) -> str:
        name = self.technique
        if self.kind:
            name = f"{name.removesuffix(' of a house')} in a {self.kind}"
        return name if self.blanks is None else f"{name} with {self.blanks} blanks"

    def holds(self, line: Line) -> bool:
        """Whether a line rests on this reason."""
        if line.technique != self.technique:
            return False
        if self.kind is None and self.blanks is None:
            return True
        step = line.last if len(line.steps) == 1 else _dearest(line)
        return any(self._fits(step.board, house) for house in step.houses)

    def _fits(self, board: Board, house: House) -> bool:
        if self.kind is not None and house // 9 not in _KINDS[self.kind]:
            return False
        return self.blanks in (None, (HOUSES[house] & board.blank).bit_count())


def _dearest(line: Line) -> Step:
    return max(line.steps[:-1], key=lambda step: step.deduction.looks)


@dataclass(frozen=True, slots=True)
class Drill:
    """A position to practise on.

    ``digits``: what stands in it, 81 characters. ``solution``: 81 digits. ``looks``: what the
    cheapest line costs. ``answers``: what each of the cheapest lines writes, in reading order.
    ``puzzle``: the puzzle that it comes from. ``why``: for each of the answers the pattern, with
    its digits and cells, by which one of the cheapest lines earns it.
    """

    digits: str
    solution: str
    reason: Reason
    looks: int
    answers: tuple[Places, ...]
    puzzle: str
    why: tuple[Told3, ...] = ()


def drilled(digits: str, reason: Reason, puzzle: str = "", solution: str = "") -> Drill | None:
    """The drill of one position, None if this reason is not all that is cheapest there, or only
    for more than MOST_LOOKS.
    """
    return _drill(digits, _cheapest(digits), reason, puzzle or digits, solution)


def _cheapest(digits: str) -> list[Line]:
    return cheapest_lines(Board.of(Position.of(digits)), most=MOST_LOOKS)


def _drill(
    digits: str, lines: Sequence[Line], reason: Reason, puzzle: str, solution: str
) -> Drill | None:
    if not lines or not all(reason.holds(line) for line in lines):
        return None
    full = solution or solve(digits)
    if full is None:
        return None
    ways = {tuple(sorted(line.places)): line for line in reversed(lines)}
    answers = tuple(sorted(ways))
    why = tuple(_why(ways[places], digits) for places in answers)
    return Drill(digits, full, reason, min(line.looks for line in lines), answers, puzzle, why)


def _why(line: Line, digits: str) -> Told3:
    settled = line.settled()
    told = Nudge(settled, focus_of(settled, Position.of(digits))).at(3)
    assert isinstance(told, Told3)
    return told


def drills_in(puzzle: str, reasons: Sequence[Reason], seed: int = 0) -> Iterator[Drill]:
    """The drills along one solve of a puzzle with exactly one solution (none of another).

    ``puzzle``: 81 characters. Of equally cheap lines the ``seed`` chooses; where none costs
    MOST_LOOKS or less, it writes any one digit of the solution, as a friend would who gives one
    away. So the time goes to positions that can be drilled: before, two thirds of it went to the
    few lines that are dearer.
    """
    solution = solve(puzzle)
    if solution is None:
        return
    random, digits = Random(seed), puzzle.replace("0", ".")
    while "." in digits:
        lines = _cheapest(digits)
        for reason in reasons:
            drill = _drill(digits, lines, reason, puzzle, solution)
            if drill is not None:
                yield drill
        digits = _after(digits, random.choice(lines) if lines else None, solution, random)


def _after(digits: str, line: Line | None, solution: str, random: Random) -> str:
    """The position after a line, or after a digit of the solution is given away."""
    if line is None:
        cell = random.choice([at for at, mark in enumerate(digits) if mark == "."])
        places: Places = ((cell, int(solution[cell])),)
    else:
        places = line.places
    for cell, digit in places:
        digits = digits[:cell] + str(digit) + digits[cell + 1 :]
    return digits


MOST_ANSWERS = 6
"""Where more lines than this are as cheap as each other, there is nothing to look for."""

POOL = 4
"""So many times the number wanted are gathered where the source holds them, to choose from."""


def find_drills(puzzles: Iterable[str], reason: Reason, wanted: int, seed: int = 0) -> list[Drill]:
    """Up to ``wanted`` drills, from few looks to many, spread as evenly as what is found allows.

    One a puzzle, and no two alike however they are turned, mirrored, exchanged or relabelled.
    ``puzzles`` may be endless: no more is taken from it than is needed, so bound it where the
    reason is rare. ValueError for ``wanted`` below 1.
    """
    if wanted < 1:
        raise ValueError(f"expected a number of drills from 1, got {wanted}")
    found: dict[str, list[Drill]] = {}
    for number, puzzle in enumerate(puzzles):
        drills = drills_in(puzzle, [reason], seed + number)
        here = [drill for drill in drills if len(drill.answers) <= MOST_ANSWERS]
        if here:
            found.setdefault(canonical(puzzle), here)
        if len(found) >= POOL * wanted:
            break
    return spread([drill for here in found.values() for drill in here], wanted, seed)


def spread(drills: Sequence[Drill], wanted: int, seed: int = 0) -> list[Drill]:
    """Of many drills, so many that their looks are spread evenly; one a puzzle, none alike."""
    left = sorted(drills, key=lambda drill: (drill.looks, drill.digits))
    Random(seed).shuffle(left)
    if not left:
        return []
    low, high = min(d.looks for d in left), max(d.looks for d in left)
    chosen: list[Drill] = []
    taken: set[str] = set()
    for k in range(wanted):
        aim = low + (high - low) * k / max(1, wanted - 1)
        left = [drill for drill in left if drill.puzzle not in taken]
        for drill in sorted(left, key=lambda drill: abs(drill.looks - aim)):
            form = canonical(drill.digits)
            if form not in taken:
                chosen.append(drill)
                taken |= {form, drill.puzzle}
                break
    return sorted(chosen, key=lambda drill: (drill.looks, drill.digits))
