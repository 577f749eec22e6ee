"""What is drawn for each depth, in grid units, before anybody asks on what.

The sign language: a sketched *frame* that runs past its corners is a house to look at; a *ring* a
digit that matters, a broken ring one whose notes matter; a *handwritten digit* is a digit to write;
*hatching* lies over a digit that can't stay, with a wavy *string* to what it repeats or a *dead
end* where it repeats nothing; *tabs* at the margin name things. Tracing paper covers the rest.
Ink is blue for looking and orange for what is wrong, and no sign relies on that.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from papernudge.cli import ink

if TYPE_CHECKING:
    from papernudge.cli.answers import Answer
    from papernudge.cli.ink import Line
    from papernudge.hints.checking import Checked, Checked3, Mistake
    from papernudge.hints.nudge import Told1

BLUE, ORANGE, GREY = "blue", "orange", "grey"
FINE, USUAL, THICK = 0.035, 0.055, 0.08  # widths in cells


@dataclass(frozen=True, eq=False)
class Stroke:
    """One polyline in grid units; ``width`` in cells."""

    line: Line
    ink: str = BLUE
    width: float = USUAL


@dataclass(frozen=True, slots=True)
class Tab:
    """A paper tab at the margin: ``side`` left, right, top or bottom; its foot at (x, y)."""

    text: str
    x: float
    y: float
    side: str
    ink: str = BLUE


@dataclass
class Scene:
    """``windows``: rectangles (x0, y0, x1, y1) that the tracing paper leaves clear; no window
    at all means no tracing paper.
    """

    strokes: list[Stroke] = field(default_factory=list)
    tabs: list[Tab] = field(default_factory=list)
    windows: list[tuple[float, float, float, float]] = field(default_factory=list)
    caption: str = ""

    def add(self, lines: Iterable[Line], ink_name: str = BLUE, width: float = USUAL) -> None:
        """Draws polylines."""
        self.strokes += [Stroke(line, ink_name, width) for line in lines]

    def clear_cell(self, cell: int) -> None:
        """Leaves one cell free of tracing paper."""
        x, y = cell % 9, cell // 9
        self.windows.append((x, y, x + 1, y + 1))

    def house(self, house: int, ink_name: str = BLUE) -> None:
        """Frames a house and names it at the margin."""
        x0, y0, x1, y1 = house_box(house)
        self.windows.append((x0, y0, x1, y1))
        self.add(ink.frame(x0, y0, x1, y1), ink_name)
        tab, lead = _house_tab(house, ink_name)
        self.tabs.append(tab)
        self.add(lead, ink_name, FINE)


def middle(cell: int) -> tuple[float, float]:
    """The centre of a cell."""
    return cell % 9 + 0.5, cell // 9 + 0.5


def house_box(house: int) -> tuple[int, int, int, int]:
    """x0, y0, x1, y1 of a house 0–26."""
    kind, n = divmod(house, 9)
    if kind == 0:
        return 0, n, 9, n + 1
    if kind == 1:
        return n, 0, n + 1, 9
    x, y = 3 * (n % 3), 3 * (n // 3)
    return x, y, x + 3, y + 3


def _house_tab(house: int, ink_name: str) -> tuple[Tab, list[Line]]:
    """The tab of a house; that of the middle block hangs on a thread along a printed line."""
    from papernudge.hints.geometry import house_name

    name, (kind, n) = house_name(house), divmod(house, 9)
    x0, y0, _, _ = house_box(house)
    if kind == 0:
        return Tab(name, -0.25, y0 + 0.5, "left", ink_name), []
    if kind == 1:
        return Tab(name, x0 + 0.5, -0.25, "top", ink_name), []
    if n < 3:
        return Tab(name, x0 + 1.5, -0.25, "top", ink_name), []
    if n > 5:
        return Tab(name, x0 + 1.5, 9.25, "bottom", ink_name), []
    if n == 5:
        return Tab(name, 9.25, y0 + 1.5, "right", ink_name), []
    thread = [ink.pencil_line((-0.25, 3), (3, 3))] if n == 4 else []
    return Tab(name, -0.25, 3.0 if n == 4 else y0 + 1.5, "left", ink_name), thread


def answer_scene(answer: Answer) -> Scene:
    """The scene of an answer, drawn from its depth's own type and from nothing else."""
    from papernudge.hints import Walk
    from papernudge.hints.checking import Checked1
    from papernudge.hints.nudge import Told1
    from papernudge.hints.route import Route

    told = answer.told
    if isinstance(told, Checked1):
        scene = checked_scene(told)
    elif isinstance(told, Told1):
        scene = nudge_scene(told)
    elif isinstance(told, Route):
        from papernudge.cli.drills.eye import route_scene

        return route_scene(told)
    elif isinstance(told, Walk):
        from papernudge.cli.drills.eye import walk_scene

        return walk_scene(told)
    else:
        scene = Scene()
    scene.caption = answer.sentence
    return scene


def nudge_scene(told: Told1) -> Scene:
    """A nudge at its depth."""
    from papernudge.hints.nudge import Told3, Told4

    scene = Scene()
    digit = told.focus.digit
    if digit is not None:
        scene.tabs.append(Tab(f"look for {digit}", -0.3, -0.25, "top"))
        for cell in told.focus.cells:
            scene.clear_cell(cell)
            scene.add(ink.ring(*middle(cell)))
    elif told.focus.house is not None:
        scene.house(told.focus.house)
    if isinstance(told, Told3):
        _show_reason(scene, told, {told.focus.house})
    if isinstance(told, Told4):
        for cell, value in told.places:
            scene.clear_cell(cell)
            x, y = middle(cell)
            scene.add(ink.digit(value, x, y - 0.03, 0.62), BLUE, THICK)
            scene.add([ink.pencil_line((x - 0.3, y + 0.4), (x + 0.3, y + 0.38), 0.02)], BLUE)
    if not scene.windows:  # a digit that stands nowhere yet: the whole grid is the place to look
        scene.windows.append((0, 0, 9, 9))
    return scene


def _show_reason(scene: Scene, told: object, framed: set[int | None]) -> None:
    """Depth 3: houses, evidence, and what the steps before rule out."""
    from papernudge.hints.nudge import Told3

    assert isinstance(told, Told3)
    steps = told.line
    houses = [*told.houses, *(h for step in steps for h in step.houses)]
    for house in dict.fromkeys(houses):
        if house not in framed:
            scene.house(house)
    ringed = set(told.focus.cells) if told.focus.digit is not None else set[int]()
    evidence = [*told.evidence, *(c for step in steps for c in step.evidence)]
    for cell in dict.fromkeys(evidence):
        if cell not in ringed:
            scene.clear_cell(cell)
            scene.add(ink.ring(*middle(cell)))
    noted = [*told.noted, *(c for step in steps for c in step.noted)]
    for cell in dict.fromkeys(noted):
        scene.clear_cell(cell)
        scene.add(ink.dashed(ink.ring(*middle(cell), 0.45, 1.0)))
    ruled_out: dict[int, set[int]] = {}
    for step in steps:
        for cell, digits in step.ruled_out:
            ruled_out.setdefault(cell, set()).update(digits)
    for cell, gone in ruled_out.items():
        scene.clear_cell(cell)
        _strike_small(scene, cell, sorted(gone))


def _strike_small(scene: Scene, cell: int, digits: Sequence[int]) -> None:
    """Digits that a step rules out, each struck through: the fewer, the larger."""
    left, top = cell % 9, cell // 9
    for n, value in enumerate(digits):
        if len(digits) == 1:
            x, y, high = left + 0.5, top + 0.5, 0.5
        elif len(digits) <= 4:
            x, y, high = left + 0.28 + 0.44 * (n % 2), top + 0.28 + 0.44 * (n // 2), 0.36
        else:
            x, y, high = left + 0.2 + 0.3 * (n % 3), top + 0.2 + 0.3 * (n // 3), 0.24
        scene.add(ink.digit(value, x, y, high), BLUE, FINE)
        reach, rise = 0.62 * high, 0.3 * high
        strike = ink.pencil_line((x - reach, y + rise), (x + reach, y - rise), 0.005)
        scene.add([strike], ORANGE, FINE)


def checked_scene(told: Checked) -> Scene:
    """A check at its depth."""
    from papernudge.hints.checking import Checked2, Checked3, Checked4, State

    scene = Scene()
    if told.state is State.SOLVED:
        scene.add(ink.tick(9.3, 9.1, 1.1), BLUE, THICK * 1.4)
    elif told.state is State.RIGHT_SO_FAR:
        scene.add(ink.tick(9.5, 0.6, 0.55), BLUE, THICK)
    elif told.state is State.MISTAKEN:
        scene.add(ink.tally(min(told.wrong, 45), 9.45, 0.4, 0.66), ORANGE, USUAL)
    if isinstance(told, Checked2) and not isinstance(told, Checked3):
        for house in told.houses:
            scene.house(house, ORANGE)
    if isinstance(told, Checked3):
        _show_mistakes(scene, told)
    if isinstance(told, Checked4):
        for mistake, value in zip(told.mistakes, told.right, strict=True):
            x, y = mistake.cell % 9 + 0.9, mistake.cell // 9 + 0.1
            scene.add(ink.digit(value, x, y, 0.54), BLUE, USUAL)
        for cell, value in zip(told.lost_notes, told.right_notes, strict=True):
            x, y = cell % 9 + 0.8, cell // 9 + 0.8
            scene.add(ink.digit(value, x, y, 0.3), BLUE, FINE)
    return scene


def _show_mistakes(scene: Scene, told: Checked3) -> None:
    for mistake in told.mistakes:
        x0, y0 = mistake.cell % 9, mistake.cell // 9
        scene.clear_cell(mistake.cell)
        scene.add(ink.hatching(x0, y0), ORANGE, FINE)
        if mistake.clashes:
            _tie(scene, mistake)
        else:
            scene.add(ink.dead_end(x0, y0), ORANGE, USUAL)
    if told.first_out is not None and len(told.mistakes) > 1:
        x, y = middle(told.first_out)
        scene.add(ink.frame(x - 0.5, y - 0.5, x + 0.5, y + 0.5, 0.14), ORANGE, THICK)
        scene.tabs.append(Tab("out first", -0.25, y, "left", ORANGE))
    for cell in told.lost_notes:
        scene.clear_cell(cell)
        scene.add(ink.dashed(ink.ring(*middle(cell), 0.46, 1.0)), BLUE, FINE)


def _tie(scene: Scene, mistake: Mistake) -> None:
    for other in mistake.clashes:
        scene.clear_cell(other)
        scene.add(ink.string(middle(mistake.cell), middle(other)), ORANGE, FINE)
        scene.add(ink.ring(*middle(other), 0.42), ORANGE, FINE)


def doubt_scene(answer: Answer) -> Scene:
    """The cells that a question is about: a ring each, and a tab with the question mark."""
    scene = Scene(caption=answer.sentence)
    for doubt in answer.doubts:
        scene.clear_cell(doubt.cell)
        x, y = middle(doubt.cell)
        scene.add(ink.ring(x, y, 0.6, 1.2), BLUE, THICK)
        left = x < 4.5
        scene.tabs.append(Tab("?", -0.25 if left else 9.25, y, "left" if left else "right"))
    return scene
