"""Small notes in the light of the page: a digit that is printed in a cell's sight is seldom noted.

With λ_i(d) the log-odds that digit d is noted in cell i, by the ink alone, g_i(d) = 1 where a cell
of one of its houses holds d as a given, and a_i the chance that cell i holds any note,

    λ'_i(d) = λ_i(d) - SEEN g_i(d) + OPEN (1 - g_i(d)) s_i(d) [a_i > ANY]

with s_i(d) = 1 where no such cell holds d as an entry either. Entries speak against no note: most
people leave notes standing when they fill a cell nearby. The model and its weights are ours: SEEN
says that one note in twenty is kept against a given, OPEN what it gains that a noted cell's
other digits are left. Ink that is plain outweighs both.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from papernudge.hints.layout import NEWSPAPER, Layout

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

SEEN, OPEN, ANY = 3.0, 1.0, 0.9


def in_sight(digits: Ints, layout: Layout = NEWSPAPER) -> npt.NDArray[np.bool_]:
    """Which digits each cell's peers hold: int64 (N,), 0 for none, to bool (N, n)."""
    held = np.zeros((layout.many, layout.side + 1), np.bool_)
    for cell, peers in enumerate(layout.peers):
        held[cell, digits[list(peers)]] = True
    return held[:, 1:]


def on_page(notes: Floats, givens: Ints, entries: Ints, layout: Layout = NEWSPAPER) -> Floats:
    """Log-odds of each small note, float64 (N, n), in the light of what else is on the page.

    ``notes``: the same by the ink alone; ``givens`` and ``entries``: int64 (N,), 0 for none.
    """
    printed, written = in_sight(givens, layout), in_sight(entries, layout)
    weighed = notes - SEEN * printed
    noted = 1 - np.prod(1 / (1 + np.exp(weighed)), axis=1) > ANY
    return np.asarray(weighed + OPEN * (noted[:, None] & ~printed & ~written))
