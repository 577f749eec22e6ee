"""Where grids of a page should lie, told from those that were found on it.

A page sets its puzzles in even rows and columns, all alike: two of them tell the place, size and
direction of the next one and of one between them, three tell the fourth of a rectangle. Taken
crossing by crossing, the prediction bends as the page does.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from papernudge.vision.find_grow import block_strength
from papernudge.vision.mesh import Points

Grey = npt.NDArray[np.uint8]

_MOST = 24
"""Places that are looked at."""
_APART = 1.7
"""Least distance of two grids' middles, halves of a side: two that touch are two such apart."""
_ASIDE = np.arange(-1.5, 1.6, 0.5)
"""How far beside its place a grid is looked for, cells."""
_SEEN = 0.12
"""Share of the usual darkness that lines around blocks must show, shade and faint ink allowed."""


def siblings(meshes: list[Points], shape: tuple[int, ...]) -> list[Points]:
    """Meshes (10, 10, 2) of grids that the found ones, ``meshes``, call for; likeliest first.

    ``shape``: of the photo (H, W); those that lie mostly beyond it are left out, and so is what
    lies on a found one or on a likelier place.
    """
    if len(meshes) < 2:
        return []
    alike = [meshes[0], *(_turned_like(meshes[0], mesh) for mesh in meshes[1:])]
    middles = np.array([mesh.mean(axis=(0, 1)) for mesh in alike])
    taken = list(middles)
    places = []
    for _, mesh in sorted(_called_for(alike, middles), key=lambda item: item[0]):
        middle = mesh.mean(axis=(0, 1))
        sides = np.linalg.norm(mesh[[0, -1, 0, 0]].mean(axis=1) - middle, axis=1)
        outside = (middle < 0).any() or (middle > [shape[1], shape[0]]).any()
        near = np.linalg.norm(np.array(taken) - middle, axis=1).min()
        if outside or sides.min() < 9.0 or near < _APART * sides.min():
            continue
        taken.append(middle)
        places.append(mesh)
        if len(places) == _MOST:
            break
    return places


def _turned_like(first: Points, mesh: Points) -> Points:
    """A mesh named by the one of the four turns in which it lies as the first one does."""
    ways = [first[0, 9] - first[0, 0], first[9, 0] - first[0, 0]]

    def along(turn: Points) -> float:
        own = [turn[0, 9] - turn[0, 0], turn[9, 0] - turn[0, 0]]
        return sum(float(a @ b / np.linalg.norm(a)) for a, b in zip(ways, own, strict=True))

    return max((np.rot90(mesh, k) for k in range(4)), key=along)


def _called_for(meshes: list[Points], middles: Points) -> list[tuple[float, Points]]:
    """Predictions, each with how far it was carried, pixels."""
    apart = np.linalg.norm(middles[:, None] - middles, axis=2)
    found = []
    for a in range(len(meshes)):
        for b in range(len(meshes)):
            if a == b:
                continue
            found.append((1.5 * float(apart[a, b]), 2 * meshes[b] - meshes[a]))
            if a < b:
                found.append((float(apart[a, b]), (meshes[a] + meshes[b]) / 2))
            found += [
                (float(apart[a, b] + apart[a, c]), meshes[b] + meshes[c] - meshes[a])
                for c in range(b)
                if c != a
            ]
    return found


def nearby(grey: Grey, mesh: Points, usual: float) -> Points | None:
    """The mesh moved to where lines around blocks are plainest, None where there are none.

    ``usual``: how dark those lines are in the grids that were found, grey levels.
    """
    right = (mesh[:, -1] - mesh[:, 0]).mean(axis=0) / 9
    down = (mesh[-1] - mesh[0]).mean(axis=0) / 9
    x, y = (part.ravel()[:, None] for part in np.meshgrid(_ASIDE, _ASIDE))
    moved = mesh + (x * right + y * down)[:, None, None]
    plain = block_strength(grey, moved, usual)
    best = int(plain.argmax())
    return moved[best] if plain[best] > _SEEN * usual else None
