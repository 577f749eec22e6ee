"""Cells of drawn pages, with truth, for training and for tests of the model."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.labels import (
    DIGIT,
    HAND,
    LABELS,
    NOTES,
    STRUCK,
    UNKNOWN,
)
from papernudge.digits_model.training.pages import Page, PageSpec, draw, preset, use_pack
from papernudge.digits_model.training.pages.truth import GridTruth
from papernudge.digits_model.training.pool import Cells
from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import FINE_SIDE, SIDE, cut_fine, cut_patches

Both = tuple[
    npt.NDArray[np.uint8], npt.NDArray[np.int8], npt.NDArray[np.uint8], npt.NDArray[np.int8]
]
"""Patches and label rows, fine patches and theirs."""

MIX = (("easy", 0.1), ("newspaper", 0.5), ("hard", 0.4))
"""Presets and their shares in training."""
SMALL = 0.7
"""Share of pages drawn small."""
SMALL_FRAME = {"width": 640, "height": 480, "focus": "grid", "grids": 1}
NOTES_FRAME = {**SMALL_FRAME, "width": 896, "height": 672}
"""Notes need more pixels than digits."""
RICHER: tuple[tuple[dict[str, Any], float], ...] = (
    ({}, 0.4),
    ({"fill": 1.0, "pen": "laid"}, 0.15),
    ({"note_share": 0.8, "struck_notes": 0.25, **NOTES_FRAME}, 0.25),
    ({"fill": 0.7, "struck": 0.15, "ghosts": 0.05, "overwritten": 0.08}, 0.2),
)
"""What pages are given more of, so that rare marks are not rare in training."""
MISTAKEN = 0.5
"""Share of pages with up to thirty wrong entries."""
LEAST = 18.0
"""Side of a cell, raster pixels, below which nothing can be read and nothing learnt."""
LEAST_FINE = 28.0
"""The same for fine patches: smaller cells hold no notes that could be read."""
JITTER = 0.012
"""How far crossings are moved, standard deviation in cells: about what flattening misses by."""


def label_rows(grid: GridTruth) -> npt.NDArray[np.int8]:
    """int8 (81, LABELS) from a page's truth."""
    truth = grid.labels()
    rows = np.zeros((81, LABELS), np.int8)
    rows[:, DIGIT] = truth["digit"]
    rows[:, HAND] = np.array([UNKNOWN, 0, 1])[truth["hand"]]
    rows[:, NOTES] = truth["notes"]
    rows[:, STRUCK] = truth["struck"]
    return rows


def moved(grid: GridTruth, rng: np.random.Generator) -> Mesh:
    """The true crossings, off by what a finder might be off by."""
    assert grid.crossings is not None
    off = rng.normal(0, JITTER * grid.cell_px, grid.crossings.shape)
    return Mesh(grid.crossings + off, np.ones((10, 10), np.bool_))


def _whole(grids: Iterable[GridTruth], least: float) -> list[GridTruth]:
    """The whole 9×9 grids whose cells have ``least`` pixels a side."""
    whole = (g for g in grids if g.kind in ("puzzle", "full") and g.crossings is not None)
    return [g for g in whole if g.cell_px >= least]


def page_cells(
    name: str,
    seed: int,
    split: str = "train",
    small: bool = False,
    more: dict[str, Any] | None = None,
    least: float = LEAST,
) -> Cells:
    """The cells of one drawn page's whole 9×9 grids: patches and label rows.

    ``small``: one grid that fills a photo of 0.3 megapixels, many times quicker to draw.
    ``more``: fields of the page's spec to set otherwise. ``least``: side of a cell, pixels,
    below which a grid is left out.
    """
    fields: dict[str, Any] = dict(SMALL_FRAME) if small else {}
    return cells_of(draw(preset(name, seed, split=split, **fields, **(more or {}))), seed, least)


def cells_of(page: Page, seed: int, least: float) -> Cells:
    """Patches and label rows of the page's whole 9×9 grids, 81 each; see :func:`page_cells`."""
    rng = np.random.default_rng(seed)
    pixels, labels = [np.zeros((0, SIDE, SIDE, 3), np.uint8)], [np.zeros((0, LABELS), np.int8)]
    for grid in _whole(page.truth.grids, least):
        pixels.append(cut_patches(page.image, moved(grid, rng)).pixels)
        labels.append(label_rows(grid))
    return np.concatenate(pixels), np.concatenate(labels)


def noted_cells(name: str, seed: int, split: str) -> Cells:
    """Fine patches (n, 80, 80) and label rows of a page's cells without a big digit."""
    page = draw(preset(name, seed, split=split, note_share=0.6, fill=0.4, grids=1))
    rng = np.random.default_rng(seed)
    fine, rows = [np.zeros((0, FINE_SIDE, FINE_SIDE), np.uint8)], [np.zeros((0, LABELS), np.int8)]
    for grid in _whole(page.truth.grids, LEAST_FINE):
        row = label_rows(grid)
        kept = np.flatnonzero((row[:, DIGIT] == 0) & (row[:, STRUCK] == 0))
        fine.append(cut_fine(page.image, moved(grid, rng), kept))
        rows.append(row[kept])
    return np.concatenate(fine), np.concatenate(rows)


def recipe(seed: int, split: str = "train") -> PageSpec:
    """The page that training draws for this seed, its preset chosen by MIX."""
    names, shares = [name for name, _ in MIX], [share for _, share in MIX]
    rng = np.random.default_rng([seed, 7])
    name = str(rng.choice(names, p=shares))
    more = RICHER[int(rng.choice(len(RICHER), p=[share for _, share in RICHER]))][0]
    fields: dict[str, Any] = dict(SMALL_FRAME) if rng.random() < SMALL else {}
    # Bent further than the presets bend them: few writers stand for many.
    fields["wobble"] = float(rng.uniform(0, 0.05))
    # A second look knows the page's other cells: it must not learn how often a digit stands there.
    if rng.random() < MISTAKEN:
        fields["mistakes"] = int(rng.integers(3, 30))
    return preset(name, seed, split=split, **(fields | more))


NOTED = {"note_share": 0.8, "struck_notes": 0.25, "fill": 0.25, **NOTES_FRAME}
"""What a page is given that is drawn for its notes alone."""


def both_sizes(
    seed: int, pages: Path | None = None, split: str = "train", noted_pages: bool = False
) -> Both:
    """The cells of the page of this seed, and fine patches of those that hold notes and some more.

    ``pages``: packed typefaces and strokes, where the machine has no font files.
    ``noted_pages``: draw as many notes as there is room for.
    """
    import cv2

    from papernudge.digits_model.training.stock import noted

    cv2.setNumThreads(1)
    if pages is not None:
        use_pack(pages)
    spec = recipe(seed, split)
    page = draw(preset(spec.preset, seed, split=split, **NOTED) if noted_pages else spec)
    rng = np.random.default_rng(seed)
    pixels, rows = [np.zeros((0, SIDE, SIDE, 3), np.uint8)], [np.zeros((0, LABELS), np.int8)]
    fine, fine_rows = [np.zeros((0, FINE_SIDE, FINE_SIDE), np.uint8)], [rows[0]]
    for grid in _whole(page.truth.grids, LEAST):
        mesh, row = moved(grid, rng), label_rows(grid)
        pixels.append(cut_patches(page.image, mesh).pixels)
        rows.append(row)
        if grid.cell_px >= LEAST_FINE:
            kept = noted(row, rng)
            fine.append(cut_fine(page.image, mesh, kept))
            fine_rows.append(row[kept])
    whole = np.concatenate(pixels), np.concatenate(rows)
    return *whole, np.concatenate(fine), np.concatenate(fine_rows)


def cells(seed: int, pages: Path | None = None, split: str = "train") -> Cells:
    """The cells of the page with this seed; ``pages`` as in :func:`both_sizes`."""
    import cv2

    cv2.setNumThreads(1)
    if pages is not None:
        use_pack(pages)
    return cells_of(draw(recipe(seed, split)), seed, LEAST)
