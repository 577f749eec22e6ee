"""From pixels to what the page says. Nothing in here knows a solving technique.

The names are looked up when first asked for: whoever wants a module that needs no arrays does not
wait for numpy.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
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
_HOMES = {
    "Failure": "failure",
    "Mesh": "mesh",
    **dict.fromkeys(("FoundGrid", "GridKind", "Quality"), "grid"),
}


def __getattr__(name: str) -> object:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES.get(name, 'reading')}"), name)
