"""What finding and flattening deliver for each grid on a page."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from papernudge.hints.catalogue import Message
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.said import ENGLISH


class GridKind(StrEnum):
    """What a found grid is; the words of the JSON."""

    PUZZLE = "puzzle"
    FULL = "full"
    CUT_OFF = "cut off"
    TOO_POOR = "too poor"
    OTHER = "other"


@dataclass(frozen=True, slots=True)
class Quality:
    """Whether a grid is good enough to read, and the numbers behind the judgement.

    ``cell_px``: median side of a cell in raster pixels. ``sharpness``: blur of a line's edge as a
    share of a cell's side (0 is perfectly sharp). ``contrast``: darkness of the lines against
    the paper, 0 to 1. ``reason``: one short word for programs, ``None`` when ``ok``,
    but of a puzzle of another kind what marks were seen; ``says``: what to tell the person to do
    about it; a string is said as it is.
    """

    ok: bool
    reason: str | None = None
    says: Message | str | None = None
    cell_px: float = 0.0
    sharpness: float = 0.0
    contrast: float = 0.0

    @property
    def sentence(self) -> str | None:
        """What to tell the person, in English."""
        return None if self.says is None else ENGLISH.tell(self.says)


@dataclass(frozen=True, eq=False)
class FoundGrid:
    """One grid on the page.

    ``corners``: float64 (4, 2), raster x/y, of the outer edge of the frame's ink, clipped to the
    raster, clockwise as seen, starting top-left in the raster.
    ``mesh``: the crossings where the grid could be flattened (kinds puzzle and full), else None.
    ``layout``: the board, as it lies in the raster; ``layout_doubts``: cells of which it is not
    sure that they belong to their block there, each with the chance that they do, and
    ``other_layout``: the board if they don't.
    """

    kind: GridKind
    corners: Points
    mesh: Mesh | None
    quality: Quality
    layout: Layout = NEWSPAPER
    layout_doubts: tuple[tuple[int, float], ...] = ()
    other_layout: Layout | None = None
