"""A line of reasoning: the steps that earn the next digits that can be written."""

from __future__ import annotations

from dataclasses import dataclass

from papernudge.hints.deduction import Deduction, Evidence
from papernudge.hints.geometry import Candidates, Cell, Digit, House


@dataclass(frozen=True, slots=True)
class Step:
    """A deduction with its evidence."""

    deduction: Deduction
    evidence: Evidence

    @property
    def technique(self) -> str:
        """Its trade name."""
        return self.deduction.technique

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
            frozenset((s.technique, frozenset(s.deduction.reads), s.ruled_out) for s in self.steps),
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
