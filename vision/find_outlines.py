"""Candidate outlines of grids: big connected pieces of ink and their four sides."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import NEWSPAPER
from papernudge.vision.flatten import homography, lattice, project
from papernudge.vision.lines import ranked
from papernudge.vision.mesh import Points
from papernudge.vision.tuned import tuned, whole

Grey = npt.NDArray[np.uint8]
Contour = npt.NDArray[np.int32]
_AROUND = whole("find_outlines._AROUND")
"""The brightness around ink is averaged over the picture's long side by this."""
LIFTED = tuned("find_outlines.LIFTED")
"""What is darker than this share of its surroundings is left out of their brightness."""
_STANDS_OUT = tuned("find_outlines._STANDS_OUT")
"""How much darker than its surroundings ink is."""
_NOISE = tuned("find_outlines._NOISE")
"""And by so much more, against noise."""
_LONG_CELL = tuned("find_outlines._LONG_CELL")
"""How many times longer than wide a cell may look."""
_WHOLE_CELL = tuned("find_outlines._WHOLE_CELL")
"""Share of its box that a cell's paper fills."""
_PIECES = whole("find_outlines._PIECES")
"""Pieces of ink that are tried as grids, the biggest first."""
_STRAIGHT = tuned("find_outlines._STRAIGHT")
"""How far a hull's corner may lie off a straight side to be dropped, shares of its length."""
_SHORT_SIDE = tuned("find_outlines._SHORT_SIDE")
"""Shortest side of an outline, shares of its longest."""
_SIDE_WIDE = tuned("find_outlines._SIDE_WIDE")
"""How far from a straight side its ink is looked for."""
_SIDE_NOISE = tuned("find_outlines._SIDE_NOISE")
"""Deviation from a side's curve that is noise, at least."""


def ink_mask(grey: Grey, keen: float = 1.0) -> Grey:
    """What is darker than its surroundings: uint8 (H, W), 255 for ink.

    ``keen`` scales the least contrast that counts.
    """
    import cv2

    block = max(11, max(grey.shape) // _AROUND) | 1
    around = cv2.blur(grey, (block, block))
    # Dark digits would drag the mean down and hide faint lines beside them: average again
    # with everything dark lifted to near the first mean.
    lifted = cv2.max(grey, cv2.convertScaleAbs(around, alpha=LIFTED))
    around = cv2.blur(lifted, (block, block))
    darker = cv2.subtract(around, grey)
    # Ink stands out by a share of the local brightness, noise by a few grey levels.
    floor = cv2.convertScaleAbs(around, alpha=_STANDS_OUT * keen, beta=_NOISE * keen)
    return np.asarray(cv2.compare(darker, floor, cv2.CMP_GT), np.uint8)


def parts_of(mask: Grey) -> tuple[list[Contour], list[Contour]]:
    """Outer contours of the pieces of ink, and contours of the paper enclosed by ink.

    ``mask``: uint8 (H, W), 255 for ink. Each contour is int32 (N, 2), x/y, every pixel of it.
    """
    import cv2

    found, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)
    if len(found) == 0:  # then cv2 returns no tree
        return [], []
    inner = (tree[0, :, 3] >= 0).tolist()
    long = [len(contour) >= 16 for contour in found]
    frames = [c[:, 0] for c, hole, big in zip(found, inner, long, strict=True) if big and not hole]
    pieces = [c[:, 0] for c, hole, big in zip(found, inner, long, strict=True) if big and hole]
    return frames, pieces  # type: ignore[return-value]  # cv2 says Mat


def paper_pieces(pieces: list[Contour], least: int) -> tuple[Points, Points]:
    """Centres (N, 2) and sizes (N, 2), x/y, of pieces of paper that could be cells.

    ``pieces``: contours of paper enclosed by ink; ``least``: smallest side of a cell,
    pixels. The middle of the bounding box is the middle of a cell however it
    lies and whatever is written in it.
    """
    import cv2

    boxes, areas = [], []
    for piece in pieces:
        if len(piece) >= 3 * least:
            boxes.append(cv2.boundingRect(piece))
            areas.append(cv2.contourArea(piece))
    if not boxes:
        return np.zeros((0, 2)), np.zeros((0, 2))
    box = np.array(boxes, np.float64)
    low, size = box[:, :2], box[:, 2:]
    short, long = size.min(axis=1), size.max(axis=1)
    good = (short >= least) & (long < _LONG_CELL * short)
    good &= np.array(areas) > _WHOLE_CELL * size.prod(axis=1)
    return (low + (size - 1) / 2)[good], size[good]


def outlines(
    frames: list[Contour],
    least: int,
    known: Callable[[Points], npt.NDArray[np.bool_]] | None = None,
) -> Iterator[Points]:
    """Rough meshes (10, 10, 2) of pieces of ink that could be a grid, biggest first.

    ``frames``: outer contours, see :func:`parts_of`; ``least``: smallest side of a grid worth
    reporting, pixels; ``known``: tells of points (N, 2) whether they lie in a grid found by
    then, so that what lies in it is skipped.
    """
    import cv2

    sized = []
    for contour in frames:
        if len(contour) < 3 * least:
            continue
        _, _, wide, high = cv2.boundingRect(contour)
        if min(wide, high) >= least:
            sized.append((wide * high, contour))
    sized.sort(key=lambda item: -item[0])
    for _, contour in sized[:_PIECES]:
        corners = quad_of(contour)
        if corners is None or (known and known(corners.mean(axis=0)[None])[0]):
            continue
        yield bent_mesh(contour.astype(np.float64), corners)


def quad_of(points: npt.NDArray[np.int32]) -> Points | None:
    """The largest quadrilateral inscribed in the hull of ``points`` (N, 2), clockwise.

    For every diagonal the farthest hull point on either side completes the largest
    quadrilateral; starts at the corner nearest the raster's top left.
    """
    import cv2

    hull = cv2.convexHull(points)
    off = _STRAIGHT * cv2.arcLength(hull, True)
    hull = cv2.approxPolyDP(hull, off, True)[:, 0].astype(np.float64)
    if len(hull) < 4:
        return None
    hull = hull[:: max(1, len(hull) // 48)]
    gap = hull[None, :] - hull[:, None]
    # side[i, k, j]: twice the signed area of the triangle i, k, j
    side = gap[:, :, None, 0] * gap[:, None, :, 1] - gap[:, :, None, 1] * gap[:, None, :, 0]
    whole = side.max(axis=2) - side.min(axis=2)
    i, k = divmod(int(whole.argmax()), len(hull))
    picks = [i, int(side[i, k].argmin()), k, int(side[i, k].argmax())]
    return ordered(np.asarray(hull[picks], np.float64))


def ordered(corners: Points) -> Points | None:
    """Corners clockwise as seen (y down), starting nearest the raster's top left."""
    centre = corners.mean(axis=0)
    turn = np.arctan2(corners[:, 1] - centre[1], corners[:, 0] - centre[0])
    corners = corners[np.argsort(turn)]
    sides = np.roll(corners, -1, axis=0) - corners
    ahead = np.roll(sides, -1, axis=0)
    bends = sides[:, 0] * ahead[:, 1] - sides[:, 1] * ahead[:, 0]
    lengths = np.linalg.norm(sides, axis=1)
    if bends.min() <= 0 or lengths.min() < _SHORT_SIDE * lengths.max():
        return None
    first = int(corners.sum(axis=1).argmin())
    return np.asarray(np.roll(corners, -first, axis=0), np.float64)


def bent_mesh(contour: Points, corners: Points, side: int = NEWSPAPER.side) -> Points:
    """Crossings between four bent sides: a homography plus a Coons patch.

    ``contour``: (N, 2) outline of the ink; ``corners``: (4, 2); the result is (S + 1, S + 1, 2)
    for ``side`` cells. The sides' bends come from the
    contour in the square's own coordinates, robustly, so that text that touches the frame
    bends nothing. (Coons, Surfaces for Computer-Aided Design of Space Forms, 1967.)
    """
    matrix = homography(corners)
    step = max(1, len(contour) // 1500)
    square = project(np.asarray(np.linalg.inv(matrix), np.float64), contour[::step])
    at = np.linspace(0.0, 1.0, side + 1)
    bends = [
        _bend(square[:, 0], square[:, 1], at),  # top
        _bend(square[:, 0], square[:, 1] - 1, at),  # bottom
        _bend(square[:, 1], square[:, 0], at),  # left
        _bend(square[:, 1], square[:, 0] - 1, at),  # right
    ]
    places = lattice(side)
    x, y = places[..., 0].copy(), places[..., 1].copy()
    places[..., 1] += (1 - y) * bends[0][None, :] + y * bends[1][None, :]
    places[..., 0] += (1 - x) * bends[2][:, None] + x * bends[3][:, None]
    return project(matrix, places)


def _bend(along: Points, off: Points, at: Points) -> Points:
    """How far one side bows, by a robust quartic that vanishes at the two corners."""
    near = (np.abs(off) < _SIDE_WIDE) & (along > 0.02) & (along < 0.98)
    t, d = along[near], off[near]
    if len(t) < 12:
        return np.zeros_like(at)
    if len(t) > 120:
        t, d = t[:: len(t) // 120], d[:: len(t) // 120]

    def basis(s: Points) -> Points:
        hump = s * (1 - s)
        return np.stack([hump, hump * (s - 0.5), hump * (s - 0.5) ** 2], axis=1)

    design = basis(t)
    weight = np.ones_like(t)
    solved: Points = np.zeros(3)
    for _ in range(4):
        weighted = design * weight[:, None]
        normal = weighted.T @ design + 1e-4 * np.eye(3)
        solved = np.asarray(np.linalg.solve(normal, weighted.T @ d), np.float64)
        left = d - design @ solved
        scale = max(1.4826 * float(ranked(np.abs(left))), _SIDE_NOISE) * 3.0
        weight = np.clip(1 - (left / scale) ** 2, 0, None) ** 2 + 1e-6
    return np.asarray(basis(at) @ solved, np.float64)
