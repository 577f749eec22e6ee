"""Finds every grid on a page."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from papernudge.vision.find_cells import lattices, meshes_of, paper_pieces
from papernudge.vision.find_cut import Piece, piece_of
from papernudge.vision.find_kind import Traits, traits
from papernudge.vision.find_outlines import ink_mask, line_mask, outlines, parts_of, slim
from papernudge.vision.flatten import Flat, flatten
from papernudge.vision.grid import FoundGrid, GridKind, Quality
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.quality import cut_off, cut_side, judge

Grey = npt.NDArray[np.uint8]

_LONG = 1280
"""Long side of the picture that is searched, pixels."""
_CLOSER = 2560
"""The same where grids are too small for that, or none was found."""
_SMALL_CELL = 24.0
"""Cells smaller than this, pixels of the searched picture, deserve a closer look."""
_LEAST = 60
"""Smallest side of a grid that is looked for, pixels of that picture."""


@dataclass(frozen=True, eq=False, slots=True)
class _Sighting:
    """A 9×9 lattice that was flattened, with what it looks like."""

    flat: Flat
    traits: Traits

    @property
    def score(self) -> float:
        """How well the lines support it, 0 to 1, more if the blocks are as they should be."""
        return self.flat.score * (1.0 if self.traits.plain else 0.8)

    @property
    def sure(self) -> bool:
        """Whether no other mesh for the same place could be better."""
        return self.flat.sure and self.traits.plain

    @property
    def cell(self) -> float:
        """Side of a cell, pixels of the searched picture."""
        return float(np.sqrt(abs(_area(self.flat.mesh.corners)))) / 9


def work_view(raster: npt.NDArray[np.uint8], most: int = _LONG) -> tuple[Grey, Points]:
    """A grey picture of at most ``most`` pixels on its long side, uint8 (h, w), and its scale.

    The scale is float64 (2,): raster pixels per pixel in x and in y.
    """
    import cv2

    grey = cv2.cvtColor(raster, cv2.COLOR_BGR2GRAY)
    scale = np.ones(2)
    # Halving is by far the fastest way down; only the last step is by another factor.
    while max(grey.shape) >= 2 * most:
        half = (grey.shape[1] // 2, grey.shape[0] // 2)
        grey = cv2.resize(grey[: 2 * half[1], : 2 * half[0]], half, interpolation=cv2.INTER_AREA)
        scale *= 2.0
    if max(grey.shape) > most:
        last = most / max(grey.shape)
        size = (round(grey.shape[1] * last), round(grey.shape[0] * last))
        scale *= np.array(grey.shape[::-1]) / size
        grey = cv2.resize(grey, size, interpolation=cv2.INTER_LINEAR)
    return np.asarray(cv2.GaussianBlur(grey, (3, 3), 0.7), np.uint8), scale


def find_grids(raster: npt.NDArray[np.uint8]) -> tuple[FoundGrid, ...]:
    """All grids of a page, in reading order of the raster.

    ``raster``: uint8 (H, W, 3), blue, green, red, as decoded. A whole 9×9 grid of good quality
    has kind puzzle (or full) and a mesh; others are marked by their kind. ``corners`` are those
    of the frame's ink, the mesh's those of its lines' middles. Which of the four turns is
    upright is not decided here.
    """
    if min(raster.shape[:2]) < 16:
        return ()
    view, scale = work_view(raster)
    sightings, partial = _search(view)
    cells = [s.cell for s in sightings] + [p.step for p in partial]
    if min(cells, default=0.0) < _SMALL_CELL and float(scale.max()) > 1.3:
        view, scale = work_view(raster, _CLOSER)
        sightings, partial = _search(view)
    size = (raster.shape[1], raster.shape[0])
    biggest = max([s.cell for s in sightings] + [p.step for p in partial], default=0.0)
    grids = [_found(sighting, biggest, scale, size) for sighting in sightings]
    grids += [_fragment(lattice, scale, size) for lattice in partial]
    return tuple(_reading_order(grids))


def _search(view: Grey) -> tuple[list[_Sighting], list[Piece]]:
    """The 9×9 lattices of a view and other lattices, the best one of those that overlap."""
    seen: list[_Sighting] = []
    partial: list[Piece] = []
    for number, mask in enumerate(_masks(view)):
        frames, pieces = parts_of(mask)
        open_question = _try_all(view, outlines(frames, _LEAST, _known(seen)), seen)
        centres, sizes = paper_pieces(pieces, _LEAST // 9, min(mask.shape) // 3)
        outside = ~_known(seen)(centres)
        linked = lattices(centres[outside], sizes[outside])
        judged = (piece_of(view, lattice) for lattice in linked)
        # What only a keener look shows is too doubtful to be called another kind of grid.
        partial += [p for p in judged if p and (p.side or number == 0)]
        starts = (start for lattice in linked for start in meshes_of(lattice))
        open_question |= _try_all(view, starts, seen)
        if seen and not open_question:
            break
    kept = _best(seen)
    return kept, _apart(partial, [s.flat.mesh.corners for s in kept])


def _apart(pieces: list[Piece], taken: list[Points]) -> list[Piece]:
    """Pieces of grids that do not lie on ``taken`` (4, 2) or on a piece with more cells."""
    kept: list[Piece] = []
    for piece in sorted(pieces, key=lambda p: -p.cells):
        others = taken + [k.corners for k in kept]
        middles = np.array([other.mean(axis=0) for other in others]).reshape(-1, 2)
        on_another = _inside_any(piece.corners.mean(axis=0)[None], others)[0]
        if not on_another and not _inside_any(middles, [piece.corners]).any():
            kept.append(piece)
    return kept


def _try_all(view: Grey, starts: Iterable[Points], seen: list[_Sighting]) -> bool:
    """Flattens each rough mesh (10, 10, 2) and adds those that are a 9×9 to ``seen``.

    Returns whether one of the others has a frame all the same and so deserves another look.
    """
    open_question = False
    for start in starts:
        if _known(seen)(start.reshape(-1, 2).mean(axis=0)[None])[0]:
            continue
        if cut_side(start, (view.shape[1], view.shape[0]), 0.9):
            continue  # its cells tell as much
        flat = flatten(view, start)
        if not isinstance(flat, Flat):
            continue
        if flat.is_nine:
            seen.append(_Sighting(flat, traits(view, flat)))
        else:
            open_question |= flat.has_frame
    return open_question


def _known(seen: list[_Sighting]) -> Callable[[Points], npt.NDArray[np.bool_]]:
    """Tells which points (N, 2) lie in a grid that ``seen`` holds for sure by then."""
    return lambda points: _inside_any(points, [s.flat.mesh.corners for s in seen if s.sure])


def _masks(view: Grey) -> Iterator[Grey]:
    """Ink at several keennesses, the likeliest first."""
    mask = ink_mask(view, 0.5)
    yield mask
    yield slim(mask, 7)
    mask = ink_mask(view, 1.0)
    yield mask
    yield slim(mask, 7)
    yield ink_mask(view, 2.0)
    yield line_mask(view, 13)
    yield line_mask(view, 9)


def _best(seen: list[_Sighting]) -> list[_Sighting]:
    """Of sightings that overlap only the best supported one."""
    kept: list[_Sighting] = []
    for sighting in sorted(seen, key=lambda s: -s.score):
        corners = sighting.flat.mesh.corners
        others = [k.flat.mesh.corners for k in kept]
        middles = np.array([other.mean(axis=0) for other in others]).reshape(-1, 2)
        if not (
            _inside_any(corners.mean(axis=0)[None], others)[0]
            or _inside_any(middles, [corners]).any()
        ):
            kept.append(sighting)
    return kept


def _reading_order(grids: list[FoundGrid]) -> list[FoundGrid]:
    """Row by row, each from left to right; what begins above another's middle shares its row."""
    left = sorted(grids, key=lambda grid: float(grid.corners[:, 1].min()))
    ordered: list[FoundGrid] = []
    while left:
        middle = float(left[0].corners[:, 1].mean())
        row = [grid for grid in left if float(grid.corners[:, 1].min()) < middle]
        ordered += sorted(row, key=lambda grid: float(grid.corners[:, 0].min()))
        left = [grid for grid in left if grid not in row]
    return ordered


def _area(corners: Points) -> float:
    """Signed area of a polygon (N, 2), positive where it runs clockwise as seen."""
    ahead = np.roll(corners, -1, axis=0)
    return float((corners[:, 0] * ahead[:, 1] - corners[:, 1] * ahead[:, 0]).sum()) / 2


def _inside_any(points: Points, shapes: list[Points]) -> npt.NDArray[np.bool_]:
    """Which of the points (N, 2) lie in one of the convex shapes (4, 2), clockwise as seen."""
    inside = np.zeros(len(points), bool)
    for corners in shapes:
        side = np.roll(corners, -1, axis=0) - corners
        to = points[:, None] - corners
        inside |= (side[:, 0] * to[..., 1] - side[:, 1] * to[..., 0] > 0).all(axis=1)
    return inside


def _found(sighting: _Sighting, biggest: float, scale: Points, size: tuple[int, int]) -> FoundGrid:
    """A flattened 9×9 in raster pixels, with its kind."""
    flat = sighting.flat
    mesh = Mesh((flat.mesh.crossings + 0.5) * scale - 0.5, flat.mesh.seen)
    corners = np.clip((flat.outline + 0.5) * scale - 0.5, 0, np.array(size) - 1.0)
    quality = judge(flat, float(scale.mean()))
    side = cut_side(mesh.crossings, size)
    if side:
        return FoundGrid(GridKind.CUT_OFF, corners, None, cut_off(side, quality))
    if not sighting.traits.plain:
        fine = replace(quality, ok=True, reason=None, sentence=None)
        return FoundGrid(GridKind.OTHER, corners, None, fine)
    if not quality.ok:
        return FoundGrid(GridKind.TOO_POOR, corners, None, quality)
    small = sighting.cell < 0.66 * biggest
    full = sighting.traits.inked > 0.97 and small
    return FoundGrid(GridKind.FULL if full else GridKind.PUZZLE, corners, mesh, quality)


def _fragment(piece: Piece, scale: Points, size: tuple[int, int]) -> FoundGrid:
    """A lattice that is no whole 9×9: cut off if it runs out of the frame, else another kind."""
    corners = np.clip((piece.corners + 0.5) * scale - 0.5, 0, np.array(size) - 1.0)
    quality = Quality(True, cell_px=piece.step * float(scale.mean()))
    if piece.side:
        return FoundGrid(GridKind.CUT_OFF, corners, None, cut_off(piece.side, quality))
    return FoundGrid(GridKind.OTHER, corners, None, quality)
