"""Candidate outlines of grids: big connected pieces of ink and their four sides."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import numpy as np
import numpy.typing as npt

from papernudge.vision.flatten import homography, lattice, project
from papernudge.vision.mesh import Points

Grey = npt.NDArray[np.uint8]
Contour = npt.NDArray[np.int32]


def ink_mask(grey: Grey, keen: float = 1.0) -> Grey:
    """What is darker than its surroundings: uint8 (H, W), 255 for ink.

    ``keen`` scales the least contrast that counts.
    """
    import cv2

    block = max(11, max(grey.shape) // 28) | 1
    around = cv2.blur(grey, (block, block))
    # Dark digits would drag the mean down and hide faint lines beside them: average again
    # with everything dark lifted to near the first mean.
    lifted = cv2.max(grey, cv2.convertScaleAbs(around, alpha=0.94))
    around = cv2.blur(lifted, (block, block))
    darker = cv2.subtract(around, grey)
    # Ink stands out by a share of the local brightness, noise by a few grey levels.
    floor = cv2.convertScaleAbs(around, alpha=0.05 * keen, beta=2.0 * keen)
    return np.asarray(cv2.compare(darker, floor, cv2.CMP_GT), np.uint8)


def slim(mask: Grey, widest: int) -> Grey:
    """The ink without what is wider than ``widest`` pixels both ways: bars are no lines.

    Taken out, they cannot join a grid's frame to what stands beside it.
    """
    import cv2

    solid = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((widest, widest), np.uint8))
    return np.asarray(cv2.subtract(mask, solid), np.uint8)


def line_mask(grey: Grey, length: int) -> Grey:
    """Thin lines however faint: uint8 (H, W), 255 on them.

    Ink is averaged over straight pieces of about ``length`` pixels in sixteen directions, and a
    line is where one of them stands out from those beside it: noise averages away, a line does
    not. Slow, for what :func:`ink_mask` leaves open.
    """
    maps, noise = oriented(grey, length)
    return np.where(maps.max(axis=0) > 10 * max(0.8, 0.25 * noise), 255, 0).astype(np.uint8)


_DARKEST = 24.0
"""Grey levels below the paper beyond which ink counts no more in :func:`oriented`."""
_ASIDE = 4.0
"""How far beside a line its paper is looked at there, pixels."""
TURNS = 16
"""Directions looked along, over half a turn."""


def oriented(grey: Grey, length: int) -> tuple[npt.NDArray[np.uint8], float]:
    """How far straight pieces of line stand out, uint8 (TURNS, H, W), and the noise, grey levels.

    Tenths of grey levels, for directions from along x on, clockwise as seen; ``length`` pixels.
    """
    import cv2

    block = max(11, max(grey.shape) // 28) | 1
    around = cv2.blur(
        cv2.max(grey, cv2.convertScaleAbs(cv2.blur(grey, (block, block)), alpha=0.94)),
        (block, block),
    )
    dark = np.asarray(cv2.subtract(around, cv2.GaussianBlur(grey, (0, 0), 0.8), dtype=cv2.CV_16S))
    middle = np.median(dark[::2, ::2])
    noise = 1.4826 * float(np.median(np.abs(dark[::2, ::2] - middle)))
    # A stroke of a digit weighs no more than a line.
    tenths = (10 * np.clip(dark - min(float(middle), 0.0), 0, _DARKEST)).astype(np.uint8)
    maps = np.empty((TURNS, *grey.shape), np.uint8)
    for turn in range(TURNS):
        ahead = np.array([np.cos(np.pi * turn / TURNS), np.sin(np.pi * turn / TURNS)])
        along = _averaged(tenths, length / 2 * ahead)
        aside = np.rint(_ASIDE * np.array([-ahead[1], ahead[0]])).astype(int)
        beside = cv2.max(_moved(along, aside), _moved(along, -aside))
        maps[turn] = cv2.subtract(along, beside)
    return maps, noise


def _averaged(picture: Grey, half: Points) -> Grey:
    """The picture (H, W) averaged along straight pieces, x/y ``half`` to either side.

    By halves: each pass averages the picture moved on with it moved back.
    """
    import cv2

    drift = np.zeros(2)
    while np.abs(half).max() >= 0.5:
        step = np.rint(half).astype(int)
        on = np.rint(step / 2 - drift).astype(int)
        drift += on - step / 2
        moved = _moved(picture, on), _moved(picture, on - step)
        picture = np.asarray(cv2.addWeighted(moved[0], 0.5, moved[1], 0.5, 0), np.uint8)
        half = half / 2
    return picture


def _moved(picture: Grey, by: npt.NDArray[np.int64]) -> Grey:
    """The picture (H, W) moved by whole pixels, its edge repeated."""
    import cv2

    x, y = (int(v) for v in by)
    high, wide = picture.shape
    rim = cv2.copyMakeBorder(
        picture[max(0, -y) : high - max(0, y), max(0, -x) : wide - max(0, x)],
        max(0, y), max(0, -y), max(0, x), max(0, -x), cv2.BORDER_REPLICATE,
    )  # fmt: skip
    return np.asarray(rim, np.uint8)


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
    for _, contour in sized[:24]:
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
    hull = cv2.approxPolyDP(hull, 0.004 * cv2.arcLength(hull, True), True)[:, 0].astype(np.float64)
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
    if bends.min() <= 0 or lengths.min() < 0.2 * lengths.max():
        return None
    first = int(corners.sum(axis=1).argmin())
    return np.asarray(np.roll(corners, -first, axis=0), np.float64)


def bent_mesh(contour: Points, corners: Points) -> Points:
    """Crossings between four bent sides: a homography plus a Coons patch.

    ``contour``: (N, 2) outline of the ink; ``corners``: (4, 2). The sides' bends come from the
    contour in the square's own coordinates, robustly, so that text that touches the frame
    bends nothing. (Coons, Surfaces for Computer-Aided Design of Space Forms, 1967.)
    """
    matrix = homography(corners)
    step = max(1, len(contour) // 1500)
    square = project(np.asarray(np.linalg.inv(matrix), np.float64), contour[::step])
    at = np.linspace(0.0, 1.0, 10)
    bends = [
        _bend(square[:, 0], square[:, 1], at),  # top
        _bend(square[:, 0], square[:, 1] - 1, at),  # bottom
        _bend(square[:, 1], square[:, 0], at),  # left
        _bend(square[:, 1], square[:, 0] - 1, at),  # right
    ]
    places = lattice()
    x, y = places[..., 0].copy(), places[..., 1].copy()
    places[..., 1] += (1 - y) * bends[0][None, :] + y * bends[1][None, :]
    places[..., 0] += (1 - x) * bends[2][:, None] + x * bends[3][:, None]
    return project(matrix, places)


def _bend(along: Points, off: Points, at: Points) -> Points:
    """How far one side bows, by a robust quartic that vanishes at the two corners."""
    near = (np.abs(off) < 0.09) & (along > 0.02) & (along < 0.98)
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
        scale = max(1.4826 * float(np.median(np.abs(left))), 0.003) * 3.0
        weight = np.clip(1 - (left / scale) ** 2, 0, None) ** 2 + 1e-6
    return np.asarray(basis(at) @ solved, np.float64)
