"""One hint at four depths. A depth is a type that holds its own fields and no deeper ones:
text, JSON and pictures are made from it, so nothing is told that was not asked.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, ClassVar

from papernudge.hints import reasons
from papernudge.hints import words as telling
from papernudge.hints.catalogue import Words
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.line import Line, Step
from papernudge.hints.masks import Candidates, Cell, Digit, House, members
from papernudge.hints.notes import board_of
from papernudge.hints.pattern import BASE, NO_PATTERN, SET, Pattern
from papernudge.hints.position import Position
from papernudge.hints.search import cheapest_lines, nearest
from papernudge.hints.techniques.nets import NET
from papernudge.hints.techniques.singles import HIDDEN_SINGLE, WORTH_FINISHING
from papernudge.hints.words import ENGLISH


@dataclass(frozen=True, slots=True)
class DigitFocus:
    """Look at one digit. ``cells``: where it is written."""

    digit: Digit
    cells: tuple[Cell, ...]
    house: None = None

    def to_json(self) -> dict[str, Any]:
        """``{"digit": 7}``"""
        return {"digit": self.digit}


@dataclass(frozen=True, slots=True)
class HouseFocus:
    """Look at one house."""

    house: House
    digit: None = None
    layout: Layout = NEWSPAPER

    @property
    def cells(self) -> tuple[Cell, ...]:
        """The cells of the house."""
        return self.layout.house_cells[self.house]

    def to_json(self) -> dict[str, Any]:
        """``{"house": "row 4"}``"""
        return {"house": self.layout.house_name(self.house)}


Focus = DigitFocus | HouseFocus


Struck = tuple[tuple[Cell, tuple[Digit, ...]], ...]
"""For each cell the digits that are struck there."""


@dataclass(frozen=True, slots=True)
class ToldStep:
    """A step before the last, as depth 3 tells it.

    ``evidence``: written cells; ``noted``: cells whose notes it builds on; ``ruled_out``: what it
    strikes; ``builds_on``: what earlier steps of the line have struck, as far as it needs it;
    ``pattern``: what it sees; ``layout``: of which board.
    """

    technique: str
    houses: tuple[House, ...]
    evidence: tuple[Cell, ...]
    ruled_out: Struck
    noted: tuple[Cell, ...] = ()
    one_solution: bool = False
    builds_on: Struck = ()
    pattern: Pattern = NO_PATTERN
    layout: Layout = NEWSPAPER

    def said(self, words: Words = ENGLISH) -> str:
        """The step in words."""
        words = words.on(self.layout)
        return reasons.elimination(
            self.technique, self.pattern, self.ruled_out, self.evidence, self.noted, words
        )

    @property
    def sentence(self) -> str:
        """The step in English."""
        return self.said()

    def to_json(self) -> dict[str, Any]:
        """Technique, pattern, houses, evidence, eliminations."""
        return {
            "technique": self.technique,
            "pattern": self.pattern.to_json(self.layout),
            "houses": [self.layout.house_name(h) for h in self.houses],
            "evidence": self.layout.names(self.evidence),
            "eliminations": _struck_json(self.ruled_out, self.layout),
            **_premises_json(self.noted, self.builds_on, self.layout),
            **({"rests_on": "one solution"} if self.one_solution else {}),
        }


def _struck_json(struck: Struck, layout: Layout) -> list[dict[str, Any]]:
    return [{"cell": layout.name(c), "digits": list(digits)} for c, digits in struck]


def _premises_json(noted: tuple[Cell, ...], builds_on: Struck, layout: Layout) -> dict[str, Any]:
    """``notes`` and ``builds_on``, where a step rests on such."""
    told: dict[str, Any] = {}
    if noted:
        told["notes"] = layout.names(noted)
    if builds_on:
        told["builds_on"] = _struck_json(builds_on, layout)
    return told


@dataclass(frozen=True, slots=True)
class Told1:
    """Where to look: one digit or one house. ``layout``: of which board."""

    depth: ClassVar[int] = 1
    focus: Focus
    layout: Layout = field(default=NEWSPAPER, kw_only=True)

    def said(self, words: Words = ENGLISH) -> str:
        """The depth in words."""
        return telling.where(self.focus.digit, self.focus.house, words.on(self.layout))

    @property
    def sentence(self) -> str:
        """The depth in English."""
        return self.said()

    def to_json(self, words: Words = ENGLISH) -> dict[str, Any]:
        """The fields of the depth."""
        return {"focus": self.focus.to_json(), "sentence": self.said(words)}


@dataclass(frozen=True, slots=True)
class Told2(Told1):
    """And which question to ask there."""

    depth: ClassVar[int] = 2
    technique: str

    def said(self, words: Words = ENGLISH) -> str:
        """The depth in words."""
        words = words.on(self.layout)
        return telling.question(self.focus.digit, self.focus.house, self.technique, words)

    def to_json(self, words: Words = ENGLISH) -> dict[str, Any]:
        """The fields of the depth."""
        return {
            "focus": self.focus.to_json(),
            "technique": self.technique,
            "sentence": self.said(words),
        }


@dataclass(frozen=True, slots=True)
class Told3(Told2):
    """And why: the evidence of the last step, and the steps before it.

    ``opened``: the technique of the last step; ``noted``: cells whose notes it builds on;
    ``builds_on``: what the steps before have struck, as far as the last needs it. Steps that
    partial notes show to be known already are left out of ``line``. ``pattern``: what the last step
    sees.
    """

    depth: ClassVar[int] = 3
    opened: str
    houses: tuple[House, ...]
    evidence: tuple[Cell, ...]
    looks: int
    line: tuple[ToldStep, ...]
    noted: tuple[Cell, ...] = ()
    builds_on: Struck = ()
    pattern: Pattern = NO_PATTERN

    def said(self, words: Words = ENGLISH) -> str:
        """The depth in words."""
        words = words.on(self.layout)
        last = reasons.placement(
            self.opened,
            self.pattern,
            self.houses,
            self.evidence,
            self.noted,
            then=bool(self.line),
            words=words,
        )
        return words.paragraph([*(step.said(words) for step in self.line), last])

    def to_json(self, words: Words = ENGLISH) -> dict[str, Any]:
        """The fields of the depth."""
        return {
            "focus": self.focus.to_json(),
            "technique": self.technique,
            "houses": [self.layout.house_name(h) for h in self.houses],
            "evidence": self.layout.names(self.evidence),
            "looks": self.looks,
            "line": [step.to_json() for step in self.line],
            "pattern": self.pattern.to_json(self.layout),
            **_premises_json(self.noted, self.builds_on, self.layout),
            "sentence": self.said(words),
        }


@dataclass(frozen=True, slots=True, kw_only=True)
class Told4(Told3):
    """And one digit. ``follow``: the cells of the step that settle themselves from it, in order."""

    depth: ClassVar[int] = 4
    places: tuple[tuple[Cell, Digit], ...]
    follow: tuple[Cell, ...] = ()

    def said(self, words: Words = ENGLISH) -> str:
        """The depth in words."""
        return telling.writing(self.places, words.on(self.layout), self.follow)

    def to_json(self, words: Words = ENGLISH) -> dict[str, Any]:
        """The fields of the depth."""
        fields = Told3.to_json(self, words)
        places = [{"cell": self.layout.name(c), "digit": d} for c, d in self.places]
        follow = {"follow": self.layout.names(self.follow)} if self.follow else {}
        return {**fields, "places": places, **follow, "sentence": self.said(words)}


@dataclass(frozen=True, slots=True)
class Nudge:
    """A line of reasoning, to be told as deep as was asked."""

    line: Line
    focus: Focus

    def at(self, depth: int) -> Told1:
        """What depth 1, 2, 3 or 4 tells. ValueError for another depth."""
        layout = self.line.last.board.layout
        if depth == 1:
            return Told1(self.focus, layout=layout)
        if depth == 2:
            return Told2(self.focus, first_told(self.line).technique, layout=layout)
        if depth not in (3, 4):
            raise ValueError(f"expected a depth from 1 to 4, got {depth}")
        last = self.line.last
        fields: dict[str, Any] = {
            "focus": self.focus,
            "technique": first_told(self.line).technique,
            "opened": last.technique,
            "houses": last.houses,
            "evidence": tuple(members(last.evidence.cells)),
            "looks": self.line.looks,
            "line": tuple(told_step(s) for s in self.line.steps[:-1] if not s.known),
            "pattern": last.pattern,
            "noted": noted_cells(last),
            "builds_on": by_cell(last.evidence.earlier & ~last.board.known, layout),
            "layout": layout,
        }
        if depth == 3:
            return Told3(**fields)
        first, *others = self.line.places
        return Told4(**fields, places=(first,), follow=tuple(cell for cell, _ in others))


def told_step(step: Step) -> ToldStep:
    """A step as depth 3 tells it."""
    layout = step.board.layout
    return ToldStep(
        step.technique,
        step.houses,
        tuple(members(step.evidence.cells)),
        by_cell(step.ruled_out, layout),
        noted_cells(step),
        step.evidence.one_solution,
        by_cell(step.evidence.earlier & ~step.board.known, layout),
        step.pattern,
        layout,
    )


def by_cell(mask: Candidates, layout: Layout = NEWSPAPER) -> Struck:
    """A set of candidates, cell by cell."""
    struck: dict[Cell, list[Digit]] = {}
    for cell, digit in layout.pairs(mask):
        struck.setdefault(cell, []).append(digit)
    return tuple((cell, tuple(digits)) for cell, digits in struck.items())


def noted_cells(step: Step) -> tuple[Cell, ...]:
    """The cells whose notes a step builds on."""
    shown = step.evidence.noted | step.evidence.earlier & step.board.known
    return tuple(dict.fromkeys(cell for cell, _ in step.board.layout.pairs(shown)))


def next_nudge(
    position: Position, *, last: Sequence[Cell] = (), uniqueness: bool = False
) -> Nudge | None:
    """The next digit that can be written, by the fewest looks; None if nothing is left to say.

    ``last``: cells written last, the latest at the end: lines near them win a tie. ``uniqueness``:
    whether arguments from the puzzle having just one solution may be used; say so only if the
    givens were read without a doubt. Nothing is said of a position with faults.
    """
    if position.faults:
        return None
    line = nearest(cheapest_lines(board_of(position, last), uniqueness), last)
    if line is None:
        return None
    line = line.settled()
    return Nudge(line, focus_of(line, position))


def focus_of(line: Line, position: Position) -> Focus:
    """Where to look first: where the first pattern of the line lies that isn't known already.

    A house that holds the pattern; or its digit, where the whole line asks for one digit only, or
    where a pattern of one digit lies in no single house. A single is sent to by its digit in a
    house that isn't nearly full: one with five digits or more is worth trying to finish (common
    practice, no source).
    """
    first = first_told(line)
    pattern = first.pattern
    layout, house = position.layout, _home(pattern, first)
    at_house = HouseFocus(house, layout=layout)
    digit = pattern.digits.bit_length()
    if pattern.digits != 1 << (digit - 1) or first.technique == NET:
        return at_house
    follow = DigitFocus(digit, tuple(members(position.placed[digit])))
    if first is line.last:
        blanks = (layout.masks[house] & position.blank).bit_count()
        scanned = first.technique == HIDDEN_SINGLE and blanks > WORTH_FINISHING
        return follow if scanned else at_house
    spread = len(pattern.houses_by_role(BASE)) > 1 and not pattern.by_role(SET)
    return follow if spread or _asks_one_digit(line) else at_house


def first_told(line: Line) -> Step:
    """The first step of a line that partial notes don't show to be known; at most its last."""
    return next((step for step in line.steps[:-1] if not step.known), line.last)


def _home(pattern: Pattern, step: Step) -> House:
    """The house of the pattern that holds most of its cells, the first of several."""
    houses = pattern.houses_by_role(BASE) or step.houses
    if step.places:
        return houses[0]
    return max(
        houses,
        key=lambda house: (step.board.layout.masks[house] & pattern.all_cells).bit_count(),
    )


def _asks_one_digit(line: Line) -> bool:
    """Whether a line is about one digit, up to the hidden single that it opens."""
    digits = 0
    for step in line.steps:
        digits |= step.pattern.digits
    return line.last.technique == HIDDEN_SINGLE and digits & (digits - 1) == 0
