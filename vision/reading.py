"""What the page says: the outcome of seeing, with its doubts."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING

from papernudge.hints.geometry import cell_name as cell_name
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.vision.grid import GridKind, Quality
from papernudge.vision.hidden import Hidden
from papernudge.vision.mesh import Mesh, Points

if TYPE_CHECKING:
    from papernudge.vision.evidence import Evidence


class CellKind(StrEnum):
    """What stands in a cell besides notes."""

    BLANK = "blank"
    GIVEN = "given"
    ENTRY = "entry"


@dataclass(frozen=True, slots=True)
class CellReading:
    """One cell as read. ``chance`` is the posterior probability that kind and digit are right.

    ``digit_chances``: numbers that add up to 1; index 0 is blank, from 1 the digits: ten of nine.
    ``given_chance``: that the mark, if there is one, is printed. ``notes``: the small digits;
    ``notes_chance``: that this set is exactly right. ``struck``: a digit stands there struck out.
    ``seen``: whether its paper can be seen; where it can't, ``kind`` and ``digit`` hold nothing,
    and say nothing.
    """

    kind: CellKind
    digit: int | None
    chance: float
    digit_chances: tuple[float, ...] = ()
    given_chance: float = 0.5
    notes: frozenset[int] = frozenset()
    notes_chance: float = 1.0
    struck: bool = False
    seen: bool = True


@dataclass(frozen=True, slots=True)
class Doubt:
    """A cell that a careful person would ask about.

    ``about`` is ``"digit"``, ``"hand"`` (given or entry), ``"notes"``, ``"seen"`` (its paper can't
    be seen) or ``"layout"`` (which block it belongs to); ``read`` is what was read, None for
    blank or not seen; ``instead`` holds the other readings worth naming with their chances, digit
    None for blank. ``why``: what keeps a cell from being seen, a value of :class:`Hidden`, None
    where it is seen. ``regions``: of a doubt about the layout the cells of the block that it is
    read in, and of that which it may be in.
    """

    cell: int
    about: str
    read: int | None
    chance: float
    instead: tuple[tuple[int | None, float], ...] = ()
    why: Hidden | None = None
    regions: tuple[tuple[int, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Told:
    """What somebody who sees the paper says of a cell.

    ``kind``: None where only the digit was said; ``digit``: None for no digit there; ``notes``:
    None where nothing was said of them. ``beside``: only that it is in one block with this cell;
    None where nothing was said of blocks.
    """

    cell: int
    kind: CellKind | None
    digit: int | None
    notes: frozenset[int] | None = None
    beside: int | None = None


@dataclass(frozen=True, eq=False)
class GridReading:
    """One grid, the right way up.

    ``corners``: float64 (4, 2), raster x/y, top-left, top-right, bottom-right, bottom-left as a
    person reads the grid. ``cells``: in row order, empty unless ``kind`` is puzzle or full.
    ``doubts``: what a careful person would ask; of a grid of which too much can't be seen to read
    it, which cells those are. ``restored``: cells that read otherwise
    alone and were decided by the rules. ``evidence``: what it was read from, None for grids that
    were not read from a photo; ``told``: the answers it was read in the light of. With both and one
    more answer :func:`papernudge.vision.reread.reread` reads it once more. ``layout``: the board,
    as a person reads it.
    """

    kind: GridKind
    corners: Points
    quality: Quality
    mesh: Mesh | None = None
    cells: tuple[CellReading, ...] = ()
    doubts: tuple[Doubt, ...] = ()
    restored: tuple[int, ...] = ()
    chance_all_right: float = 0.0
    evidence: Evidence | None = None
    told: tuple[Told, ...] = ()
    layout: Layout = NEWSPAPER

    @property
    def givens(self) -> str:
        """A character for each cell, ``.`` for nothing."""
        return self._line(CellKind.GIVEN)

    @property
    def entries(self) -> str:
        """A character for each cell, ``.`` for nothing."""
        return self._line(CellKind.ENTRY)

    def _line(self, kind: CellKind) -> str:
        marks = self.layout.symbols
        return "".join(
            marks[c.digit - 1] if c.digit and c.kind is kind else "." for c in self.cells
        )


@dataclass(frozen=True, eq=False)
class PageReading:
    """All grids of one photo, in reading order. ``size``: raster width and height, pixels.

    ``quarter_turns``: how often the raster must be turned clockwise so that the page reads
    upright. ``milliseconds``: time spent by stage.
    """

    size: tuple[int, int]
    grids: tuple[GridReading, ...]
    quarter_turns: int = 0
    milliseconds: dict[str, float] = field(default_factory=dict)
