"""What the networks say of a board's cells, told in the board's own digits.

Boards of fewer than ten digits are read by the looks that know nine. What these take for a digit
that the board does not have is no evidence for any other: it is spread over all that may stand
there, so that the cell stays open and is asked about.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import Closer, Scores, score
from papernudge.hints.layout import Layout

Floats = npt.NDArray[np.float64]
Pixels = npt.NDArray[np.uint8]
Scorer = Callable[[Pixels], Scores]

KNOWN = 9
"""Digits that the looks know."""
UNFIT = 0.5
"""A cell of a board of fewer digits whose likeliest one by the ink has less chance is asked about
whatever the rules make likely there: it may hold one that the board does not have."""


def can_read(layout: Layout) -> bool:
    """Whether there is a network that knows all digits of a board."""
    return layout.side <= KNOWN


def scores_of(pixels: Pixels, layout: Layout, scorer: Scorer = score) -> Scores:
    """The scores of one grid's cells: ``digits`` (N, n + 1) and ``notes`` (N, n) for its n digits.

    ``pixels``: uint8 (N, 48, 48, 3) as of ``papernudge.vision.patches.Patches``; ``layout``: one
    that :func:`can_read` knows; ``scorer``: the classifier of the nine digits.
    """
    said, side = scorer(pixels), layout.side
    if side == KNOWN:
        return said
    closer = said.closer
    if isinstance(closer, Closer):
        closer = _Fewer(closer.pixels, closer.page, closer.calibration, closer.looks, side)
    return replace(
        said, digits=of_board(said.digits, side), notes=said.notes[:, :side], closer=closer
    )


def of_board(digits: Floats, side: int) -> Floats:
    """Log-probabilities (N, 10) of blank and nine digits as those of blank and ``side`` digits,
    (N, side + 1).
    """
    if digits.shape[1] == side + 1:
        return digits
    chances = np.exp(digits)
    none = chances[:, side + 1 :].sum(axis=1, keepdims=True)
    return np.asarray(np.log(chances[:, : side + 1] + none / (side + 1)))


def unfit(digits: Floats) -> frozenset[int]:
    """Cells of a board of fewer digits, (N, side + 1) as of :func:`scores_of`, that may hold one
    which it does not have.
    """
    if digits.shape[1] > KNOWN:
        return frozenset()
    return frozenset(np.flatnonzero(digits.max(axis=1) < np.log(UNFIT)).tolist())


@dataclass(frozen=True, eq=False)
class _Fewer(Closer):
    """A closer look at a board of fewer digits."""

    side: int = KNOWN

    def digits(self, cells: npt.NDArray[np.int64]) -> Floats:
        """Log-probabilities of blank and the digits, float64 (len(cells), side + 1)."""
        return of_board(super().digits(cells), self.side)
