"""What a lattice that is no whole 9×9 is: a grid that the photo's edge cuts off, or another."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.vision.find_cells import Lattice, Page
from papernudge.vision.lines import look, slope
from papernudge.vision.mesh import Points

Grey = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]
Size = tuple[int, int]

_FEWEST = 12
"""Cells that a piece of a grid must show to be mentioned."""
_MANY = 24
"""Cells that must show where all lines are alike."""
_SIDES = ("left", "right", "top", "bottom")


@dataclass(frozen=True, eq=False)
class Piece:
    """Part of a grid, in pixels of the searched picture.

    ``corners``: (4, 2), clockwise from its top left, of the rectangle of cells that show;
    ``cells``: how many do; ``step``: side of a cell; ``side``: the photo's side that cuts a 9×9
    off there, None where it is no such grid.
    """

    corners: Points
    cells: int
    step: float
    side: str | None


def piece_of(grey: Grey, lattice: Lattice, need_blocks: bool = False) -> Piece | None:
    """Judges a lattice that is no whole 9×9; None where it is too small or too loose.

    ``grey``: uint8 (H, W), where the lattice was seen; ``need_blocks``: blocks must show in its
    lines, nine cells that are all alike do not tell.
    """
    size = (grey.shape[1], grey.shape[0])
    trimmed = _trimmed(lattice, size)
    if trimmed is None:
        return None
    whole, (lattice, page) = lattice, trimmed
    wide, high = lattice.extent
    corners = page.at(np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float64))
    step = lattice.step
    ragged = float(np.median(np.linalg.norm(page.left, axis=1))) / max(step, 1e-6)
    if ragged > 0.06 or _filled(lattice, page, size) < 0.6:
        return None
    cut = _cut(lattice, page, size)
    side = max(cut, key=lambda s: cut[s]) if cut and max(wide, high) <= 9 else None
    if side and not _is_nine(grey, lattice, page, need_blocks):
        side = None
    if side is None and (whole.filled < 0.7 or whole.ragged > 0.06):
        return None  # pieces of text lie in rows too
    return Piece(corners, len(lattice.centres), step, side)


def _trimmed(lattice: Lattice, size: Size) -> tuple[Lattice, Page] | None:
    """The lattice without rows and columns at its rims that hold few of the cells they could.

    Text and neighbouring grids hang on to a lattice by a cell or two.
    """
    while len(lattice.centres) >= _FEWEST and min(lattice.extent) >= 2:
        page = Page.fitted(lattice)
        if page is None:
            return None
        held, could = _held(lattice), _inside(lattice, page, size)
        shares = [
            float(held.sum() / max((held | there).sum(), 1))
            for held, there in (
                (held[:, 0], could[:, 0]),
                (held[:, -1], could[:, -1]),
                (held[0], could[0]),
                (held[-1], could[-1]),
            )
        ]
        worst = int(np.argmin(shares))
        if shares[worst] > 0.4:
            return lattice, page
        axis, last = divmod(worst, 2)
        keep = lattice.places[:, axis] != (lattice.extent[axis] - 1) * last
        places = lattice.places[keep]
        lattice = Lattice(lattice.centres[keep], places - places.min(axis=0))
    return None


def _held(lattice: Lattice) -> Flags:
    """Which cells of the spanned rectangle were linked, bool (rows, columns)."""
    wide, high = lattice.extent
    held = np.zeros((high, wide), bool)
    held[lattice.places[:, 1], lattice.places[:, 0]] = True
    return held


def _inside(lattice: Lattice, page: Page, size: Size) -> Flags:
    """Which cells of the spanned rectangle lie wholly in the photo, bool (rows, columns)."""
    wide, high = lattice.extent
    x, y = np.meshgrid(np.arange(wide + 1.0), np.arange(high + 1.0))
    on = _within(page.at(np.stack([x, y], axis=-1).reshape(-1, 2)), size)
    on = on.reshape(high + 1, wide + 1)
    return np.asarray(on[:-1, :-1] & on[1:, :-1] & on[:-1, 1:] & on[1:, 1:], np.bool_)


def _within(points: Points, size: Size) -> Flags:
    """Which points (..., 2) lie in the photo and not on its rim."""
    x, y = points[..., 0], points[..., 1]
    return np.asarray((x > 1) & (y > 1) & (x < size[0] - 2) & (y < size[1] - 2), np.bool_)


def _filled(lattice: Lattice, page: Page, size: Size) -> float:
    """Share of the rectangle's cells that were linked, of those that lie in the photo."""
    held = _held(lattice)
    return float(held.sum() / (held | _inside(lattice, page, size)).sum())


def _cut(lattice: Lattice, page: Page, size: Size) -> dict[str, float]:
    """How many of the cells that a 9×9 lacks each side of the photo hides, if any.

    Those of the spanned rectangle that lie beyond it and, where fewer than nine were linked, the
    next ones: a side of the lattice counts if most of its next cells are hidden. One that lies
    aslant is named by the side of the photo that hides more.
    """
    held = _held(lattice)
    hidden = _outside(held, page, size)
    for axis in (0, 1):
        for ahead in (-1, 1) if lattice.extent[axis] < 9 else ():
            beyond = _beyond(held, page, size, axis, ahead)
            if beyond.any(axis=1).mean() > 0.6:
                hidden += beyond.sum(axis=0)
    return {s: n for s, n in zip(_SIDES, hidden.tolist(), strict=True) if n > 0}


def _outside(held: Flags, page: Page, size: Size) -> Points:
    """How many cells of the rectangle that were not linked each side of the photo hides (4,)."""
    row, column = np.nonzero(~held)
    middles = np.stack([column, row], axis=-1) + np.full(2, 0.5)
    return np.asarray(_over(page.at(middles), size).sum(axis=0), np.float64)


def _over(points: Points, size: Size) -> Flags:
    """Beyond which sides of the photo points (..., 2) lie, bool (..., 4) in the order of _SIDES."""
    x, y = points[..., 0], points[..., 1]
    return np.stack([x < 1, x > size[0] - 2, y < 1, y > size[1] - 2], axis=-1)


def _beyond(held: Flags, page: Page, size: Size, axis: int, ahead: int) -> Flags:
    """By which sides of the photo the next cell of each row (axis 0) or column is hidden (N, 4)."""
    lines = held if axis == 0 else held.T
    at = np.flatnonzero(lines.any(axis=1))
    lines = lines[at]
    last = lines.shape[1] - 1 - lines[:, ::-1].argmax(axis=1) if ahead > 0 else lines.argmax(axis=1)
    far = np.where(ahead > 0, last + 2.0, last - 1.0)
    ends = [np.stack([far, at + share], axis=-1) for share in (0.1, 0.9)]
    points = np.stack([page.at(end if axis == 0 else end[:, ::-1]) for end in ends])
    return np.asarray(_over(points, size).any(axis=0), np.bool_)


def _is_nine(grey: Grey, lattice: Lattice, page: Page, need_blocks: bool) -> bool:
    """Whether the lattice's lines are those of a 9×9 grid with 3×3 blocks.

    Every third line is heavier both ways, or all are alike and it has nine cells one way.
    """
    wide, high = lattice.extent
    mesh = page.mesh(np.arange(wide + 1.0), np.arange(high + 1.0))
    ways = [_blocks(grey, lines) for lines in (mesh, mesh.transpose(1, 0, 2))]
    if all(heavier > 1.3 and clear > 2.0 for heavier, clear in ways):
        return True
    if need_blocks:
        return False
    alike = all(heavier < 1.6 for heavier, _ in ways)
    return alike and len(lattice.centres) >= _MANY and max(lattice.extent) == 9


def _blocks(grey: Grey, mesh: Points) -> tuple[float, float]:
    """How many times heavier every third line is than the others, and how clearly so.

    ``mesh``: (L, S + 1, 2), lines and the crossings along them. The second is the ratio of that
    difference to what lines of one kind differ by.
    """
    ends, over = (np.stack([v[:, :-1], v[:, 1:]], axis=2) for v in (mesh, slope(mesh)))
    inside = _within(ends, (grey.shape[1], grey.shape[0])).all(axis=-1)
    number = np.flatnonzero(inside.sum(axis=1) >= 2)
    if len(number) < 3:
        return 1.0, 0.0
    seen = look(grey, ends.astype(np.float32), over.astype(np.float32), 0.12)
    mass = np.where(inside, np.maximum(seen.mass(), 0.05), np.nan)
    weight = np.log(np.nanmedian(mass[number], axis=1))
    best = (0.0, 0.0)
    for phase in range(3):
        heavy = number % 3 == phase
        if heavy.any() and not heavy.all():
            more, less = float(np.median(weight[heavy])), float(np.median(weight[~heavy]))
            spread = float(np.mean(np.abs(weight - np.where(heavy, more, less))))
            best = max(best, (more - less, (more - less) / (spread + 0.05)))
    return float(np.exp(best[0])), best[1]
