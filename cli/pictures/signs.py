"""What a scene is made of, in grid units: strokes, tabs, slips, windows, and a legend."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from papernudge.cli.pictures import ink
from papernudge.cli.pictures.form import is_box, outline
from papernudge.cli.said import in_words, spoken
from papernudge.hints.layout import BLOCK, COLUMN, DIAGONAL, EXTRA, NEWSPAPER, ROW, Layout
from papernudge.hints.words import named_house

if TYPE_CHECKING:
    from papernudge.cli.pictures.ink import Line

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


@dataclass(frozen=True, eq=False)
class Sign:
    """An entry of the legend: its name, and how it looks in a cell from (0, 0) to (1, 1)."""

    name: str
    lines: Sequence[Line]
    ink: str = BLUE


@dataclass(frozen=True, slots=True)
class Slip:
    """A dark slip with light print on it, its middle at (x, y): an order, never a digit of the
    grid.
    """

    text: str
    x: float
    y: float


@dataclass
class Scene:
    """``windows``: rectangles (x0, y0, x1, y1) that the tracing paper leaves clear; no window
    at all means no tracing paper. ``layout``: the board that it is drawn on.
    """

    strokes: list[Stroke] = field(default_factory=list)
    tabs: list[Tab] = field(default_factory=list)
    windows: list[tuple[float, float, float, float]] = field(default_factory=list)
    caption: str = ""
    legend: list[Sign] = field(default_factory=list)
    slips: list[Slip] = field(default_factory=list)
    framed: set[int] = field(default_factory=set)
    layout: Layout = NEWSPAPER

    @property
    def size(self) -> tuple[int, int]:
        """Columns and rows of the board."""
        return self.layout.wide, self.layout.high

    def corner(self, cell: int) -> tuple[int, int]:
        """The left upper corner of a cell."""
        return corner(cell, self.layout)

    def middle(self, cell: int) -> tuple[float, float]:
        """The centre of a cell."""
        return middle(cell, self.layout)

    def explain(self, sign: Sign) -> None:
        """Names a sign in the legend, once."""
        if all(sign.name != known.name for known in self.legend):
            self.legend.append(sign)

    def add(self, lines: Iterable[Line], ink_name: str = BLUE, width: float = USUAL) -> None:
        """Draws polylines."""
        self.strokes += [Stroke(line, ink_name, width) for line in lines]

    def clear_cell(self, cell: int) -> None:
        """Leaves one cell free of tracing paper."""
        x, y = self.corner(cell)
        self.windows.append((x, y, x + 1, y + 1))

    def house(
        self, house: int, ink_name: str = BLUE, broken: bool = False, named: bool = True
    ) -> None:
        """Frames a house, with ``broken`` lines where it is one in which a reason bites, and names
        it at the margin. One that is framed already stays as it is.
        """
        if house in self.framed:
            return
        self.framed.add(house)
        tab, lead = _house_tab(self, house, ink_name)
        lines = self._framed(house)
        self.add(ink.dashed(lines, 0.3) if broken else lines, ink_name)
        if broken:
            example = [ink.pencil_line((0.05, 0.5), (0.95, 0.5))]
            self.explain(Sign(in_words("sign, where it bites"), ink.dashed(example, 0.3), ink_name))
        if named:
            self.tabs.append(tab)
            self.add(lead, ink_name, FINE)

    def _framed(self, house: int) -> list[Line]:
        """The lines around a house, which is left free of tracing paper: four around a row, a
        column or a block, two along a diagonal, else what its cells end at.
        """
        x0, y0, x1, y1 = house_box(house, self.layout)
        of_it = self.layout.houses[house]
        if is_box(self.layout, house):
            self.windows.append((x0, y0, x1, y1))
            return ink.frame(x0, y0, x1, y1)
        for cell in of_it.cells:
            self.clear_cell(cell)
        if of_it.kind == DIAGONAL:
            return ink.slanted_frame(x1, falling=of_it.number == 1)
        rim = outline(self.layout, of_it.cells)
        return [line for run in rim for line in ink.side(*run)]


def corner(cell: int, layout: Layout = NEWSPAPER) -> tuple[int, int]:
    """The left upper corner of a cell."""
    row, column = layout.place(cell)
    return column, row


def middle(cell: int, layout: Layout = NEWSPAPER) -> tuple[float, float]:
    """The centre of a cell."""
    x, y = corner(cell, layout)
    return x + 0.5, y + 0.5


def house_box(house: int, layout: Layout = NEWSPAPER) -> tuple[int, int, int, int]:
    """x0, y0, x1, y1 of what a house spans."""
    return layout.box(house)


def _house_tab(scene: Scene, house: int, ink_name: str) -> tuple[Tab, list[Line]]:
    """The tab of a house, where it touches the margin; that of one that doesn't hangs on a thread
    along a printed line.
    """
    layout = scene.layout
    name, of_it = named_house(house, spoken().on(layout)), layout.houses[house]
    x0, y0, x1, y1 = house_box(house, layout)
    if of_it.kind in (DIAGONAL, EXTRA) or (of_it.kind == BLOCK and not layout.even):
        return _long_tab(scene, house, Tab(name, 0.0, 0.0, "top", ink_name))
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    beside = of_it.kind == BLOCK and x0 == 0 and y0 > 0 and y1 < layout.high
    if of_it.kind == ROW or beside:
        return Tab(name, -0.25, y, "left", ink_name), []
    if of_it.kind == COLUMN or y0 == 0:
        return Tab(name, x, -0.25, "top", ink_name), []
    if y1 == layout.high:
        return Tab(name, x, y1 + 0.25, "bottom", ink_name), []
    if x1 == layout.wide:
        return Tab(name, x1 + 0.25, y, "right", ink_name), []
    return Tab(name, -0.25, float(y0), "left", ink_name), [ink.pencil_line((-0.25, y0), (x0, y0))]


def _long_tab(scene: Scene, house: int, tab: Tab) -> tuple[Tab, list[Line]]:
    """``tab`` above or below a house with a long name, for which the left margin has no room: where
    the house touches, or else where others leave room.
    """
    layout = scene.layout
    places = [layout.place(cell) for cell in layout.houses[house].cells]
    touching = {
        side: [column + 0.5 for row, column in places if row == edge]
        for side, edge in (("top", 0), ("bottom", layout.high - 1))
    }
    sides = sorted(touching, key=lambda side: not touching[side])
    room = {side: _room(scene, side) for side in sides}
    needed = 1.25 * _long(tab)  # they are moved aside by a quarter of their length
    side = next((s for s in sides if room[s] >= needed), max(sides, key=lambda s: room[s]))
    y, place, foot = (-0.25, places[0], 0) if side == "top" else (layout.high + 0.25, places[-1], 1)
    if at := touching[side]:
        return replace(tab, x=sum(at) / len(at), y=y, side=side), []
    x = float(place[1])
    return replace(tab, x=x, y=y, side=side), [ink.pencil_line((x, y), (x, place[0] + foot))]


def _room(scene: Scene, side: str) -> float:
    """About how long a piece of the upper or lower margin is free beside the tabs that are there
    already, cells.
    """
    left, right = -_BESIDE, scene.layout.wide + _BESIDE
    low, high = right, left
    for tab in scene.tabs:
        if tab.side != side:
            continue
        long = _long(tab)
        start = min(max(left, tab.x - long / 2), right - long)
        if start < high and low < start + long:  # it is moved aside
            there = [x for x in (low - long, high) if left <= x <= right - long]
            start = min(there, key=lambda x: abs(x - start), default=start)
        low, high = min(low, start), max(high, start + long)
    return max(low - left, right - high)


_BESIDE = 1.85
"""How wide the margins beside a board are, cells."""


def _long(tab: Tab) -> float:
    """About how long a tab is, cells."""
    return 0.19 * len(tab.text) + 0.35
