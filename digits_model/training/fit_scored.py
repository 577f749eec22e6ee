"""Fits how the words of two networks are weighed on boards of more than nine digits.

    python -m papernudge.digits_model.training.fit_scored --pages 80

The cells are those of drawn pages of the preset newspaper and the split ``calibrate``, whose
typefaces, writers and puzzles neither network saw. Prints AT_ONCE and BY_VIEWS of
``papernudge.vision.scored`` and what they lose on every fourth page, which they were not fitted on.
Weights move by a tenth or two between halves of the pages.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

from papernudge.digits_model import symbols
from papernudge.digits_model.scores import score
from papernudge.digits_model.training.pages import board_page, draw
from papernudge.digits_model.training.pages.board_pages import named
from papernudge.digits_model.training.symbols import JITTER, rows_of
from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import cut_patches
from papernudge.vision.scored import AT_ONCE, UNSURE, together

Floats = npt.NDArray[np.float64]
FIRST = 944_000_000
BOARDS = ("4x4", "3x4", "4x4", "2x5", "4x4", "4x3", "4x4", "5x2")
_RIDGE = 1e-4
"""Weight of the squares of weights less a half: some are hardly told from each other."""


@dataclass(frozen=True, eq=False)
class Said:
    """What two networks say of N cells: log-probabilities of signs (N, 24), of nine digits (N, 10),
    and what stands there (N,); ``page``: (N,), which page they are of.
    """

    signs: Floats
    digits: Floats
    true: npt.NDArray[Any]
    page: npt.NDArray[Any]

    def part(self, which: npt.NDArray[np.bool_]) -> Said:
        """Some of the cells."""
        return Said(self.signs[which], self.digits[which], self.true[which], self.page[which])


def loss(weights: Floats, said: Said) -> float:
    """Mean log-loss of the signs weighed so."""
    logs = together(said.signs, said.digits, weights)
    return float(-logs[np.arange(len(said.true)), said.true].mean())


def fitted(said: Said) -> Floats:
    """The weights of the least loss."""

    def worth(weights: Floats) -> float:
        return loss(weights, said) + _RIDGE * float(((weights[:5] - 0.5) ** 2).sum())

    return np.asarray(minimize(worth, AT_ONCE, method="L-BFGS-B").x, np.float64)


def gathered(first: int, pages: int) -> tuple[Said, Said]:
    """What is said of the pages' cells after one look, and of unsure ones after many."""
    once: list[Said] = []
    views: list[Said] = []
    for seed in range(first, first + pages):
        page = draw(
            board_page("newspaper", seed, named(BOARDS[seed % 8], seed), split="calibrate", cut="")
        )
        grid = next(grid for grid in page.truth.grids if grid.cells)
        assert grid.crossings is not None
        off = np.random.default_rng(seed).normal(0, JITTER * grid.cell_px, grid.crossings.shape)
        mesh = Mesh(grid.crossings + off, np.ones(off.shape[:2], np.bool_))
        pixels, rows = cut_patches(page.image, mesh).pixels, rows_of(grid)
        true, nine = rows[:, 0].astype(np.int64), score(pixels).digits
        said = Said(
            symbols.normed(symbols.logits(pixels)), nine, true, np.full(len(true), seed - first)
        )
        once.append(said)
        unsure = together(said.signs, nine, AT_ONCE).max(axis=1) < np.log(1 - UNSURE)
        many = symbols.normed(symbols.many_views(pixels[unsure]))
        views.append(Said(many, nine[unsure], true[unsure], said.page[unsure]))
    return _joined(once), _joined(views)


def _joined(parts: list[Said]) -> Said:
    names = ("signs", "digits", "true", "page")
    return Said(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def main() -> None:
    """Fits, and prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=FIRST)
    parser.add_argument("--pages", type=int, default=80)
    words = parser.parse_args()
    for name, said in zip(("AT_ONCE", "BY_VIEWS"), gathered(words.first, words.pages), strict=True):
        held = said.page % 4 == 3
        weights, apart = fitted(said.part(~held)), said.part(held)
        ever = together(apart.signs, apart.digits, weights)
        wrong = float((ever.argmax(axis=1) != apart.true).mean())
        print(f"{name} = {np.round(fitted(said), 3).tolist()}")
        print(
            f"  {len(said.true)} cells; of {int(held.sum())} apart: loss {loss(weights, apart):.4f}"
        )
        print(f"  wrong {100 * wrong:.2f} %; by signs alone {_alone(apart):.2f} %")


def _alone(said: Said) -> float:
    return 100 * float((said.signs.argmax(axis=1) != said.true).mean())


if __name__ == "__main__":
    main()
