"""What the network sees on a page: grids, and patches of other and of cut-off ones."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from papernudge.vision.crossings import COARSE, Kind, Seen, Sketch
from papernudge.vision.mesh import Points
from papernudge.vision.quality import SIDES
from papernudge.vision.tuned import several, tuned, whole

Grey = npt.NDArray[np.uint8]
Flags = npt.NDArray[np.bool_]

_SMALL = whole("find_net._SMALL")
"""Long side of the picture in which large grids are seen whole, pixels."""
_LARGE_CELL = tuned("find_net._LARGE_CELL")
"""Cells larger than this, pixels, make a grid too wide for the network to see whole."""
_SMALL_CELL = tuned("find_net._SMALL_CELL")
"""Cells smaller than this, pixels, show too little of what is in them."""
FINE_CELL = tuned("find_net.FINE_CELL")
"""Cells smaller than this are seen, but not where their lines are to a small part of them."""
_SAME = tuned("find_net._SAME")
"""Share of the smaller of two areas in the other from which on they are one grid."""
_TOUCHES = tuned("find_net._TOUCHES")
"""The same from which on they are too near for both."""
_VAGUE = tuned("find_net._VAGUE")
"""What a sketch is worth, up to which a finer look may tell more."""
_LEAST_CHANCE = tuned("find_net._LEAST_CHANCE")
"""Mean chance of a grid's crossings from which on it counts."""
_AROUND = tuned("find_net._AROUND")
"""How far around a grid's middle a closer look goes, cells."""
(_CLOSE_CELLS,) = several("find_net._CLOSE_CELLS")
"""Sides of a cell in closer looks, pixels."""
_LEAST_PATCH = whole("find_net._LEAST_PATCH")
"""Places of the coarse map that a patch is wide and high at least."""
_FEWEST = whole("find_net._FEWEST")
"""Crossings of lines that a grid shows at least."""
_BLUNT = tuned("find_net._BLUNT")
"""What a sketch is worth whose cells the network sees too small or not whole."""
_ASIDE = tuned("find_net._ASIDE")
"""How far the middle of a closer look's grid may lie from the sketch's."""
_SOLID = tuned("find_net._SOLID")
"""Share of its box that a patch fills."""


@dataclass(frozen=True, eq=False, slots=True)
class Patch:
    """Part of a page in which no 9×9 could be told, pixels of the picture.

    ``corners``: (4, 2), clockwise as seen; ``side``: which of the photo's sides cuts it off, None
    for a grid of another kind.
    """

    corners: Points
    side: str | None


def sketched(
    view: Grey, known: list[Points], finer: Callable[[], Grey] | None = None
) -> tuple[list[Sketch], list[Sketch | None], list[Patch]]:
    """Grids of a picture, uint8 (H, W), those known before, and patches of others.

    ``known``: meshes (10, 10, 2) of grids that are known already, where no patch lies: what is
    said of their kind, None where it can't be told; ``finer``: the same picture with more pixels,
    for a third look where grids are small or seen vaguely. Neither of the grids nor of the patches
    does one lie on another.
    A large picture is looked at twice, since the network sees neither very large grids whole nor
    very small ones sharply.
    """
    looks, scales, shrink = looks_at(view)
    wide = looks[-1]
    found = [
        (_worth(s), s.scaled(1 / by))
        for look, by in zip(looks, scales, strict=True)
        for s in look.grids()
    ]
    kept, taken, vague = _kept(found, wide, shrink)
    if finer is not None and (vague or min([s.cell for s in kept], default=0.0) < FINE_CELL):
        more = finer()
        looks, scales = [Seen(more), *looks], [max(more.shape) / max(view.shape), *scales]
        found += [(_worth(s), s.scaled(1 / scales[0])) for s in looks[0].grids()]
        kept, taken, _ = _kept(found, wide, shrink)
    least = FINE_CELL if len(looks) == 3 else _SMALL_CELL
    kept = [with_kinds(sketch, looks, scales, least) or sketch for sketch in kept]
    marked = [Sketch(mesh[::3, ::3], 1.0, np.zeros(4), (mesh,)) for mesh in known]
    taken += [wide.area(sketch.scaled(1 / shrink).rim) for sketch in marked]
    free = ~np.any(taken, axis=0) if taken else np.ones(wide.kinds.shape[1:], bool)
    told = [with_kinds(sketch, looks, scales, FINE_CELL) for sketch in marked]
    return kept, told, _patches(wide, free, shrink)


def looks_at(view: Grey) -> tuple[list[Seen], list[float], float]:
    """The network's looks at a picture, uint8 (H, W), the one at all of it last; their scales, and
    by how much that one's picture is smaller.
    """
    import cv2

    shrink = max(1.0, max(view.shape) / _SMALL)
    if shrink == 1.0:
        return [Seen(view)], [1.0], shrink
    size = (round(view.shape[1] / shrink), round(view.shape[0] / shrink))
    small = cv2.resize(view, size, interpolation=cv2.INTER_AREA)
    return [Seen(view), Seen(np.asarray(small, np.uint8))], [1.0, 1 / shrink], shrink


def _kept(
    found: list[tuple[float, Sketch]], wide: Seen, shrink: float
) -> tuple[list[Sketch], list[Flags], bool]:
    """The sketches that are to be trusted, each place taken once, and whether any is but vague.

    ``found``: with what each is worth; ``shrink``: by how much the ``wide`` look's picture is
    smaller. Also the areas taken, bool (h, w) of that look's map of kinds.
    """
    kept: list[Sketch] = []
    taken: list[Flags] = []
    vague = False
    for worth, sketch in sorted(found, key=lambda item: -item[0]):
        area = wide.area(sketch.scaled(1 / shrink).rim)
        shared = [_shared(area, other) for other in taken]
        if any(share > _SAME for share in shared):
            # Another look's idea of the same grid.
            same = int(np.argmax(shared))
            kept[same] = replace(kept[same], starts=kept[same].starts + sketch.starts)
        elif not any(share > _TOUCHES for share in shared):
            vague |= worth <= _VAGUE
            if worth > _LEAST_CHANCE:
                taken.append(area)
                kept.append(sketch)
    return kept, taken, vague


def looked_closer(grey: Grey, sketch: Sketch) -> list[Points]:
    """More starts for a grid that is seen poorly: (10, 10, 2) meshes, pixels of ``grey``.

    ``grey``: uint8 (H, W), in whose pixels the sketch is told. The network looks at that part
    alone, at sizes that show its lines best.
    """
    import cv2

    middle, reach = sketch.corners.mean(axis=0), _AROUND * sketch.cell
    low = np.maximum(np.floor(middle - reach), 0).astype(int)
    high = np.ceil(middle + reach).astype(int)
    part = grey[low[1] : high[1], low[0] : high[0]]
    found: list[Points] = []
    for cell in _CLOSE_CELLS:
        by = cell / sketch.cell
        size = (max(round(part.shape[1] * by), 32), max(round(part.shape[0] * by), 32))
        how = cv2.INTER_AREA if by < 1 else cv2.INTER_CUBIC
        seen = Seen(np.asarray(cv2.resize(part, size, interpolation=how), np.uint8)).grids()
        aim = (middle - low + 0.5) * by - 0.5
        off = [np.linalg.norm(s.blocks.mean(axis=(0, 1)) - aim) for s in seen]
        near = [s for s, far in zip(seen, off, strict=True) if far < _ASIDE * cell]
        found += [mesh + low for s in near[:1] for mesh in s.scaled(1 / by).starts]
    return found


def with_kinds(
    sketch: Sketch, seen: list[Seen], scales: list[float], least: float
) -> Sketch | None:
    """The sketch with what the looks say of its kind; None where none sees it whole and sharp.

    ``least``: side of a cell, pixels of a look, from which on that is sharp enough.
    """
    told = [
        look.kinds_in(sketch.scaled(scale).rim)
        for look, scale in zip(seen, scales, strict=True)
        if least < sketch.cell * scale < _LARGE_CELL
    ]
    if not (heard := [kinds for kinds in told if kinds is not None]):
        return None
    return replace(sketch, kinds=np.asarray(np.mean(heard, axis=0), np.float64))


def _worth(sketch: Sketch) -> float:
    """How far a sketch is to be trusted, 0 to 1, in pixels of the picture it was seen in."""
    whole_and_sharp = FINE_CELL < sketch.cell < _LARGE_CELL
    return sketch.chance * (1.0 if whole_and_sharp else _BLUNT)


def _shared(one: Flags, two: Flags) -> float:
    """Share of the smaller of two areas that lies in the other."""
    return float((one & two).sum()) / max(min(int(one.sum()), int(two.sum())), 1)


def _patches(wide: Seen, free: Flags, shrink: float) -> list[Patch]:
    """Connected places of one kind, where ``free`` (h, w), that no grid takes.

    What partly looks like another kind is one: all grids that the photo cuts look alike.
    """
    import cv2

    found: list[Patch] = []
    for kind in (Kind.OTHER, Kind.CUT):
        mask = ((wide.kinds.argmax(axis=0) == kind) & free).astype(np.uint8)
        mask = np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)))
        count, labels, stats, _ = cv2.connectedComponentsWithStats(mask)
        for number in range(1, count):
            size = stats[number, cv2.CC_STAT_WIDTH : cv2.CC_STAT_AREA]
            part = labels == number
            if size.min() < _LEAST_PATCH or part.sum() < _SOLID * size.prod():
                continue
            side = _cut_by(part)
            if wide.crossings_in(part) < _FEWEST or (kind == Kind.CUT and side is None):
                continue
            y, x = np.nonzero(part)
            box = cv2.boxPoints(cv2.minAreaRect(np.stack([x, y], axis=1).astype(np.float32)))
            at = (np.asarray(box, np.float64) * COARSE + (COARSE - 1) / 2 + 0.5) * shrink - 0.5
            patch = Patch(_clockwise(at), side if kind == Kind.CUT else None)
            if not any(_overlap(patch.corners, other.corners) for other in found):
                found.append(patch)
    return found


def _overlap(one: Points, two: Points) -> bool:
    """Whether the middle of one shape (4, 2) lies in the other."""
    import cv2

    def holds(shape: Points, middle: Points) -> bool:
        x, y = middle.tolist()
        return cv2.pointPolygonTest(shape.astype(np.float32), (x, y), False) > 0

    return holds(one, two.mean(axis=0)) or holds(two, one.mean(axis=0))


def _cut_by(part: Flags) -> str | None:
    """The side of the picture that an area (h, w) touches most, None if it touches none."""
    touching = [int(rim.sum()) for rim in (part[:, 0], part[:, -1], part[0], part[-1])]
    return SIDES[int(np.argmax(touching))] if any(touching) else None


def _clockwise(corners: Points) -> Points:
    middle = corners - corners.mean(axis=0)
    ordered = corners[np.argsort(np.arctan2(middle[:, 1], middle[:, 0]))]
    return np.asarray(np.roll(ordered, -int(ordered.sum(axis=1).argmin()), axis=0), np.float64)
