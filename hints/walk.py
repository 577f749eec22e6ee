"""The whole solve: line after line, with running totals and what links them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from papernudge.hints.geometry import Cell, cell_name
from papernudge.hints.line import Line
from papernudge.hints.looks import Scan
from papernudge.hints.notes import board_of
from papernudge.hints.nudge import Nudge, focus_of
from papernudge.hints.position import Position
from papernudge.hints.search import cheapest_lines, nearest
from papernudge.hints.words import named_cells


@dataclass(frozen=True, slots=True)
class Walked:
    """One line of a walk.

    ``total``: looks so far, this line among them. ``asks``: whether its last question is asked by
    digit (where can it go?) or by cell (what can go there?); ``switch``: that the line before asked
    the other way. ``linked``: cells written by earlier lines of the walk that it builds on.
    """

    nudge: Nudge
    total: int
    asks: str
    switch: bool
    linked: tuple[Cell, ...]

    @property
    def line(self) -> Line:
        """The line of reasoning."""
        return self.nudge.line


@dataclass(frozen=True, slots=True)
class Walk:
    """A solve as lines; ``solved`` says whether they fill the grid."""

    steps: tuple[Walked, ...]
    solved: bool

    @property
    def lines(self) -> tuple[Line, ...]:
        """The lines of reasoning in order."""
        return tuple(step.line for step in self.steps)

    @property
    def looks(self) -> int:
        """All looks of the solve."""
        return self.steps[-1].total if self.steps else 0

    def sentences(self) -> list[str]:
        """A few sentences for each line: why, what to write, looks, total, what it follows."""
        before: tuple[Cell, ...] = ()
        told = []
        for number, step in enumerate(self.steps, 1):
            told.append(_sentence(number, step, [c for c in before if c in step.linked]))
            before = tuple(cell for cell, _ in step.line.places)
        return told

    def to_json(self) -> dict[str, Any]:
        """The walk as plain data."""
        return {
            "solved": self.solved,
            "looks": self.looks,
            "lines": [
                {
                    **step.nudge.at(4).to_json(),
                    "total": step.total,
                    "asks": step.asks,
                    "switch": step.switch,
                    "linked": [cell_name(c) for c in step.linked],
                }
                for step in self.steps
            ],
        }


def walk(position: Position) -> Walk:
    """The whole solve by cheapest lines. Stops early on a position that has no solution or many."""
    if position.faults:
        return Walk((), position.blank == 0 and not position.faults)
    steps: list[Walked] = []
    last: tuple[Cell, ...] = ()
    written = 0
    while position.blank:
        line = nearest(cheapest_lines(board_of(position, last)), last)
        if line is None:
            break
        line = line.settled()
        steps.append(walked(line, position, steps[-1] if steps else None, written))
        for cell, digit in line.places:
            position = position.with_digit(cell, digit)
            written |= 1 << cell
        last = (*last, *(cell for cell, _ in line.places))[-9:]
    return Walk(tuple(steps), position.blank == 0)


def walked(line: Line, position: Position, before: Walked | None, written: int) -> Walked:
    """A line as a step of a walk, taken in ``position`` after ``before``; ``written``: the cells
    that earlier lines of the walk have written.
    """
    asks = "digit" if isinstance(line.last.deduction.reads[0], Scan) else "cell"
    used = 0
    for step in line.steps:
        used |= step.evidence.cells
    linked = tuple(c for c in range(81) if used & written & 1 << c)
    total = line.looks + (before.total if before else 0)
    switch = before is not None and before.asks != asks
    return Walked(Nudge(line, focus_of(line, position)), total, asks, switch, linked)


def _sentence(number: int, step: Walked, follows: Sequence[Cell]) -> str:
    looks = "1 look" if step.line.looks == 1 else f"{step.line.looks} looks"
    turn = f"Now ask by {step.asks}. " if step.switch else ""
    why, what = step.nudge.at(3).sentence, step.nudge.at(4).sentence
    link = f"; follows on from {named_cells(follows)}" if follows else ""
    return f"{number}. {turn}{why} {what} ({looks}, {step.total} so far{link})"
