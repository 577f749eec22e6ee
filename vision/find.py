"""Finds every grid on a page.

Connected ink comes first: on most photos it shows one plain grid at once. What it leaves open, a
small network answers (:mod:`crossings`): where it sees block lines cross, a mesh begins.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from papernudge.vision.crossings import Sketch
from papernudge.vision.find_again import Again, look_again
from papernudge.vision.find_kind import Traits, chance_plain, traits
from papernudge.vision.find_net import Patch, looked_closer, sketched
from papernudge.vision.find_outlines import Contour, ink_mask, outlines, paper_pieces, parts_of
from papernudge.vision.flatten import Flat, better, flatten, refined
from papernudge.vision.grid import FoundGrid, GridKind, Quality
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.quality import (
    LEAST_CELL,
    cut_off,
    cut_side,
    judge,
    squeezed_side,
    too_faint,
    too_many,
    too_small,
)
from papernudge.vision.tuned import tuned, whole

Grey = npt.NDArray[np.uint8]

_LONG = whole("find._LONG")
"""Long side of the picture that is searched, pixels."""
_CLOSER = whole("find._CLOSER")
"""The same of that in which small grids are measured."""
_FINER = whole("find._FINER")
"""The same of that in which the network looks for small ones."""
_SMALL_CELL = tuned("find._SMALL_CELL")
"""Cells smaller than this, pixels of the searched picture, are."""
_LEAST = whole("find._LEAST")
"""Smallest side of a grid that is looked for, pixels of that picture."""
_BEGS = whole("find._BEGS")
"""Closed cells from which on a piece of ink that is no known grid begs a question."""
_BEGS_BESIDE = whole("find._BEGS_BESIDE")
"""The same where its middle lies in a known grid."""
_ROOM = tuned("find._ROOM")
"""Share of the picture outside known grids from which on there may be others."""
_PLAIN = tuned("find._PLAIN")
"""Chance from which on the network calls a grid plain."""
_SURELY = tuned("find._SURELY")
"""Chance at which that needs no support by what its lines look like."""
_GOES_ON = tuned("find._GOES_ON")
"""Share of lines that run on beyond the frame from which on it is part of a larger grid."""
_CLEAR = tuned("find._CLEAR")
"""Score from which on a mesh is clear enough not to be looked at closer."""
_LOOSE = tuned("find._LOOSE")
"""Score below which a mesh without plain lines around blocks may lie anywhere."""
_SEEN_WELL = tuned("find._SEEN_WELL")
"""How well the crossings of a grid are seen, laid flat, where its faint lines need no support."""
_LOOKS = whole("find._LOOKS")
"""How often a mesh is looked at again at most."""
_MOSTLY = tuned("find._MOSTLY")
"""How well each of its blocks is seen when that is not worth it."""
_FEW = whole("find._FEW")
"""Grids on a page up to which each is looked at as often as it takes: a bound of time."""
_MOST = whole("find._MOST")
"""Grids of a page of which no more are measured: a bound of time."""
_TINY = tuned("find._TINY")
"""Size of a sketched cell, of the least that can be read, below which measuring it is idle."""
_ALIKE = tuned("find._ALIKE")
"""Usual distance of two meshes' crossings, cells, below which they are the same grid."""
_KEEN = tuned("find._KEEN")
"""Contrast that ink is looked for with first, shares of the usual one."""
_BEYOND = tuned("find._BEYOND")
"""Cells that a rough outline may lie beyond the photo before it is left to the network."""
_LIKE_LEAST = tuned("find._LIKE_LEAST")
"""Side of a closed cell, at least, in those of a grid on the same page, that speaks for another."""
_LIKE_MOST = tuned("find._LIKE_MOST")
"""The same at most."""
_BEGS_WIDE = tuned("find._BEGS_WIDE")
"""Narrowest side of a piece of ink that begs a question, cells of a known grid."""
_SHRUNK = tuned("find._SHRUNK")
"""Raster pixels per pixel from which on a finer picture tells more."""
_SMALLER = tuned("find._SMALLER")
"""Cell, shares of the page's largest, below which a filled grid is a printed solution."""
_FILLED = tuned("find._FILLED")
"""Share of cells with something in them from which on a small grid is a printed solution."""


@dataclass(frozen=True, eq=False, slots=True)
class _Sighting:
    """A 9×9 lattice that was flattened, with what it looks like.

    ``scale``: raster pixels per pixel that it was measured in, x and y; ``said``: what the network
    says of it, if it was asked.
    """

    flat: Flat
    traits: Traits
    scale: Points
    said: Sketch | None = None
    again: Again | None = None

    @property
    def plain(self) -> bool:
        """Whether it is a grid of nine plain 3×3 blocks and of no other kind."""
        looks_plain = chance_plain(self.traits) > 0.5
        if self.said is None:
            return looks_plain
        if self.said.plain > _SURELY:
            return self.traits.goes_on <= _GOES_ON
        lines = self.flat.is_nine or self.flat.has_blocks
        return self.said.plain > _PLAIN and looks_plain and lines

    @property
    def loose(self) -> bool:
        """Whether too few lines bear the mesh out."""
        if self.flat.is_nine:
            return False
        if self.again is not None and (self.again.lost or self.again.fit > _SEEN_WELL):
            return self.again.lost
        return not self.flat.has_blocks and self.flat.score < _LOOSE

    @property
    def mesh(self) -> Mesh:
        """Its crossings in raster pixels."""
        crossings = (self.flat.mesh.crossings + 0.5) * self.scale - 0.5
        return Mesh(crossings, self.flat.mesh.seen)

    @property
    def outline(self) -> Points:
        """Corners (4, 2) of its frame's ink, raster pixels."""
        return np.asarray((self.flat.outline + 0.5) * self.scale - 0.5, np.float64)

    @property
    def cell(self) -> float:
        """Side of a cell, raster pixels."""
        return float(np.sqrt(abs(area(self.mesh.corners)))) / 9


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


@dataclass(frozen=True, eq=False, slots=True)
class Searched:
    """A page as it is searched. ``view``: uint8 (h, w); ``scale``: float64 (2,), raster pixels per
    pixel of it, x and y; ``frames``, ``pieces``: outer contours of its ink, and of the paper that
    ink encloses.
    """

    view: Grey
    scale: Points
    frames: list[Contour]
    pieces: list[Contour]

    @classmethod
    def of(cls, raster: npt.NDArray[np.uint8]) -> Searched | None:
        """None where the raster, uint8 (H, W, 3), is too small or narrow to show a grid."""
        if min(raster.shape[:2]) < _LEAST:
            return None
        view, scale = work_view(raster)
        return (
            None if min(view.shape) < _LEAST else cls(view, scale, *parts_of(ink_mask(view, _KEEN)))
        )


def find_grids(
    raster: npt.NDArray[np.uint8], page: Searched | None = None
) -> tuple[FoundGrid, ...]:
    """All grids of a page, in reading order of the raster.

    ``raster``: uint8 (H, W, 3), blue, green, red, as decoded; ``page``: the same as it is searched,
    where that is known. A whole 9×9 grid of good quality
    has kind puzzle (or full) and a mesh; others are marked by their kind. ``corners`` are those
    of the frame's ink, the mesh's those of its lines' middles. Which of the four turns is
    upright is not decided here.
    """
    page = page or Searched.of(raster)
    if page is None:
        return ()
    view, scale = page.view, page.scale
    sightings, asks = _by_ink(page)
    patches: list[Patch] = []
    left: list[Sketch] = []
    if asks:
        sightings, patches, left = _by_net(raster, view, scale, sightings)
    size = (raster.shape[1], raster.shape[0])
    biggest = max([s.cell for s in sightings], default=0.0)
    grids = [_found(sighting, biggest, size) for sighting in sightings]
    grids += [_patched(patch, scale, size) for patch in patches]
    grids += [_left(sketch, scale, size, len(sightings)) for sketch in left]
    return tuple(_reading_order(grids))


def _by_ink(page: Searched) -> tuple[list[_Sighting], bool]:
    """9×9 lattices that connected ink shows beyond doubt, and whether it leaves anything open."""
    view, scale, frames, pieces = page.view, page.scale, page.frames, page.pieces
    seen: list[_Sighting] = []
    for start in outlines(frames, _LEAST, lambda points: inside_any(points, _corners(seen))):
        if cut_side(start, (view.shape[1], view.shape[0]), _BEYOND):
            continue
        flat = flatten(view, start)
        if isinstance(flat, Flat) and flat.sure and flat.is_nine:
            sighting = _Sighting(flat, traits(view, flat), scale)
            if not sighting.traits.halves:
                seen.append(sighting)
    if not seen or not all(s.plain for s in seen):
        return seen, True
    room = view.size - sum(abs(area(corners)) for corners in _corners(seen))
    asks = room > _ROOM * view.size or _begs(seen, frames, *paper_pieces(pieces, _LEAST // 9))
    return seen, asks


def _corners(sightings: list[_Sighting]) -> list[Points]:
    """Corners (4, 2) of meshes, pixels of the picture that they were seen in."""
    return [s.flat.mesh.corners for s in sightings]


def _begs(seen: list[_Sighting], frames: list[Contour], centres: Points, sizes: Points) -> bool:
    """Whether a piece of ink in no known place may be a grid like those seen.

    ``frames``: outer contours; ``centres``, ``sizes``: (N, 2) of what may be cells. Pages print
    their puzzles much alike: what has cells of quite another size is left alone.
    """
    import cv2

    told = _corners(seen)
    cell = min(float(np.sqrt(abs(area(corners)))) / 9 for corners in told)
    side = np.sqrt(sizes.prod(axis=1))
    like = (side > _LIKE_LEAST * cell) & (side < _LIKE_MOST * cell)
    cells = centres[like & ~inside_any(centres, told)]
    for contour in frames:
        if len(contour) < 8 * cell:
            continue
        x, y, wide, high = cv2.boundingRect(contour)
        middle = np.array([[x + wide / 2, y + high / 2]])
        if min(wide, high) < _BEGS_WIDE * cell:
            continue
        held = ((cells > [x, y]) & (cells < [x + wide, y + high])).all(axis=1).sum()
        # A crease may join a grid to one that is known: then there are many cells beside it.
        if held >= (_BEGS_BESIDE if inside_any(middle, told)[0] else _BEGS):
            return True
    return False


def _by_net(
    raster: npt.NDArray[np.uint8], view: Grey, scale: Points, known: list[_Sighting]
) -> tuple[list[_Sighting], list[Patch], list[Sketch]]:
    """What the network sees on a page, beside and in place of the grids known by their ink.

    ``scale``: of the view; patches are in its pixels. Last the grids that were not measured: too
    small to be read, or too many.
    """
    meshes = [s.flat.mesh.crossings for s in known]
    finer = (lambda: work_view(raster, _FINER)[0]) if float(scale.max()) > _SHRUNK else None
    sketches, kinds, patches = sketched(view, meshes, finer)
    known = [replace(s, said=kind) for s, kind in zip(known, kinds, strict=True)]
    few = len(sketches) <= _FEW
    seen: list[_Sighting] = []
    left: list[Sketch] = []
    closer: tuple[Grey, Points] | None = None
    for sketch in sketches:
        mine = [s for s in known if overlaps(sketch.corners, [s.flat.mesh.corners])]
        same = [s for s in mine if _lie_alike(sketch.starts[0], s.flat.mesh.crossings)]
        if same or any(s.plain for s in mine):
            seen += same[:1]
            known = [s for s in known if s not in same]
            continue
        if sketch.cell * float(scale.mean()) < _TINY * LEAST_CELL or len(seen) >= _MOST:
            left.append(sketch)
            continue
        known = [s for s in known if s not in mine]
        grey, by = view, scale
        if sketch.cell < _SMALL_CELL and float(scale.max()) > _SHRUNK:
            closer = closer or work_view(raster, _CLOSER)
            grey, by = closer
        flat = _measured(grey, sketch.scaled(float((scale / by).mean())), few)
        found = list(mine)
        if flat is not None:
            again: Again | None = None
            # Of many grids only those are looked at again whose lines leave doubt, once.
            if few or not flat.is_nine:
                flat, again = _looked_again(grey, flat, _LOOKS if few else 0)
            found.append(_Sighting(flat, traits(grey, flat), by, sketch, again))
        seen += sorted(found, key=lambda s: -s.flat.score)[:1]
    return seen + known, patches, left


def _measured(grey: Grey, sketch: Sketch, closer: bool) -> Flat | None:
    """The mesh that a sketch leads to, looked at ``closer`` where its lines leave doubt."""
    flat = refined(grey, sketch.starts)
    if not closer or (flat is not None and (flat.is_nine or flat.score > _CLEAR)):
        return flat
    starts = looked_closer(grey, sketch)
    again = refined(grey, starts) if starts else None
    if flat is None or again is None:
        return flat or again
    return better(flat, again)


def _looked_again(grey: Grey, flat: Flat, most: int = _LOOKS) -> tuple[Flat, Again]:
    """The mesh, or a better one where another of so many looks shows that it went astray, and that
    look.
    """
    again = look_again(grey, flat.mesh)
    for _ in range(most):
        if again.blocks == 16 and again.worst > _MOSTLY:
            break
        others = [refined(grey, [start]) for start in again.starts]
        looks = [(other, look_again(grey, other.mesh)) for other in others if other is not None]
        other, anew = max(looks, key=lambda look: look[1].fit, default=(flat, again))
        if anew.fit <= again.fit:
            break
        flat, again = other, anew
    return flat, again


def _lie_alike(mesh: Points, other: Points) -> bool:
    """Whether two meshes (10, 10, 2) are the same in one of the four turns, but for some noise."""
    cell = float(np.sqrt(abs(area(mesh[[0, 0, 9, 9], [0, 9, 9, 0]])))) / 9
    off = [np.linalg.norm(np.rot90(mesh, k) - other, axis=-1).mean() for k in range(4)]
    return float(min(off)) < _ALIKE * cell


def overlaps(corners: Points, others: list[Points]) -> bool:
    """Whether a shape's (4, 2) middle lies in another or another's in it."""
    middles = np.array([other.mean(axis=0) for other in others]).reshape(-1, 2)
    return bool(
        inside_any(corners.mean(axis=0)[None], others)[0] or inside_any(middles, [corners]).any()
    )


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


def area(corners: Points) -> float:
    """Signed area of a polygon (N, 2), positive where it runs clockwise as seen."""
    ahead = np.roll(corners, -1, axis=0)
    return float((corners[:, 0] * ahead[:, 1] - corners[:, 1] * ahead[:, 0]).sum()) / 2


def inside_any(points: Points, shapes: list[Points]) -> npt.NDArray[np.bool_]:
    """Which of the points (N, 2) lie in one of the convex shapes (4, 2), clockwise as seen."""
    inside = np.zeros(len(points), bool)
    for corners in shapes:
        side = np.roll(corners, -1, axis=0) - corners
        to = points[:, None] - corners
        inside |= (side[:, 0] * to[..., 1] - side[:, 1] * to[..., 0] > 0).all(axis=1)
    return inside


def _found(sighting: _Sighting, biggest: float, size: tuple[int, int]) -> FoundGrid:
    """A flattened 9×9 in raster pixels, with its kind. ``size``: the raster's width and height."""
    mesh = sighting.mesh
    corners = np.clip(sighting.outline, 0, np.array(size) - 1.0)
    quality = judge(sighting.flat, float(sighting.scale.mean()))
    if not sighting.plain:
        fine = replace(quality, ok=True, reason=None, says=None)
        return FoundGrid(GridKind.OTHER, corners, None, fine)
    side = cut_side(mesh.crossings, size) or squeezed_side(mesh.crossings, size)
    if side:
        return FoundGrid(GridKind.CUT_OFF, corners, None, cut_off(side, quality))
    if sighting.loose and quality.ok:
        quality = too_faint(quality)
    if not quality.ok:
        return FoundGrid(GridKind.TOO_POOR, corners, None, quality)
    small = sighting.cell < _SMALLER * biggest
    full = sighting.traits.inked > _FILLED and small
    kind = GridKind.FULL if full else GridKind.PUZZLE
    return FoundGrid(kind, corners, mesh, quality)


def _patched(patch: Patch, scale: Points, size: tuple[int, int]) -> FoundGrid:
    """Part of the page that the network calls another grid or one that the photo cuts off."""
    corners = np.clip((patch.corners + 0.5) * scale - 0.5, 0, np.array(size) - 1.0)
    if patch.side:
        return FoundGrid(GridKind.CUT_OFF, corners, None, cut_off(patch.side, Quality(True)))
    return FoundGrid(GridKind.OTHER, corners, None, Quality(True))


def _left(sketch: Sketch, scale: Points, size: tuple[int, int], others: int) -> FoundGrid:
    """A grid that was not measured. ``others``: how many of the page were."""
    corners = np.clip((sketch.corners + 0.5) * scale - 0.5, 0, np.array(size) - 1.0)
    if sketch.plain <= _PLAIN:
        return FoundGrid(GridKind.OTHER, corners, None, Quality(True))
    cell = sketch.cell * float(scale.mean())
    quality = too_small(cell) if cell < LEAST_CELL else too_many(others)
    return FoundGrid(GridKind.TOO_POOR, corners, None, quality)
