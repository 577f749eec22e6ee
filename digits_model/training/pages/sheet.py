"""The flat page as an image, and the few ways to put ink on it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from functools import lru_cache
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages.spec import Colour

Raster = npt.NDArray[np.uint8]

_TILE = 96
"""Side of the parts, pixels, in which a mask is inked: those without ink cost nothing."""


def blank(*shape: int) -> Raster:
    """A raster of zeros, for what will be written all over.

    The zeros bring it into the processor's cache; memory as it comes is written past it, and
    whoever reads it next waits for it.
    """
    return np.zeros(shape, np.uint8)


@lru_cache(maxsize=256)
def _fading(ink: Colour, cover: float) -> Raster:
    """Look-up table: share of light left, 255 all, under a mask value.

    (1, 256, 3), or (1, 256) for a grey ink, which leaves the same of all three.
    """
    mask = np.arange(256)[:, None] / 255.0
    left = 1 - mask * cover * (1 - np.array(ink)[None, :] / 255.0)
    table = np.asarray(np.round(left * 255), np.uint8)[None]
    return np.ascontiguousarray(table[..., 0]) if ink[0] == ink[1] == ink[2] else table


def _faded(mask: Raster, ink: Colour, cover: float) -> Raster:
    """Share of light that the ink under a mask (h, w) leaves: (h, w, 3), 255 all."""
    import cv2

    table = _fading(ink, cover)
    if table.ndim == 2:  # grey: one channel is looked up, not three
        return np.asarray(cv2.cvtColor(cv2.LUT(mask, table), cv2.COLOR_GRAY2BGR))
    return np.asarray(cv2.LUT(cv2.cvtColor(mask, cv2.COLOR_GRAY2BGR), table))


def inked_parts(mask: Raster) -> Iterator[tuple[Raster, int, int]]:
    """The parts of a mask that hold ink, each with its first pixel x, y in the mask."""
    import cv2

    high, wide = mask.shape
    for y in range(0, high, _TILE):
        for x in range(0, wide, _TILE):
            part = mask[y : y + _TILE, x : x + _TILE]
            if cv2.hasNonZero(part):
                yield part, x, y


class Sheet:
    """White paper of which a part is drawn. Page lengths are cells, x right, y down.

    ``pixels``: uint8 (H, W, 3), blue, green, red. A place u, v of the page has its centre at
    pixel ((u - x0)·scale, (v - y0)·scale). ``laid``: uint8 (H, W) or None, ink that is put
    on the photo, not on the paper (see :meth:`lay`).
    """

    def __init__(self, x0: float, y0: float, x1: float, y1: float, scale: float) -> None:
        """The part x0 to x1, y0 to y1 of the page at ``scale`` pixels a cell."""
        self.x0, self.y0, self.scale = x0, y0, scale
        # What numpy hands over is slow to reckon with one at a time. The place itself stays as it
        # came, since stains are reckoned in its precision.
        self._left, self._top = float(x0), float(y0)
        shape = (max(2, int((y1 - y0) * scale) + 1), max(2, int((x1 - x0) * scale) + 1), 3)
        self.pixels: Raster = np.full(shape, 255, np.uint8)
        self.laid: Raster | None = None

    def seen(self, x: float, y: float) -> tuple[float, float, float, float]:
        """The box that is drawn, in cells from the place x, y of the page."""
        high, wide = self.pixels.shape[:2]
        x0, y0 = self._left - x, self._top - y
        return x0, y0, x0 + wide / self.scale, y0 + high / self.scale

    def stamp(self, mask: Raster, left: float, top: float, ink: Colour, cover: float = 1.0) -> None:
        """Ink through a mask whose first pixel's centre lies at left, top (cells)."""
        x, y = round((left - self._left) * self.scale), round((top - self._top) * self.scale)
        high, wide = self.pixels.shape[:2]
        xa, ya = max(0, x), max(0, y)
        xb, yb = min(wide, x + mask.shape[1]), min(high, y + mask.shape[0])
        if xa < xb and ya < yb:
            for part, tx, ty in inked_parts(mask[ya - y : yb - y, xa - x : xb - x]):
                self._darken(_faded(part, ink, cover), xa + tx, ya + ty)

    def _darken(self, left: Raster, x: int, y: int) -> None:
        """Leaves a share of the light, (h, w, 3) and 255 all, from pixel x, y of the sheet on."""
        import cv2

        under = self.pixels[y : y + left.shape[0], x : x + left.shape[1]]
        under[:] = cv2.multiply(under, left, scale=1 / 255)

    def clear(self, mask: Raster, left: float, top: float) -> None:
        """Bare paper through a mask, placed as for :meth:`stamp`."""
        x, y = round((left - self._left) * self.scale), round((top - self._top) * self.scale)
        high, wide = self.pixels.shape[:2]
        xa, ya = max(0, x), max(0, y)
        xb, yb = min(wide, x + mask.shape[1]), min(high, y + mask.shape[0])
        if xa < xb and ya < yb:
            under = self.pixels[ya:yb, xa:xb]
            np.maximum(under, mask[ya - y : yb - y, xa - x : xb - x, None], out=under)

    def lay(self, mask: Raster, left: float, top: float) -> None:
        """Ink that a program puts on the finished photo: the camera does not blur it."""
        if self.laid is None:
            self.laid = np.zeros(self.pixels.shape[:2], np.uint8)
        x, y = round((left - self._left) * self.scale), round((top - self._top) * self.scale)
        high, wide = self.laid.shape
        xa, ya = max(0, x), max(0, y)
        xb, yb = min(wide, x + mask.shape[1]), min(high, y + mask.shape[0])
        if xa < xb and ya < yb:
            under = self.laid[ya:yb, xa:xb]
            np.maximum(under, mask[ya - y : yb - y, xa - x : xb - x], out=under)

    def bar(
        self, x0: float, y0: float, x1: float, y1: float, ink: Colour, cover: float = 1.0
    ) -> None:
        """A filled box, its edges softened by their exact coverage of pixels."""
        high, wide = self.pixels.shape[:2]
        across = _span((x0 - self._left) * self.scale, (x1 - self._left) * self.scale, wide)
        down = _span((y0 - self._top) * self.scale, (y1 - self._top) * self.scale, high)
        if across and down:
            mask = _covered(down, across)
            # As one row, since a line down the page has too few pixels a row to be quick on.
            left = _faded(mask.reshape(1, -1), ink, cover).reshape(*mask.shape, 3)
            self._darken(left, across.first, down.first)

    def picture(
        self, image: Raster, x0: float, y0: float, x1: float, y1: float, cover: float = 1.0
    ) -> None:
        """A grey mask (255 full ink) stretched over a box, in black."""
        self.stamp(self.fitted(image, x1 - x0, y1 - y0), x0, y0, (25, 25, 25), cover)

    def fitted(self, mask: Raster, wide: float, high: float) -> Raster:
        """The mask at wide × high cells."""
        import cv2

        size = (max(1, round(wide * self.scale)), max(1, round(high * self.scale)))
        shrinks = size[0] < mask.shape[1]
        return np.asarray(
            cv2.resize(mask, size, interpolation=cv2.INTER_AREA if shrinks else cv2.INTER_LINEAR),
            np.uint8,
        )


class _Span(NamedTuple):
    """Part of a row of pixels, pixel k around place k: the first pixel that it touches and the
    one after the last, and how far it covers the first and the last, 0 to 1.
    """

    first: int
    stop: int
    at_first: float
    at_last: float


def _span(low: float, high: float, size: int) -> _Span | None:
    """From one place to another of a row of ``size`` pixels; None where it touches none."""
    first, stop = max(0, math.floor(low + 0.5)), min(size, math.ceil(high - 0.5) + 1)
    if first >= stop:
        return None
    at_first = max(0.0, min(first + 0.5, high) - max(first - 0.5, low))
    at_last = max(0.0, min(stop - 0.5, high) - max(stop - 1.5, low))
    return _Span(first, stop, at_first, at_last)


def _covered(down: _Span, across: _Span) -> Raster:
    """How far a box covers each pixel that it touches, 255 wholly: only its rim in part."""
    mask = np.empty((down.stop - down.first, across.stop - across.first), np.uint8)
    mask.fill(255)
    for column, share in ((0, across.at_first), (-1, across.at_last)):
        mask[:, column] = round(255 * share)
    for row, by_row in ((0, 255 * down.at_first), (-1, 255 * down.at_last)):
        mask[row] = round(by_row)
        mask[row, 0] = round(by_row * across.at_first)
        mask[row, -1] = round(by_row * across.at_last)
    return mask
