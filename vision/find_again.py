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
from papernudge.vision.tuned import tuned, whole

Grey = npt.NDArray[np.uint8]

_CELL = whole("find_again._CELL")
"""Side of a cell laid flat."""
_CELLS_AROUND = whole("find_again._CELLS_AROUND")
"""How many cells are laid flat around the grid."""
_MARGIN = _CELL * _CELLS_AROUND
_NEAR = tuned("find_again._NEAR")
"""How far from its place a crossing may be seen, cells."""
_THERE = tuned("find_again._THERE")
"""How well a crossing is seen, 0 to 1, from which on it is there."""
_UNSEEN = tuned("find_again._UNSEEN")
"""How well the crossings of a grid are seen at least, unless its mesh is lost."""
_VAGUE = tuned("find_again._VAGUE")
"""The same where few crossings of lines around blocks are there."""
_FEW_BLOCKS = whole("find_again._FEW_BLOCKS")
"""So many of those sixteen are not few."""
_MOST_OFF = tuned("find_again._MOST_OFF")
"""How far the middle of what is seen may lie from that of the mesh, cells."""
_OWN = tuned("find_again._OWN")
"""How much of a crossing's chance must be that of its own sort; the rest may be of any."""


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
    sure = _OWN * chances[:, _SORTS] + (1 - _OWN) * chances.max(axis=1, initial=0)[:, None, None]
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
