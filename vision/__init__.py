"""From pixels to what the page says. Nothing in here knows a solving technique."""

from papernudge.vision.failure import Failure
from papernudge.vision.grid import FoundGrid, GridKind, Quality
from papernudge.vision.mesh import Mesh
from papernudge.vision.reading import (
    CellKind,
    CellReading,
    Doubt,
    GridReading,
    PageReading,
    cell_name,
)

__all__ = [
    "CellKind",
    "CellReading",
    "Doubt",
    "Failure",
    "FoundGrid",
    "GridKind",
    "GridReading",
    "Mesh",
    "PageReading",
    "Quality",
    "cell_name",
]
