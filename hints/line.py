"""A line of reasoning: the steps that earn the next digits that can be written."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

from papernudge.hints.board import Board
from papernudge.hints.deduction import Deduction, Evidence, evidence_of, pattern_of
from papernudge.hints.looks import Read, Scan
from papernudge.hints.masks import Candidates, Cell, Digit, House
from papernudge.hints.notes import needed_notes
from papernudge.hints.pattern import Pattern


@dataclass(frozen=True)
class Step:
    """A deduction and the board it is drawn on. ``shown``: its evidence, if that is known."""

    deduction: Deduction
    board: Board = field(repr=False, compare=False)
    shown: Evidence | None = field(default=None, repr=False, compare=False)

    @classmethod
    def on(cls, board: Board, deduction: Deduction) -> Step:
        """A deduction on its board."""
        return cls(deduction, board)

    @cached_property
    def evidence(self) -> Evidence:
        """What its reads rest on; worked out when it is asked for: most lines are never told."""
        return self.shown or evidence_of(self.board, self.deduction)

    def without_idle_notes(self) -> Step:
        """The step without notes that its claim can do without. What several cells of a house ask
        of the notes, digits written on the way may answer; whatever else is asked of a note is
        asked of it alone.
        """
        if len(self.places) < 2 or not self.evidence.noted:
            return self
        noted = needed_notes(self.board, self.evidence, self.places)
        return replace(self, shown=replace(self.evidence, noted=noted))

    @property
    def technique(self) -> str:
        """Its trade name."""
        return self.deduction.technique

    @property
    def pattern(self) -> Pattern:
        """What it sees: digits, and cells and houses by role."""
        return pattern_of(self.board, self.deduction, self.evidence)

    @property
    def asked(self) -> frozenset[Read]:
        """The questions it asks; of a house finished at one go just the house, since its digits may
        be taken in several orders.
        """
        if len(self.places) > 1:
            return frozenset(Scan(0, house, 0) for house in self.houses)
        return frozenset(self.deduction.reads)

    @property
    def known(self) -> bool:
        """Whether partial notes show that the solver has found this already."""
        return bool(self.ruled_out) and self.ruled_out & ~self.board.known == 0

    @property
    def houses(self) -> tuple[House, ...]:
        """Where its questions are asked."""
        return self.evidence.houses

    @property
    def ruled_out(self) -> Candidates:
        """The candidates it strikes."""
        return self.deduction.ruled_out

    @property
    def places(self) -> tuple[tuple[Cell, Digit], ...]:
        """The digits it writes."""
        return self.deduction.places


@dataclass(frozen=True, slots=True)
class Line:
    """Steps in order, the last of which writes a digit, or several cells of a house at one go.

    ``price``: the looks to the first digit that can be written, by which lines are compared.
    ``looks``: the looks to all of its digits.
    """

    steps: tuple[Step, ...]
    price: int
    looks: int

    def settled(self) -> Line:
        """The line with nothing idle in it: each step claims what later steps use and no earlier
        one has claimed.
        """
        steps = [self.last.without_idle_notes()]
        needed = self.last.evidence.earlier
        for step in reversed(self.steps[:-1]):
            claim = step.ruled_out & needed
            if claim:
                less = step.deduction.only(claim, step.board.layout)
                steps.insert(0, Step(less, step.board, step.evidence))
                needed = needed & ~claim | step.evidence.earlier
        return Line(tuple(steps), self.price, self.looks)

    @property
    def last(self) -> Step:
        """The step that writes."""
        return self.steps[-1]

    @property
    def places(self) -> tuple[tuple[Cell, Digit], ...]:
        """What can be written."""
        return self.last.places

    @property
    def hardest(self) -> Step:
        """The step that takes most looks by itself."""
        return max(self.steps, key=lambda step: step.deduction.looks)

    @property
    def technique(self) -> str:
        """What the line rests on: its dearest elimination, or the single itself."""
        if len(self.steps) == 1:
            return self.last.technique
        return max(self.steps[:-1], key=lambda step: step.deduction.looks).technique

    @property
    def key(self) -> object:
        """What tells two lines of one position apart: patterns and claims, not the choice of
        witnesses.
        """
        return (
            frozenset(self.places),
            frozenset((s.technique, s.asked, s.ruled_out) for s in self.steps),
        )

    @property
    def reading_order(self) -> tuple[object, ...]:
        """What it writes, in reading order; then what makes the order complete."""
        return (
            sorted(self.places),
            len(self.steps),
            self.looks,
            [(s.technique, s.houses, s.ruled_out, s.evidence.cells) for s in self.steps],
        )
