"""Finds every grid on a page."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from papernudge.vision.find_cells import lattices, meshes_of, paper_pieces
from papernudge.vision.find_cut import Piece, piece_of
from papernudge.vision.find_grow import by_blocks, grow, resided, spread, windows
from papernudge.vision.find_joints import joint_lattices
from papernudge.vision.find_kind import Traits, digits_in_place, traits
from papernudge.vision.find_outlines import Contour, ink_mask, outlines, parts_of, slim
from papernudge.vision.find_siblings import nearby, siblings
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
_FAIR = 0.8
"""Score from which on a 9×9 explains the ink in its place, even if some of it is faint."""
_BEGS = 4
"""Closed cells from which on a piece of ink that is no known grid is looked at closely."""
_BEGS_BESIDE = 12
"""The same where its middle lies in a known grid."""
_WORTH_REPAIR = 0.5
"""Score from which on a mesh that is no 9×9 may become one."""
_BY_BLOCKS = 3
"""How often a mesh is laid by the lines around blocks, as long as it gets better."""
_AWAY = 0.6
"""Cells from the photo's edge within which every line of a grid must be seen."""
_SAME = 0.1
"""Usual distance of two meshes' crossings, cells, below which they are the same grid."""
_WORTH_SIDES = 0.65
"""Score from which on the sides of a mesh that was laid so are looked for anew."""
_FINE = 0.93
"""Score from which on that is not needed."""
_WIDEST = 120.0
"""Largest cell that is looked for by its joints, pixels of that picture."""
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
    def rank(self) -> float:
        """The score less what speaks for another mesh of the same place.

        That is blocks around which sides are missing, and lines as heavy as the other kind.
        """
        wrong = self.traits.thin_blocks + self.traits.thick_inside
        return self.score * (0.8 + 0.2 * self.flat.framed) * (1.0 - 0.2 * wrong)

    @property
    def sure(self) -> bool:
        """Whether no other mesh for the same place could be better."""
        return self.flat.sure and self.traits.plain

    def lies_like(self, other: _Sighting) -> bool:
        """Whether the two meshes are the same, but for what measuring leaves open."""
        return _lie_alike(self.flat.mesh.crossings, other.flat.mesh.crossings)

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
    search = _Search(view, coarse=float(scale.max()) > 1.2)
    unsure = search.by_ink()
    if unsure and not search.looks_closer:
        search.by_joints(_WIDEST)
    if not search.looks_closer:
        search.by_siblings()
    size = (raster.shape[1], raster.shape[0])
    first = _grids(search, scale, size)
    if search.coarse and search.smallest < _SMALL_CELL:
        view, scale = work_view(raster, _CLOSER)
        search = _Search(view)
        if search.by_ink() or unsure:
            search.by_joints(_WIDEST / 2)
        search.by_siblings()
        grids = _grids(search, scale, size)
        closer = [grid.corners for grid in grids]
        grids += [g for g in first if not _overlaps(g.corners, closer)]
    else:
        grids = first
    return tuple(_reading_order(grids))


def _grids(search: _Search, scale: Points, size: tuple[int, int]) -> list[FoundGrid]:
    """What a search found, in raster pixels. ``scale``: of its view; ``size``: of the raster."""
    sightings, partial = search.told()
    biggest = max([s.cell for s in sightings] + [p.step for p in partial], default=0.0)
    grids = [_found(sighting, biggest, scale, size) for sighting in sightings]
    return grids + [_fragment(lattice, scale, size) for lattice in partial]


def _overlaps(corners: Points, others: list[Points]) -> bool:
    """Whether a shape's (4, 2) middle lies in another or another's in it."""
    middles = np.array([other.mean(axis=0) for other in others]).reshape(-1, 2)
    return bool(
        _inside_any(corners.mean(axis=0)[None], others)[0] or _inside_any(middles, [corners]).any()
    )


class _Search:
    """A search of one view for 9×9 lattices and pieces of such.

    ``coarse``: whether the photo shows markedly more than the view.
    """

    def __init__(self, view: Grey, coarse: bool = False) -> None:
        self.view = view
        self.coarse = coarse
        self.seen: list[_Sighting] = []
        self.partial: list[Piece] = []
        self._tried: list[Points] = []
        self._meshes: list[Points] = []
        self._rough: list[tuple[Points, Flat]] = []

    @property
    def smallest(self) -> float:
        """Side of the smallest cell seen, pixels of the view; 0 if there is none."""
        cells = [s.cell for s in self.seen] + [p.step for p in self.partial]
        return min(cells, default=0.0)

    @property
    def looks_closer(self) -> bool:
        """Whether a search of a finer view is to follow: then this one need not be thorough."""
        return self.coarse and 0.0 < self.smallest < _SMALL_CELL

    def by_ink(self) -> bool:
        """Looks at connected ink and closed cells; whether anything there begs a question."""
        begging: list[tuple[list[Contour], Points, Points]] = []
        for number, mask in enumerate(_masks(self.view)):
            frames, pieces = parts_of(mask)
            self._try_all(outlines(frames, _LEAST, self._known()))
            centres, sizes = paper_pieces(pieces, _LEAST // 9, min(mask.shape) // 3)
            outside = ~self._known()(centres)
            linked = lattices(centres[outside], sizes[outside])
            judged = (piece_of(self.view, lattice) for lattice in linked)
            # What only a keener look shows is too doubtful to be called another kind of grid.
            self.partial += [p for p in judged if p and (p.side or number == 0)]
            self._try_all(start for lattice in linked for start in meshes_of(lattice))
            self._repair()
            begging.append((frames, centres, sizes))
            unsure = any(self._unexplained(*shown) for shown in begging)
            if not unsure:
                break
        return unsure

    def by_joints(self, widest: float) -> None:
        """Grows lattices from joints of lines wherever no grid is known for sure.

        ``widest``: largest cell that is looked for, pixels.
        """
        import cv2

        outside = np.full(self.view.shape, 1, np.uint8)
        for corners in self._sure_corners():
            cv2.fillConvexPoly(outside, np.rint(corners).astype(np.int32), 0)
        for lattice in joint_lattices(self.view, outside.astype(bool), widest):
            if self._known()(lattice.centres.mean(axis=0)[None])[0]:
                continue
            grown = grow(self.view, lattice, 0.5)
            if grown is None:
                continue
            self._try_all(windows(self.view, grown))
            self._repair()
            piece = piece_of(self.view, grown.as_lattice(), need_blocks=True)
            if piece and piece.side:
                self.partial.append(piece)

    def by_siblings(self) -> None:
        """Looks where the grids found so far call for others like them."""
        plain = [s for s in _best(self.seen) if s.traits.plain and s.rank > _FAIR]
        usual = float(np.median([s.flat.contrast_of_blocks for s in plain])) if plain else 0.0
        for place in siblings([s.flat.mesh.crossings for s in plain], self.view.shape):
            corners = [s.flat.mesh.corners for s in self.seen if s.traits.plain and s.rank > _FAIR]
            if _inside_any(place.mean(axis=(0, 1))[None], corners)[0]:
                continue
            moved = nearby(self.view, place, usual)
            for start in () if moved is None else (place, moved):
                flat = flatten(self.view, start)
                if not isinstance(flat, Flat) or flat.cut:
                    continue
                flat = self._by_sides(self._by_blocks(start, flat))
                if self._is_nine(flat):
                    self._keep(flat, only_plain=True)
                    break

    def told(self) -> tuple[list[_Sighting], list[Piece]]:
        """The best of what was seen in each place."""
        kept = _best(self.seen)
        return kept, _apart(self.partial, [s.flat.mesh.corners for s in kept])

    def _sure_corners(self) -> list[Points]:
        return [s.flat.mesh.corners for s in self.seen if s.sure]

    def _known(self) -> Callable[[Points], npt.NDArray[np.bool_]]:
        """Tells which points (N, 2) lie in a grid that is found for sure by then."""
        return lambda points: _inside_any(points, self._sure_corners())

    def _try_all(self, starts: Iterable[Points]) -> None:
        """Flattens each rough mesh (10, 10, 2) and keeps those that are a 9×9."""
        for start in starts:
            if self._known()(start.reshape(-1, 2).mean(axis=0)[None])[0]:
                continue
            if cut_side(start, (self.view.shape[1], self.view.shape[0]), 0.9):
                continue  # its cells tell as much
            flat = flatten(self.view, start)
            if not isinstance(flat, Flat):
                continue
            nine = self._is_nine(flat)
            if nine:
                self._keep(flat)
            if (nine and not flat.sure) or (not nine and flat.score > _WORTH_REPAIR):
                self._rough.append((start, flat))

    def _repair(self) -> None:
        """Lays anew what is no 9×9 yet, or not for sure, where nothing better was found."""
        for start, flat in sorted(self._rough, key=lambda item: -item[1].score):
            if not self._known()(flat.mesh.crossings.reshape(-1, 2).mean(axis=0)[None])[0]:
                for better in (self._repaired(flat), self._laid(start, flat)):
                    if better is not flat and self._is_nine(better):
                        self._keep(better)
        self._rough = []

    def _laid(self, start: Points, flat: Flat) -> Flat:
        """The better of a mesh and those laid by the lines around blocks, from where it began."""
        if self.looks_closer or flat.cut or self._done(flat):
            return flat
        laid = self._by_sides(self._by_blocks(start, flat))
        self._meshes += [flat.mesh.crossings, laid.mesh.crossings]
        return laid

    def _done(self, flat: Flat) -> bool:
        """Whether a mesh lies as one laid before, or on a grid that is beyond much doubt."""
        middle = flat.mesh.crossings.mean(axis=(0, 1))
        good = [s.flat.mesh.corners for s in self.seen if s.traits.plain and s.rank > _FINE]
        return bool(_inside_any(middle[None], good)[0]) or any(
            _lie_alike(flat.mesh.crossings, mesh) for mesh in self._meshes
        )

    def _by_blocks(self, start: Points, flat: Flat) -> Flat:
        begin = start
        for _ in range(_BY_BLOCKS):
            if (mesh := by_blocks(self.view, begin)) is None:
                break
            other = flatten(self.view, mesh)
            if not isinstance(other, Flat) or self._worth(other) <= self._worth(flat) + 0.005:
                break
            flat, begin = other, other.mesh.crossings
        return flat

    def _by_sides(self, flat: Flat) -> Flat:
        for _ in range(_BY_BLOCKS if _WORTH_SIDES < flat.score < _FINE else 0):
            meshes = resided(self.view, flat.mesh.crossings)
            others = [o for o in (flatten(self.view, m) for m in meshes) if isinstance(o, Flat)]
            best = max(others, key=self._worth, default=flat)
            if self._worth(best) <= self._worth(flat) + 0.005:
                break
            flat = best
        return flat

    def _keep(self, flat: Flat, only_plain: bool = False) -> None:
        """Adds a 9×9 to what was seen; without thin lines its blocks must be plain."""
        sighting = _Sighting(flat, traits(self.view, flat))
        if only_plain and not sighting.traits.plain:
            return
        if sighting.traits.halves:
            return  # it lies on two grids, on every second line of theirs
        if flat.is_nine or sighting.traits.blocks_plain:
            self.seen.append(sighting)

    def _worth(self, flat: Flat) -> float:
        """The score, and one more for a 9×9."""
        return flat.score + float(self._is_nine(flat))

    def _is_nine(self, flat: Flat) -> bool:
        if flat.is_nine:
            return True
        if flat.has_crowd:
            # At the photo's edge one of the lines not seen may be what the edge cuts off.
            size = (self.view.shape[1], self.view.shape[0])
            return cut_side(flat.mesh.crossings, size, -_AWAY) is None
        return flat.has_blocks and digits_in_place(self.view, flat)

    def _repaired(self, flat: Flat) -> Flat:
        """The better of a mesh and one grown anew from those of its lines that are there."""
        middle = flat.mesh.crossings.reshape(-1, 2).mean(axis=0)
        cell = float(np.sqrt(abs(_area(flat.mesh.corners)))) / 9
        if any(np.linalg.norm(middle - done) < 0.1 * cell for done in self._tried):
            return flat
        self._tried.append(middle)
        grown = spread(self.view, _borne_out(flat))
        for mesh in windows(self.view, grown, 2) if grown else ():
            other = flatten(self.view, mesh)
            if isinstance(other, Flat) and (self._is_nine(other), other.score) > (
                self._is_nine(flat),
                flat.score,
            ):
                flat = other
        return flat

    def _unexplained(self, frames: list[Contour], centres: Points, sizes: Points) -> bool:
        """Whether a piece of ink in no known place may be a grid like those seen.

        ``frames``: outer contours; ``centres``, ``sizes``: (N, 2) of what may be cells. Pages print
        their puzzles much alike: what has cells of quite another size is left alone.
        """
        import cv2

        plain = [s for s in self.seen if s.traits.plain and s.score > _FAIR]
        if not plain:
            return True
        cell = min(s.cell for s in plain)
        told = [s.flat.mesh.corners for s in plain] + [p.corners for p in self.partial]
        side = np.sqrt(sizes.prod(axis=1))
        like = (side > 0.45 * cell) & (side < 3.6 * cell)
        cells = centres[like & ~_inside_any(centres, told)]
        for contour in frames:
            if len(contour) < 8 * cell:
                continue
            x, y, wide, high = cv2.boundingRect(contour)
            middle = np.array([[x + wide / 2, y + high / 2]])
            if min(wide, high) < 2.7 * cell:
                continue
            held = ((cells > [x, y]) & (cells < [x + wide, y + high])).all(axis=1).sum()
            # A crease may join a grid to one that is known: then there are many cells beside it.
            if held >= (_BEGS_BESIDE if _inside_any(middle, told)[0] else _BEGS):
                return True
        return False


def _lie_alike(mesh: Points, other: Points) -> bool:
    """Whether two meshes (10, 10, 2) are the same, but for what measuring leaves open."""
    cell = float(np.sqrt(abs(_area(mesh[[0, 0, 9, 9], [0, 9, 9, 0]])))) / 9
    return float(np.linalg.norm(mesh - other, axis=-1).mean()) < _SAME * cell


def _borne_out(flat: Flat) -> Points:
    """Those crossings (R, C, 2) of a mesh that no missing line parts from its middle."""
    crossings = flat.mesh.crossings
    for way in (0, 1):
        sure = flat.evidence[way]
        lost = np.flatnonzero(sure < min(1.5, 0.3 * float(np.median(sure))))
        first = max((k + 1 for k in lost.tolist() if k < 4), default=0)
        last = min((k for k in lost.tolist() if k > 5), default=10)
        lines = crossings if way == 0 else crossings.transpose(1, 0, 2)
        lines = lines[first:last]
        crossings = lines if way == 0 else lines.transpose(1, 0, 2)
    return crossings


def _apart(pieces: list[Piece], taken: list[Points]) -> list[Piece]:
    """Pieces of grids that do not lie on ``taken`` (4, 2) or on a piece with more cells."""
    kept: list[Piece] = []
    for piece in sorted(pieces, key=lambda p: -p.cells):
        if not _overlaps(piece.corners, taken + [k.corners for k in kept]):
            kept.append(piece)
    return kept


def _masks(view: Grey) -> Iterator[Grey]:
    """Ink at several keennesses, the likeliest first."""
    mask = ink_mask(view, 0.5)
    yield mask
    yield slim(mask, 7)
    mask = ink_mask(view, 1.0)
    yield mask
    yield slim(mask, 7)
    yield ink_mask(view, 2.0)


def _best(seen: list[_Sighting]) -> list[_Sighting]:
    """Of sightings that overlap only the best supported one.

    Where it was seen several times, what it is goes by the most of those.
    """
    kept: list[_Sighting] = []
    for sighting in sorted(seen, key=lambda s: -s.rank):
        if _overlaps(sighting.flat.mesh.corners, [k.flat.mesh.corners for k in kept]):
            continue
        here = [s for s in seen if s.lies_like(sighting)]
        other = [s for s in here if s.traits.plain is not sighting.traits.plain]
        most = 2 * len(other) > len(here)
        kept.append(max(other, key=lambda s: s.rank) if most else sighting)
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
    # A cut lattice without blocks may be anything.
    alike = sighting.traits.sure_blocks < 2.0 or sighting.traits.blocks < 1.08
    if side and not alike:
        return FoundGrid(GridKind.CUT_OFF, corners, None, cut_off(side, quality))
    if side or not sighting.traits.plain:
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
