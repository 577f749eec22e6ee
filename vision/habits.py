"""The hand's habits on this page: its 1s are like its other 1s, its 7s like its other 7s.

An entry's digits are weighed again by how alike the page's sure entries are, in the classifier's
own features. With q_i(d) the classifier's chance, Λ_i(d) the log of the mean of
exp(KEEN (cos - 1)) over the other entries that are surely d, and c_i(d) = 1 where there are any,

    q'_i(d) ∝ q_i(d)^OWN · exp(LIKE · Λ_i(d) + SEEN · c_i(d))        d = 1 … n

that is a conditional logit (D. McFadden, 1974). How sure it is that something stands in the cell
at all stays as it was. Fitted by ``digits_model/training/fit_habits.py`` on drawn pages whose
writers the classifier never saw together with real photos on which hardly two digits are by the
same hand: what helps on the former without much harm on the latter.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

OWN, LIKE, SEEN = 0.911, 0.479, 0.759
KEEN = 8.0
SURE = 0.9
"""Chance from which an entry is an example of its digit."""


def likeness(entries: Floats, features: npt.NDArray[np.float32]) -> tuple[Floats, Floats]:
    """How like the page's entries each cell is: Λ and c of the formula, float64 (N, n).

    ``entries``: float64 (N, n), the chance that the cell holds this entry; ``features``: float32
    (N, F) behind the classifier's heads. No cell is compared with itself.
    """
    length = np.linalg.norm(features, axis=1, keepdims=True)
    rows = features.astype(np.float64) / np.maximum(length, 1e-9)
    close = np.exp(KEEN * (rows @ rows.T - 1))
    np.fill_diagonal(close, 0.0)
    examples = np.where(entries > SURE, entries, 0.0)
    count = examples.sum(axis=0) - examples
    seen = count > 1e-9
    mean = (close @ examples + 1e-12) / np.maximum(count, 1e-9)
    return np.where(seen, np.log(mean), 0.0), seen.astype(np.float64)


def by_habit(digits: Floats, entries: Floats, features: npt.NDArray[np.float32]) -> Floats:
    """The classifier's log-probabilities in the light of the hand's habits, float64 (N, n + 1).

    ``digits``: float64 (N, n + 1), index 0 blank; ``entries`` and ``features`` as above, the former
    from a first reading of the page. Cells that are no entries stay as they are.
    """
    like, seen = likeness(entries, features)
    marked = np.logaddexp.reduce(digits[:, 1:], axis=1)
    weighed = OWN * (digits[:, 1:] - marked[:, None]) + LIKE * like + SEEN * seen
    weighed += (marked - np.logaddexp.reduce(weighed, axis=1))[:, None]
    out = digits.copy()
    written = entries.sum(axis=1) > 0.5
    out[written, 1:] = weighed[written]
    return out
