"""Positions to practise one reason on: it is the cheapest next line, and no other is as cheap.

A position is drilled where *every* line of the least price rests on the reason asked for, so nobody
who looks for something else gets there as fast. Which of several such lines is taken does not
matter: each is an answer. Of a rare reason positions will do where it is one of the cheapest.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from random import Random

from papernudge.hints.board import Board
from papernudge.hints.canonical import canonical
from papernudge.hints.catalogue import Words
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.line import Line, Step
from papernudge.hints.masks import SYMBOLS, VALUES, Cell, Digit, House
from papernudge.hints.nudge import Nudge, Told3, focus_of
from papernudge.hints.position import Position
from papernudge.hints.registry import PRACTISED
from papernudge.hints.search import cheapest_lines
from papernudge.hints.solver import solve
from papernudge.hints.words import ENGLISH, practised

Places = tuple[tuple[Cell, Digit], ...]

MOST_LOOKS = 45
"""A line of a higher price than this (looks, and PATTERN for each pattern) is no exercise but an
ordeal, and takes long to find."""

FIRST_OF = 484
FIRST = {
    "last blank of a house": (484, 484),
    "several cells of a house": (484, 484),
    "hidden single": (484, 484),
    "naked single": (283, 283),
    "locked candidates": (104, 113),
    "naked pair": (47, 54),
    "hidden pair": (18, 19),
    "naked triple": (15, 22),
    "hidden triple": (0, 0),
    "naked quad": (5, 6),
    "hidden quad": (0, 0),
    "X-wing": (7, 7),
    "swordfish": (0, 0),
    "jellyfish": (0, 0),
    "XY-wing": (4, 13),
    "XYZ-wing": (1, 4),
    "W-wing": (12, 22),
    "remote pairs": (2, 2),
    "colouring": (0, 0),
    "alternating chain": (108, 125),
    "almost-locked sets": (9, 12),
    "finned X-wing": (3, 16),
    "finned swordfish": (2, 4),
    "skyscraper": (0, 12),
    "two-string kite": (0, 2),
    "turbot fish": (13, 27),
    "empty rectangle": (9, 16),
    "finned jellyfish": (0, 0),
}
"""In how many of FIRST_OF of our own puzzles a reason was, at some step, all that was cheapest, and
one of the cheapest (``bench_drilling.py first 484``). What never comes first is undercut: another
pattern strikes the same candidates for fewer looks. Moves with the weights in ``looks.py``."""

_KINDS = {"row": ("row",), "column": ("column",), "line": ("row", "column"), "block": ("block",)}
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
        return self.said()

    def said(self, words: Words = ENGLISH) -> str:
        """The reason in words, in English as :meth:`parse` takes it."""
        return practised(self.technique, self.kind, self.blanks, words)

    def holds(self, line: Line) -> bool:
        """Whether a line rests on this reason."""
        if line.technique != self.technique:
            return False
        if self.kind is None and self.blanks is None:
            return True
        step = line.last if len(line.steps) == 1 else _dearest(line)
        return any(self._fits(step.board, house) for house in step.houses)

    def _fits(self, board: Board, house: House) -> bool:
        if self.kind is not None and board.layout.houses[house].kind not in _KINDS[self.kind]:
            return False
        return self.blanks in (None, (board.layout.masks[house] & board.blank).bit_count())


def _dearest(line: Line) -> Step:
    return max(line.steps[:-1], key=lambda step: step.deduction.looks)


@dataclass(frozen=True, slots=True)
class Drill:
    """A position to practise on.

    ``digits``: what stands in it, a character for each cell; ``solution``: the same filled;
    ``layout``: of which board. ``looks``: what the cheapest line costs. ``answers``: what each of
    the cheapest lines writes, in reading order. ``puzzle``: the puzzle that it comes from. ``why``:
    for each of the answers the pattern, with its digits and cells, by which one of the cheapest
    lines earns it. ``alone``: whether all of them rest on the reason; else their answers count as
    well.
    """

    digits: str
    solution: str
    reason: Reason
    looks: int
    answers: tuple[Places, ...]
    puzzle: str
    why: tuple[Told3, ...] = ()
    alone: bool = True
    layout: Layout = NEWSPAPER


def drilled(
    digits: str,
    reason: Reason,
    puzzle: str = "",
    solution: str = "",
    layout: Layout = NEWSPAPER,
) -> Drill | None:
    """The drill of one position, None if this reason is not all that is cheapest there, or only
    for more than MOST_LOOKS.
    """
    lines = _cheapest(digits, layout)
    return _drill(digits, lines, reason, puzzle or digits, solution, layout=layout)


def _cheapest(digits: str, layout: Layout) -> list[Line]:
    return cheapest_lines(Board.of(Position.of(digits, layout=layout)), most=MOST_LOOKS)


def _drill(
    digits: str,
    lines: Sequence[Line],
    reason: Reason,
    puzzle: str,
    solution: str,
    shared: bool = False,
    *,
    layout: Layout,
) -> Drill | None:
    holding = sum(reason.holds(line) for line in lines)
    if not holding or (holding < len(lines) and not shared):
        return None
    full = solution or solve(digits, layout)
    if full is None:
        return None
    ways = {tuple(sorted(line.places)): line for line in reversed(lines)}
    answers = tuple(sorted(ways))
    why = tuple(_why(ways[places], digits, layout) for places in answers)
    looks = min(line.looks for line in lines)
    alone = holding == len(lines)
    return Drill(digits, full, reason, looks, answers, puzzle, why, alone, layout)


def _why(line: Line, digits: str, layout: Layout) -> Told3:
    settled = line.settled()
    told = Nudge(settled, focus_of(settled, Position.of(digits, layout=layout))).at(3)
    assert isinstance(told, Told3)
    return told


def drills_in(
    puzzle: str,
    reasons: Sequence[Reason],
    seed: int = 0,
    *,
    shared: bool = False,
    layout: Layout = NEWSPAPER,
) -> Iterator[Drill]:
    """The drills along one solve of a puzzle with exactly one solution (none of another); with
    ``shared`` also those where the reason is one of several that are cheapest.

    ``puzzle``: a character for each cell. Of equally cheap lines the ``seed`` chooses; where none
    costs MOST_LOOKS or less, it writes any one digit of the solution, as a friend would who gives
    one away. So the time goes to positions that can be drilled: before, two thirds of it went to
    the few lines that are dearer.
    """
    solution = solve(puzzle, layout)
    if solution is None:
        return
    random, digits = Random(seed), puzzle.replace("0", ".")
    while "." in digits:
        lines = _cheapest(digits, layout)
        for reason in reasons:
            drill = _drill(digits, lines, reason, puzzle, solution, shared, layout=layout)
            if drill is not None:
                yield drill
        digits = _after(digits, random.choice(lines) if lines else None, solution, random)


def _after(digits: str, line: Line | None, solution: str, random: Random) -> str:
    """The position after a line, or after a digit of the solution is given away."""
    if line is None:
        cell = random.choice([at for at, mark in enumerate(digits) if mark == "."])
        places: Places = ((cell, VALUES[solution[cell]]),)
    else:
        places = line.places
    for cell, digit in places:
        digits = digits[:cell] + SYMBOLS[digit - 1] + digits[cell + 1 :]
    return digits


MOST_ANSWERS = 6
"""Where more lines than this are as cheap as each other, there is nothing to look for."""

POOL = 4
"""So many times the number wanted are gathered where the source holds them, to choose from."""


ENOUGH = 60
"""From so many puzzles on nobody waits for a pool to choose from, once there are as many as wanted:
a reason that is so rare has no more."""


def find_drills(
    puzzles: Iterable[str],
    reason: Reason,
    wanted: int,
    seed: int = 0,
    layout: Layout = NEWSPAPER,
) -> list[Drill]:
    """Up to ``wanted`` drills, from few looks to many, spread as evenly as what is found allows.

    One a puzzle, and no two alike however they are turned, mirrored, exchanged or relabelled. Where
    too few are found that rest on the reason alone, those make up for it where it is one of the
    cheapest. ``puzzles`` may be endless: no more is taken from it than is needed, so bound it where
    the reason is rare. ValueError for ``wanted`` below 1.
    """
    if wanted < 1:
        raise ValueError(f"expected a number of drills from 1, got {wanted}")
    alone: dict[str, list[Drill]] = {}
    shared: dict[str, list[Drill]] = {}
    for number, puzzle in enumerate(puzzles):
        drills = drills_in(puzzle, [reason], seed + number, shared=True, layout=layout)
        here = [drill for drill in drills if len(drill.answers) <= MOST_ANSWERS]
        if here:
            form = canonical(puzzle, layout)
            first = [drill for drill in here if drill.alone]
            (alone if first else shared).setdefault(form, first or here)
        most = POOL * wanted if number < ENOUGH else wanted
        if len(alone) >= most or (number >= ENOUGH and len(alone) + len(shared) >= wanted):
            break
    chosen = spread([drill for here in alone.values() for drill in here], wanted, seed)
    rest = [d for form, here in shared.items() if form not in alone for d in here]
    if len(chosen) < wanted:
        chosen += spread(rest, wanted - len(chosen), seed)
    return sorted(chosen, key=lambda drill: (drill.looks, drill.digits))


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
            form = canonical(drill.digits, drill.layout)
            if form not in taken:
                chosen.append(drill)
                taken |= {form, drill.puzzle}
                break
    return sorted(chosen, key=lambda drill: (drill.looks, drill.digits))
