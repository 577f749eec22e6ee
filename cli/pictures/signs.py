"""What a scene is made of, in grid units: strokes, tabs, slips, windows, and a legend."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from papernudge.cli.pictures import ink
from papernudge.cli.said import in_words, spoken
from papernudge.hints.layout import NEWSPAPER
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
    at all means no tracing paper.
    """

    strokes: list[Stroke] = field(default_factory=list)
    tabs: list[Tab] = field(default_factory=list)
    windows: list[tuple[float, float, float, float]] = field(default_factory=list)
    caption: str = ""
    legend: list[Sign] = field(default_factory=list)
    slips: list[Slip] = field(default_factory=list)
    framed: set[int] = field(default_factory=set)

    def explain(self, sign: Sign) -> None:
        """Names a sign in the legend, once."""
        if all(sign.name != known.name for known in self.legend):
            self.legend.append(sign)

    def add(self, lines: Iterable[Line], ink_name: str = BLUE, width: float = USUAL) -> None:
        """Draws polylines."""
        self.strokes += [Stroke(line, ink_name, width) for line in lines]

    def clear_cell(self, cell: int) -> None:
        """Leaves one cell free of tracing paper."""
        x, y = corner(cell)
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
        tab, lead = _house_tab(house, ink_name)
        x0, y0, x1, y1 = house_box(house)
        self.windows.append((x0, y0, x1, y1))
        lines = ink.frame(x0, y0, x1, y1)
        self.add(ink.dashed(lines, 0.3) if broken else lines, ink_name)
        if broken:
            example = [ink.pencil_line((0.05, 0.5), (0.95, 0.5))]
            self.explain(Sign(in_words("sign, where it bites"), ink.dashed(example, 0.3), ink_name))
        if named:
            self.tabs.append(tab)
            self.add(lead, ink_name, FINE)


def corner(cell: int) -> tuple[int, int]:
    """The left upper corner of a cell."""
    row, column = NEWSPAPER.place(cell)
    return column, row


def middle(cell: int) -> tuple[float, float]:
    """The centre of a cell."""
    x, y = corner(cell)
    return x + 0.5, y + 0.5


def house_box(house: int) -> tuple[int, int, int, int]:
    """x0, y0, x1, y1 of a house."""
    return NEWSPAPER.box(house)


def _house_tab(house: int, ink_name: str) -> tuple[Tab, list[Line]]:
    """The tab of a house; that of the middle block hangs on a thread along a printed line."""
    name, kind = named_house(house, spoken()), NEWSPAPER.houses[house].kind
    x0, y0, x1, y1 = house_box(house)
    x, y = (x0 + x1) / 2, (y0 + y1) / 2
    if kind == "row" or (kind == "block" and x0 == 0 and y0 > 0 and y1 < NEWSPAPER.high):
        return Tab(name, -0.25, y, "left", ink_name), []
    if kind == "column" or y0 == 0:
        return Tab(name, x, -0.25, "top", ink_name), []
    if y1 == NEWSPAPER.high:
        return Tab(name, x, y1 + 0.25, "bottom", ink_name), []
    if x1 == NEWSPAPER.wide:
        return Tab(name, x1 + 0.25, y, "right", ink_name), []
    return Tab(name, -0.25, float(y0), "left", ink_name), [ink.pencil_line((-0.25, y0), (x0, y0))]
