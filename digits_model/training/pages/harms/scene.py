"""A photo that is being harmed, and what of its grid can still be seen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Image = npt.NDArray[np.uint8]
Map = npt.NDArray[np.float32]
Points = npt.NDArray[np.float64]

RIM = 0.12
"""Share of a cell's side, from each edge, that is not asked about: lines lie there."""
INK = 0.8
"""What is darker than this share of its paper is ink."""
PALE, PLAIN = 3.0, 10.0
"""Grey levels between paper and a print of half its light: nothing is seen of it below the first,
all above the second."""
AROUND = 4.0
"""Cells around the grid within which harms are laid."""


@dataclass(frozen=True, eq=False)
class Harmed:
    """A harmed photo and its truth.

    ``image``: uint8 (H, W, 3), blue, green, red; ``crossings``: float64 (10, 10, 2), raster x/y,
    where they lie now. ``paper``: float32 (81,), the share of each cell's paper, its rim left
    out, on which a print could still be seen, 0 to 1; ``ink``: the same of the pixels that
    its ink took before, NaN where it had none; ``crossed``: the share of its paper on which the
    harm has left an edge or a line that is no stroke; ``laid``: the share on which something
    lies, or paper is gone.
    """

    image: Image
    crossings: Points
    paper: npt.NDArray[np.float32]
    ink: npt.NDArray[np.float32]
    crossed: npt.NDArray[np.float32]
    laid: npt.NDArray[np.float32]

    @property
    def seen(self) -> npt.NDArray[np.float32]:
        """How much of each cell can be seen, float32 (81,): the lesser of its paper and ink."""
        return np.fmin(self.paper, self.ink)


@dataclass(eq=False)
class Scene:
    """The photo so far. ``image`` float32 (H, W, 3), 0–255; ``crossings`` (10, 10, 2), x/y.

    ``seen`` float32 (H, W): what of a print at each pixel can be seen; ``edges`` (H, W): where a
    harm's edge or line runs; ``laid`` (H, W): where something lies.
    """

    image: Map
    crossings: Points
    rng: np.random.Generator
    cells: npt.NDArray[np.int16] = field(init=False)
    inked: npt.NDArray[np.bool_] = field(init=False)
    seen: Map = field(init=False)
    edges: Map = field(init=False)
    laid: Map = field(init=False)
    paper: Map = field(init=False)

    def __post_init__(self) -> None:
        shape = self.image.shape[:2]
        self.seen = np.ones(shape, np.float32)
        self.edges, self.laid = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
        self.cells = numbered(self.crossings, shape)
        self.paper = paper_of(self.image, self.cell)
        grey = self.image.mean(axis=2)
        self.inked = (grey < INK * self.paper.mean(axis=2)) & (self.cells >= 0)
        self._way = homography(self.crossings)

    @property
    def cell(self) -> float:
        """Mean side of a cell, pixels."""
        rim = self.crossings[[0, 0, 9, 9], [0, 9, 9, 0]]
        sides = np.linalg.norm(rim - np.roll(rim, 1, axis=0), axis=1)
        return float(sides.mean()) / 9

    def places(self) -> tuple[Map, Map]:
        """For each pixel its place in cells, right (H, W) and down (H, W), as of a flat grid."""
        high, wide = self.image.shape[:2]
        x, y = np.meshgrid(np.arange(wide, dtype=np.float32), np.arange(high, dtype=np.float32))
        h = self._way.astype(np.float32)
        under = h[2, 0] * x + h[2, 1] * y + h[2, 2]
        under = np.where(under > 1e-6, under, np.float32(1e-6))
        return (
            (h[0, 0] * x + h[0, 1] * y + h[0, 2]) / under,
            (h[1, 0] * x + h[1, 1] * y + h[1, 2]) / under,
        )

    def light(self) -> Map:
        """The usual light of the paper, float32 (3,), 0–255."""
        on = self.cells >= 0
        return np.asarray(np.median(self.paper[on], axis=0), np.float32)

    def lit(self, change: Callable[[Map], Map]) -> None:
        """Changes light or tone by ``change``, (H, W, 3) to the same, and keeps the truth.

        What can be seen is what contrast is left between the paper and a print of half its light.
        """
        bright, dark = change(self.paper), change(0.5 * self.paper)
        left = (np.clip(bright, 0, 255) - np.clip(dark, 0, 255)).mean(axis=2)
        self.seen *= np.clip((left - PALE) / (PLAIN - PALE), 0, 1)
        self.image = np.clip(change(self.image), 0, 255)
        self.paper = np.clip(bright, 0, 255)

    def cover(self, alpha: Map, colour: Map, hides: float = 1.0) -> None:
        """Lays something over: ``alpha`` (H, W), 0 to 1, ``colour`` (H, W, 3) or (3,).

        ``hides``: how much of a print below it is lost.
        """
        a = alpha[..., None]
        self.image = self.image * (1 - a) + colour * a
        self.seen *= 1 - hides * alpha
        self.laid = np.maximum(self.laid, alpha)
        self.edge(alpha)

    def edge(self, mask: Map) -> None:
        """Marks where ``mask`` (H, W), 0 to 1, changes."""
        import cv2

        side = 2 * max(1, round(0.04 * self.cell)) + 1
        kernel = np.ones((side, side), np.uint8)
        steep = cv2.morphologyEx(mask.astype(np.float32), cv2.MORPH_GRADIENT, kernel)
        self.edges = np.maximum(self.edges, np.clip(2.5 * steep, 0, 1))

    def soft(self, mask: Map, cells: float) -> Map:
        """The mask blurred by ``cells``, a Gaussian's sigma in cells."""
        import cv2

        sigma = cells * self.cell
        if sigma < 0.3:
            return mask
        return np.asarray(cv2.GaussianBlur(mask, (0, 0), sigma), np.float32)

    def blotches(self, cells: float) -> Map:
        """A random field (H, W), mean 0 and spread 1, smooth over ``cells``."""
        import cv2

        high, wide = self.image.shape[:2]
        step = max(1.0, cells * self.cell)
        size = (int(high / step) + 4, int(wide / step) + 4)
        coarse = self.rng.standard_normal(size, dtype=np.float32)
        return np.asarray(cv2.resize(coarse, (wide, high), interpolation=cv2.INTER_CUBIC))

    def warped(self, where: Map, crossings: Points) -> None:
        """Moves all: each pixel takes what lay at ``where`` (H', W', 2), x/y; outside is lost."""
        import cv2

        def moved(held: Map, border: int, value: float = 0.0) -> Map:
            out = cv2.remap(
                held, where[..., 0], where[..., 1], cv2.INTER_LINEAR,
                borderMode=border, borderValue=[value] * 3,
            )  # fmt: skip
            return np.asarray(out, np.float32)

        self.image = moved(self.image, cv2.BORDER_REPLICATE)
        self.paper = moved(self.paper, cv2.BORDER_REPLICATE)
        self.seen = moved(self.seen, cv2.BORDER_CONSTANT)
        self.edges = moved(self.edges, cv2.BORDER_CONSTANT)
        self.laid = moved(self.laid, cv2.BORDER_CONSTANT)
        self.inked = moved(self.inked.astype(np.float32), cv2.BORDER_CONSTANT) > 0.5
        self.crossings = crossings
        self.cells = numbered(crossings, self.image.shape[:2])
        self._way = homography(crossings)

    def truth(self) -> Harmed:
        """The photo as it is now, with the truth of every cell."""
        counts = np.maximum(self._sums(np.ones_like(self.seen)), 1)
        inked = self._sums(self.inked.astype(np.float32))
        ink = self._sums(self.inked * self.seen) / np.maximum(inked, 1)
        inside = self._inside()
        ink = np.where(inked > 0.004 * counts, ink * inside, np.nan)
        image = np.clip(np.rint(self.image), 0, 255).astype(np.uint8)
        return Harmed(
            image,
            self.crossings.copy(),
            (inside * self._sums(self.seen) / counts).astype(np.float32),
            ink.astype(np.float32),
            (self._sums(self.edges) / counts).astype(np.float32),
            (self._sums(self.laid) / counts).astype(np.float32),
        )

    def _sums(self, values: Map) -> npt.NDArray[np.float64]:
        at = self.cells.ravel() + 1
        return np.asarray(np.bincount(at, values.ravel(), 82)[1:], np.float64)

    def _inside(self) -> npt.NDArray[np.float64]:
        """Share of each cell, (81,), that lies within the frame."""
        high, wide = self.image.shape[:2]
        parts = (np.arange(8) + 0.5) / 8 * (1 - 2 * RIM) + RIM
        a, b, c, d = quads(self.crossings)
        u, v = np.meshgrid(parts, parts)
        u, v = u.ravel()[None, :, None], v.ravel()[None, :, None]
        at = (1 - v) * ((1 - u) * a[:, None] + u * b[:, None]) + v * (
            (1 - u) * d[:, None] + u * c[:, None]
        )
        inside = (at >= -0.5).all(axis=2) & (at[..., 0] < wide - 0.5) & (at[..., 1] < high - 0.5)
        return np.asarray(inside.mean(axis=1), np.float64)


def quads(crossings: Points) -> tuple[Points, Points, Points, Points]:
    """The corners of the 81 cells, each (81, 2), clockwise from the top left."""
    parts = (
        crossings[:-1, :-1],
        crossings[:-1, 1:],
        crossings[1:, 1:],
        crossings[1:, :-1],
    )
    a, b, c, d = (p.reshape(81, 2) for p in parts)
    return a, b, c, d


def numbered(crossings: Points, shape: tuple[int, ...]) -> npt.NDArray[np.int16]:
    """Which cell each pixel belongs to, rims left out: int16 (H, W), -1 for none."""
    import cv2

    out = np.full(shape[:2], -1, np.int16)
    corners = np.stack(quads(crossings), axis=1)
    middle = corners.mean(axis=1, keepdims=True)
    corners = middle + (1 - 2 * RIM) * (corners - middle)
    for cell, quad in enumerate(corners):
        cv2.fillConvexPoly(out, np.round(quad * 16).astype(np.int32), cell, cv2.LINE_8, 4)
    return out


def homography(crossings: Points) -> Points:
    """From raster pixels to cells, 3×3, by the grid's four corners."""
    import cv2

    corners = crossings[[0, 0, 9, 9], [0, 9, 9, 0]].astype(np.float32)
    to = np.array([[0, 0], [9, 0], [9, 9], [0, 9]], np.float32)
    return np.asarray(cv2.getPerspectiveTransform(corners, to), np.float64)


def paper_of(image: Map, cell: float) -> Map:
    """The paper below all ink, float32 (H, W, 3): a closing wider than strokes, blurred."""
    import cv2

    small = min(1.0, 9 / cell)
    half = cv2.resize(image, None, fx=small, fy=small, interpolation=cv2.INTER_AREA)
    side = round(cell * small * 0.75) | 1
    closed = cv2.morphologyEx(half, cv2.MORPH_CLOSE, np.ones((side, side), np.uint8))
    soft = cv2.GaussianBlur(closed, (0, 0), side / 4)
    size = (image.shape[1], image.shape[0])
    return np.asarray(cv2.resize(soft, size, interpolation=cv2.INTER_LINEAR), np.float32)
