"""The line crossings of one grid in a photo: 10×10 of a newspaper's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:  # results are also told of where no pixel is: a book is exported without it
    import numpy as np
    import numpy.typing as npt

Points: TypeAlias = "npt.NDArray[np.float64]"


@dataclass(frozen=True, eq=False)
class Mesh:
    """Where the lines of a grid cross, n + 1 of them each way where it has n rows: ten of nine.

    ``crossings``: float64, shape (n + 1, n + 1, 2), raster pixels, x right and y down, pixel
    centres at whole numbers; ``crossings[r, c]`` lies on the r-th horizontal and the c-th vertical
    line.
    ``seen``: bool, shape (n + 1, n + 1), true where the crossing was measured in the photo and
    false where it was filled in from a smooth page model.
    Until the grid has been read, "first row" is the raster's idea of it: see :meth:`turned`.
    """

    crossings: Points
    seen: npt.NDArray[np.bool_]

    @property
    def side(self) -> int:
        """How many rows and columns of cells there are."""
        return len(self.crossings) - 1

    @property
    def corners(self) -> Points:
        """Outer corners, float64 (4, 2), x/y: top-left, top-right, bottom-right, bottom-left."""
        c = self.crossings
        import numpy as np

        return np.stack([c[0, 0], c[0, -1], c[-1, -1], c[-1, 0]])

    def turned(self, quarter_turns: int) -> Mesh:
        """The same crossings, named as a person would who turns the paper.

        One quarter turn takes a grid whose top points to the left of the raster and names its
        cells upright: new row 0 is the old column 0, read from the bottom up.
        """
        import numpy as np

        return Mesh(
            np.rot90(self.crossings, -quarter_turns, axes=(0, 1)).copy(),
            np.rot90(self.seen, -quarter_turns).copy(),
        )


def placed(crossings: Points, cells: Points) -> Points:
    """Raster positions (..., 2) of places told in cells (..., 2), x right and y down from the
    grid's corner; ``crossings``: (R, C, 2). Bilinear inside each cell; outside the grid its rim
    goes on straight.
    """
    import numpy as np

    last = np.array([crossings.shape[1] - 2, crossings.shape[0] - 2])
    low = np.clip(np.floor(cells), 0, last).astype(np.int64)
    (c, r), part = np.moveaxis(low, -1, 0), cells - low
    u, v = part[..., :1], part[..., 1:]
    top = crossings[r, c] * (1 - u) + crossings[r, c + 1] * u
    foot = crossings[r + 1, c] * (1 - u) + crossings[r + 1, c + 1] * u
    return np.asarray(top * (1 - v) + foot * v, np.float64)


def spread(crossings: Points, at: Points) -> npt.NDArray[np.float32]:
    """The same for a whole sheet of S × S places: float32 (S, S, 2); ``at``: float64 (S,), the
    cells at which its rows and its columns lie, no more than one beyond the grid.
    """
    import numpy as np

    grown = _grown(crossings)
    low = np.clip((at + 1.0).astype(np.int64), 0, len(grown) - 2)
    part = at + 1.0 - low
    rows = grown[low] * (1 - part)[:, None, None] + grown[low + 1] * part[:, None, None]
    # Crossings name pixel centres at whole numbers, as cv2.remap does. One plane after the other:
    # pairs would take NumPy twice as long.
    planes = np.empty((2, len(at), len(at)), np.float32)
    for k, plane in enumerate(planes):
        one = rows[..., k]
        plane[:] = one.take(low, axis=1) * (1 - part) + one.take(low + 1, axis=1) * part
    return np.moveaxis(planes, 0, 2)


def _grown(crossings: Points) -> Points:
    """One more line on every side, continued straight: (R, C, 2) to (R + 2, C + 2, 2)."""
    import numpy as np

    first, last = 2 * crossings[:1] - crossings[1:2], 2 * crossings[-1:] - crossings[-2:-1]
    tall = np.concatenate([first, crossings, last])
    return np.concatenate(
        [2 * tall[:, :1] - tall[:, 1:2], tall, 2 * tall[:, -1:] - tall[:, -2:-1]], axis=1
    )
