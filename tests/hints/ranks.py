"""How alike two orders are."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def spearman(a: Array, b: Array) -> float:
    """The rank correlation of two rows (C. Spearman, 1904), equal numbers sharing a rank."""

    def ranks(x: Array) -> Array:
        _, inverse, counts = np.unique(x, return_inverse=True, return_counts=True)
        return np.asarray((np.cumsum(counts) - (counts - 1) / 2)[inverse])

    return float(np.corrcoef(ranks(a), ranks(b))[0, 1])
