"""The whole solve: line after line, with running totals and what links them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

from papernudge.hints.catalogue import Words
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.line import Line
from papernudge.hints.looks import Scan
from papernudge.hints.masks import Cell, Cells, cells_mask, members
from papernudge.hints.notes import IN_VIEW, board_of
from papernudge.hints.nudge import Nudge, Told1, Told3, Told4, focus_of
from papernudge.hints.pattern import Pattern
from papernudge.hints.position import Position
from papernudge.hints.search import cheapest_lines, nearest
from papernudge.hints.words import ENGLISH, named_cells, writing


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
    """A solve as lines; ``solved`` says whether they fill the grid; ``layout``: of which board."""

    steps: tuple[Walked, ...]
    solved: bool
    layout: Layout = NEWSPAPER

    @property
    def lines(self) -> tuple[Line, ...]:
        """The lines of reasoning in order."""
        return tuple(step.line for step in self.steps)

    @property
    def looks(self) -> int:
        """All looks of the solve."""
        return self.steps[-1].total if self.steps else 0

    def sentences(self, depth: int = 4, words: Words = ENGLISH) -> list[str]:
        """A few words for each line, as deep as asked: where to look; which question; why, looks,
        total and what it follows; what to write.
        """
        words = words.on(self.layout)
        before: tuple[Cell, ...] = ()
        told = []
        for number, step in enumerate(self.steps, 1):
            follows = [c for c in before if c in step.linked]
            told.append(_sentence(number, step, follows, depth, words))
            before = tuple(cell for cell, _ in step.line.places)
        return told

    def to_json(self, depth: int = 4, words: Words = ENGLISH) -> dict[str, Any]:
        """The walk as plain data; the fields of each line and no deeper ones."""
        words = words.on(self.layout)
        out: dict[str, Any] = {"solved": self.solved}
        if depth >= 3:
            out["looks"] = self.looks
        return {**out, "lines": [_line_json(step, depth, words) for step in self.steps]}


def walk(position: Position) -> Walk:
    """The whole solve by cheapest lines. Stops early on a position that has no solution or many."""
    if position.faults:
        solved = position.blank == 0 and not position.faults
        return Walk((), solved, position.layout)
    steps: list[Walked] = []
    written = 0
    for line in cheapest_solve(position):
        steps.append(walked(line, position, steps[-1] if steps else None, written))
        for cell, digit in line.places:
            position = position.with_digit(cell, digit)
            written |= 1 << cell
    return Walk(tuple(steps), position.blank == 0, position.layout)


def cheapest_solve(position: Position) -> Iterator[Line]:
    """One cheapest line after the other, until the grid is full or none is found. ``position``:
    one with a single solution.
    """
    last: tuple[Cell, ...] = ()
    board = board_of(position)
    while board.blank:
        line = nearest(cheapest_lines(board), last)
        if line is None:
            return
        line = line.settled()
        yield line
        last = (*last, *(cell for cell, _ in line.places))[-9:]
        if position.notes:
            for cell, digit in line.places:
                position = position.with_digit(cell, digit)
            board = board_of(position, last)
        else:
            board = board.with_digits(line.places, cells_mask(last[-IN_VIEW:]))


def walked(line: Line, position: Position, before: Walked | None, written: int) -> Walked:
    """A line as a step of a walk, taken in ``position`` after ``before``; ``written``: the cells
    that earlier lines of the walk have written.
    """
    asks = "digit" if isinstance(line.last.deduction.reads[0], Scan) else "cell"
    used = 0
    for step in line.steps:
        used |= step.evidence.cells
    linked = tuple(members(used & written))
    total = line.looks + (before.total if before else 0)
    switch = before is not None and before.asks != asks
    return Walked(Nudge(line, focus_of(line, position)), total, asks, switch, linked)


def _line_json(step: Walked, depth: int, words: Words) -> dict[str, Any]:
    layout = words.layout
    told = _told(step, depth).to_json(words)
    if depth >= 2:
        told |= {"asks": step.asks, "switch": step.switch}
    if depth >= 3:
        told |= {"total": step.total, "linked": layout.names(step.linked)}
    if depth == 4:  # a walk is the whole solve: what follows by itself is written too
        told["places"] = [{"cell": layout.name(c), "digit": d} for c, d in step.line.places]
        told.pop("follow", None)
        told["sentence"] = writing(step.line.places, words)
    return told


def _told(step: Walked, depth: int) -> Told1:
    """A line at its depth. Short of depth 4 nothing names a cell that the walk itself has written
    beside the digit in question.
    """
    told = step.nudge.at(depth)
    if not isinstance(told, Told3) or isinstance(told, Told4):
        return told
    hidden = sum(1 << cell for cell in step.linked)
    return replace(
        told,
        evidence=tuple(c for c in told.evidence if c not in step.linked),
        pattern=_without(told.pattern, hidden),
        line=tuple(
            replace(
                one,
                evidence=tuple(c for c in one.evidence if c not in step.linked),
                pattern=_without(one.pattern, hidden),
            )
            for one in told.line
        ),
    )


def _without(pattern: Pattern, hidden: Cells) -> Pattern:
    return pattern._replace(
        cells=tuple((role, cells & ~hidden) for role, cells in pattern.cells if cells & ~hidden),
        barred=tuple(one for one in pattern.barred if not hidden >> one.witness & 1),
    )


def _sentence(number: int, step: Walked, follows: Sequence[Cell], depth: int, words: Words) -> str:
    turn = [words.say(f"ask by {step.asks}")] if step.switch and depth >= 2 else []
    if depth < 3:
        said = [*turn, _told(step, depth).said(words)]
    else:
        code = "looks, follows" if follows and depth == 4 else "looks"
        cells = named_cells(follows, words)
        count = words.counted(code, step.line.looks, total=step.total, cells=cells)
        if depth == 3:
            earlier = [words.say("earlier steps count")] if step.linked else []
            said = [*turn, _told(step, depth).said(words), *earlier, count]
        else:
            what = writing(step.line.places, words)
            said = [*turn, step.nudge.at(3).said(words), what, count]
    return words.say("step", number=number, said=words.paragraph(said))
