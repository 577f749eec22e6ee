"""Cells of drawn pages, with truth, for training and for tests of the model."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
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
from papernudge.digits_model.training.pages.truth import GridTruth, Spot
from papernudge.digits_model.training.pool import Cells
from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import (
    FINE,
    FINE_MARGIN,
    FINE_SIDE,
    SIDE,
    cut_fine,
    cut_patches,
)

Noted = tuple[npt.NDArray[np.uint8], npt.NDArray[np.int8], npt.NDArray[np.int8]]
"""NOTED_CELLS cells of a page for the notes' network: fine patches, notes, places."""

MIX = (("easy", 0.05), ("newspaper", 0.35), ("hard", 0.6))
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


NOTED_MIX = (("easy", 0.05), ("newspaper", 0.35), ("hard", 0.6))
"""Presets and their shares where notes are learnt: small digits suffer first."""
NOTED_FREE = 0.4
"""Share of pages whose frame is left to the preset."""
NOTED_CELLS = 30
"""Cells of a page that the notes' network learns from at once."""


def noted_recipe(seed: int, split: str = "train") -> PageSpec:
    """The page that training of the notes draws for this seed."""
    rng = np.random.default_rng([seed, 8])
    name = str(rng.choice([n for n, _ in NOTED_MIX], p=[share for _, share in NOTED_MIX]))
    fields: dict[str, Any] = dict(NOTES_FRAME)
    if rng.random() < NOTED_FREE:
        fields = {"grids": 1}
    share, fill, struck, wobble = rng.uniform([0.2, 0.0, 0.0, 0.0], [1.0, 0.6, 0.5, 0.05])
    fields |= {"note_share": share, "fill": fill, "struck_notes": struck, "wobble": wobble}
    return preset(name, seed, split=split, **{k: _plain(v) for k, v in fields.items()})


def _plain(value: Any) -> Any:
    return float(value) if isinstance(value, np.floating) else value


def noted_page(seed: int, pages: Path | None = None, split: str = "train") -> Noted:
    """Cells of the page of this seed: noted ones first, and some of all others.

    ``pages``: packed typefaces and strokes, where the machine has no font files. Returns uint8
    (NOTED_CELLS, FINE_SIDE, FINE_SIDE), int8 (NOTED_CELLS, 9) and int8 (NOTED_CELLS, PLACES,
    PLACES) as from :func:`places_of`; none at all where nothing on the page can be read.
    """
    import cv2

    cv2.setNumThreads(1)
    if pages is not None:
        use_pack(pages)
    page, rng = draw(noted_recipe(seed, split)), np.random.default_rng(seed)
    grids = [g for g in _whole(page.truth.grids, LEAST_FINE) if any(g.spots.values())]
    if not grids:
        return (
            np.zeros((0, FINE_SIDE, FINE_SIDE), np.uint8),
            np.zeros((0, 9), np.int8),
            np.zeros((0, FINE_SIDE // 4, FINE_SIDE // 4), np.int8),
        )
    grid = grids[0]
    rank = rng.random(81)
    rank[[i for i, spots in grid.spots.items() if spots]] += 0.75  # most noted ones, some others
    kept = np.sort(np.argsort(-rank)[:NOTED_CELLS])
    spots = [grid.spots.get(int(i), []) for i in kept]
    rows = label_rows(grid)[kept]
    return cut_fine(page.image, moved(grid, rng), kept), rows[:, NOTES], places_of(spots)


def places_of(spots: list[list[Spot]]) -> npt.NDArray[np.int8]:
    """What is centred at each place of some cells: int8 (N, P, P), P = FINE_SIDE / 4.

    0 for nothing, 1 to 9 for a note, 10 for one struck out, -100 next to any of them, where
    nothing is asked.
    """
    side = FINE_SIDE // 4
    out = np.zeros((len(spots), side, side), np.int8)
    for cell, held in zip(out, spots, strict=True):
        at = [(np.clip((FINE_MARGIN + FINE * np.array(s[1:])) / 4, 0, side - 1), s) for s in held]
        for (x, y), _ in at:
            cell[max(int(y) - 1, 0) : int(y) + 2, max(int(x) - 1, 0) : int(x) + 2] = -100
        for (x, y), spot in at:
            cell[int(y), int(x)] = spot[0] or 10
    return out


def noted_cells(name: str, seed: int, split: str) -> Iterator[Cells]:
    """Fine patches (n, 80, 80) and label rows of a page's cells without a big digit, by grid."""
    page = draw(preset(name, seed, split=split, note_share=0.6, fill=0.4, grids=1))
    rng = np.random.default_rng(seed)
    for grid in _whole(page.truth.grids, LEAST_FINE):
        row = label_rows(grid)
        kept = np.flatnonzero((row[:, DIGIT] == 0) & (row[:, STRUCK] == 0))
        yield cut_fine(page.image, moved(grid, rng), kept), row[kept]


def cells(seed: int, pages: Path | None = None, split: str = "train") -> Cells:
    """The cells of the page with this seed; ``pages`` as in :func:`noted_page`."""
    import cv2

    cv2.setNumThreads(1)
    if pages is not None:
        use_pack(pages)
    return cells_of(draw(recipe(seed, split)), seed, LEAST)
