"""The 10×10 line crossings of one grid in a photo."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:  # results are also told of where no pixel is: a book is exported without it
    import numpy as np
    import numpy.typing as npt

Points: TypeAlias = "npt.NDArray[np.float64]"


@dataclass(frozen=True, eq=False)
class Mesh:
    """Where the lines of a 9×9 grid cross.

    ``crossings``: float64, shape (10, 10, 2), raster pixels, x right and y down, pixel centres
    at whole numbers; ``crossings[r, c]`` lies on the r-th horizontal and c-th vertical line.
    ``seen``: bool, shape (10, 10), true where the crossing was measured in the photo and false
    where it was filled in from a smooth page model.
    Until the grid has been read, "first row" is the raster's idea of it: see :meth:`turned`.
    """

    crossings: Points
    seen: npt.NDArray[np.bool_]

    @property
    def corners(self) -> Points:
        """Outer corners, float64 (4, 2), x/y: top-left, top-right, bottom-right, bottom-left."""
        c = self.crossings
        import numpy as np

        return np.stack([c[0, 0], c[0, 9], c[9, 9], c[9, 0]])

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
