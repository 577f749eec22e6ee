"""Looks at a found grid once more, laid flat by its mesh.

Laid flat by the right mesh a grid is nine even blocks, however the page curls, and the network
that saw it on the page sees every crossing where it should be. Where the mesh went astray, onto a
neighbour or off a steep curl, the network says where the lines are instead.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.vision.crossings import Seen
from papernudge.vision.mesh import Mesh, Points, placed
from papernudge.vision.patches import flat_sheet

Grey = npt.NDArray[np.uint8]

_CELL, _CELLS_AROUND = 16, 3
"""Side of a cell laid flat, pixels, and how many cells are laid flat around the grid."""
_MARGIN = _CELL * _CELLS_AROUND
_NEAR = 0.3
"""How far from its place a crossing may be seen, cells."""
_THERE = 0.2
"""How well a crossing is seen, 0 to 1, from which on it is there."""
_UNSEEN, _VAGUE, _FEW_BLOCKS = 0.25, 0.65, 13
"""How well the crossings of a grid are seen at least, unless its mesh is lost: the second where
fewer than so many of those of lines around blocks are there."""
_MOST_OFF = 3.0
"""How far the middle of what is seen may lie from that of the mesh, cells."""


@dataclass(frozen=True, eq=False, slots=True)
class Again:
    """What the network sees of a grid that its mesh laid flat.

    ``fits``: float64 (10, 10), how well each crossing is seen where the mesh has it and as the sort
    of crossing that it is, 0 to 1; ``starts``: (10, 10, 2) meshes by what is seen instead, pixels
    of the picture, the likeliest first.
    """

    fits: Points
    starts: list[Points]

    @property
    def fit(self) -> float:
        """How well all crossings are seen, 0 to 1."""
        return float(self.fits.mean())

    @property
    def blocks(self) -> int:
        """How many of the sixteen crossings of lines around blocks are where they should be."""
        return int((self.fits[::3, ::3] > _THERE).sum())

    @property
    def lost(self) -> bool:
        """Whether the mesh lies on no grid, or far beside one."""
        return self.fit < (_UNSEEN if self.blocks >= _FEW_BLOCKS else _VAGUE)

    @property
    def worst(self) -> float:
        """How well the crossings of a block are seen, least of the nine."""
        parts = [self.fits[r : r + 4, c : c + 4].mean() for r in (0, 3, 6) for c in (0, 3, 6)]
        return float(min(parts))


def look_again(grey: Grey, mesh: Mesh) -> Again:
    """Looks again at the grid of a mesh. ``grey``: uint8 (H, W), in whose pixels the mesh is."""
    seen = Seen(flat_sheet(grey, mesh, _CELL, _MARGIN))
    side = _MARGIN + _CELL * np.arange(10) - 0.5
    want = np.stack(np.meshgrid(side, side), axis=-1)
    points, chances = seen.crossings
    sure = 0.7 * chances[:, _SORTS] + 0.3 * chances.max(axis=1, initial=0)[:, None, None]
    off = np.linalg.norm(points[:, None, None] - want, axis=-1) / (_NEAR * _CELL)
    fits = (sure * np.clip(1 - off**2, 0, None)).max(axis=0, initial=0.0)
    middle = want.mean(axis=(0, 1))
    about = [
        s
        for s in seen.grids()
        if np.linalg.norm(s.blocks.mean(axis=(0, 1)) - middle) < _MOST_OFF * _CELL
    ]
    flat = [start for s in about[:1] for start in s.starts]
    starts = [placed(mesh.crossings, (start + 0.5 - _MARGIN) / _CELL) for start in flat]
    return Again(fits, starts)


def _sorts() -> npt.NDArray[np.int64]:
    """Which sort of crossing the network should see at each, (10, 10)."""
    rim, block = np.zeros(10, int), np.zeros(10, int)
    rim[[0, 9]] = block[::3] = 1
    inner = 2 - rim[:, None] - rim
    return np.where(block[:, None] & block, inner, 3)


_SORTS = _sorts()
