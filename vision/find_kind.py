"""What kind of grid a lattice of lines is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from papernudge.vision.flatten import Flat
from papernudge.vision.lines import look, outward

Grey = npt.NDArray[np.uint8]

_BLOCK = np.array([0, 3, 6, 9])
_THIN = np.array([1, 2, 4, 5, 7, 8])


@dataclass(frozen=True, slots=True)
class Traits:
    """What a lattice of 9×9 cells looks like.

    ``blocks``: how much more ink the lines between blocks carry than those inside them, a ratio
    (1: all alike); ``obeys``: share of segments that are thick or thin where a plain grid has
    them so, 0.5 by chance; ``goes_on``: share of lines that run on beyond
    the frame, on the second worst of the four sides (beside one there may be text); ``inked``: share of cells in which something stands.
    """

    blocks: float
    obeys: float
    goes_on: float
    inked: float

    @property
    def plain(self) -> bool:
        """Whether it is a grid of nine plain 3×3 blocks."""
        return self.blocks > 1.25 and self.obeys > 0.75 and self.goes_on < 0.6


def traits(grey: Grey, flat: Flat) -> Traits:
    """Looks at a flattened lattice. ``grey``: uint8 (H, W), what it was measured in."""
    mass = flat.segments.mass()
    thick, thin = mass[:, [3, 6]].ravel(), mass[:, _THIN].ravel()
    middle = float(np.median(thick) + np.median(thin)) / 2
    obeys = (float((thick > middle).mean()) + float((thin < middle).mean())) / 2
    ends, over = outward(flat.mesh.crossings)
    beyond = look(grey, ends, over, 0.1)
    lines = beyond.strength > max(0.3 * flat.contrast, 3.0)
    size = np.array([grey.shape[1], grey.shape[0]]) - 1
    lines &= ((ends[..., 1, :] >= 0) & (ends[..., 1, :] <= size)).all(axis=-1)
    return Traits(
        float(np.median(thick)) / max(float(np.median(thin)), 1e-3),
        obeys,
        float(np.sort(lines.mean(axis=1))[-2]),
        float(_inked(grey, flat).mean()),
    )


def _inked(grey: Grey, flat: Flat) -> npt.NDArray[np.bool_]:
    """Which of the 81 cells hold ink in their middle, bool (81,)."""
    import cv2

    c = flat.mesh.crossings
    at = np.linspace(0.2, 0.8, 10)
    x, y = np.meshgrid(at, at)
    x, y = x[..., None], y[..., None]
    corner = [c[:-1, :-1], c[:-1, 1:], c[1:, :-1], c[1:, 1:]]
    a, b, d, e = (part.reshape(81, 1, 1, 2) for part in corner)
    where = ((a * (1 - x) + b * x) * (1 - y) + (d * (1 - x) + e * x) * y).astype(np.float32)
    where = where.reshape(81, 100, 2)
    seen = cv2.remap(
        grey, where[..., 0], where[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    ).astype(np.float32)
    light = np.percentile(seen, 85, axis=1)
    ink = float(np.percentile(flat.segments.strength, 80))
    return np.asarray(light - np.percentile(seen, 6, axis=1) > max(0.4 * ink, 8.0))
