"""Cells of harmed pages, with what can still be said of each, for training the looks."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.drawn import LEAST, cells_of, label_rows, moved, recipe
from papernudge.digits_model.training.labels import DIGIT, HAND, NOTES, STRUCK, UNKNOWN
from papernudge.digits_model.training.pages import draw, use_pack
from papernudge.digits_model.training.pages.harms import Harmed, harms
from papernudge.digits_model.training.pages.truth import GridTruth
from papernudge.digits_model.training.pool import Cells
from papernudge.digits_model.training.seen_truth import cropped, some_harms
from papernudge.vision.even import exposed
from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import cut_patches

VARIANTS = 2
"""Harmed pages made of each that is drawn; the page itself is learnt from, too."""
LEGIBLE, PLAIN = 0.6, 0.9
"""Of a cell seen less than this nothing is asked; its notes only where this much is seen."""
EVENED = 0.5
"""Share of harmed pages that are cut as reading cuts them, light evened to the rims of shadows."""
STRUCK_BY = 0.012
"""A doodle over so much of a cell may be what strikes out what stands there."""


def rows_of(
    grid: GridTruth, harmed: Harmed, which: list[tuple[str, float]]
) -> npt.NDArray[np.int8]:
    """Label rows int8 (81, LABELS) of a harmed grid."""
    rows = label_rows(grid)
    seen = harmed.seen
    rows[seen < PLAIN, NOTES] = UNKNOWN
    hidden = seen < LEGIBLE
    rows[hidden] = UNKNOWN
    if any(kind == "doodle" for kind, _ in which):
        crossed = harmed.crossed > STRUCK_BY
        rows[crossed, STRUCK] = UNKNOWN
        rows[crossed, NOTES] = UNKNOWN
        marked = crossed & (rows[:, DIGIT] > 0)
        rows[marked, DIGIT] = rows[marked, HAND] = UNKNOWN
    return rows


def cells(seed: int, pages: Path | None = None, split: str = "train") -> Cells:
    """The cells of the page with this seed and of harmed ones made of it.

    ``pages``: packed typefaces and strokes, where the machine has no font files.
    """
    import cv2

    cv2.setNumThreads(1)
    if pages is not None:
        use_pack(pages)
    page = draw(recipe(seed, split))
    pixels, labels = cells_of(page, seed, LEAST)
    out, rows = [pixels], [labels]
    whole = [g for g in page.truth.grids if g.kind in ("puzzle", "full") and g.cell_px >= LEAST]
    for grid in whole[:1]:
        assert grid.crossings is not None
        image, crossings = cropped(page.image, grid.crossings)
        for k in range(VARIANTS):
            rng = np.random.default_rng([seed, 59, k])
            which = some_harms(rng) or [("crease", float(rng.uniform(0.5, 5.5)))]
            harmed = harms(image, crossings, which, int(rng.integers(1 << 40)))
            off = moved(grid, rng).crossings - grid.crossings
            scale = np.linalg.norm(np.diff(crossings, axis=1), axis=2).mean() / grid.cell_px
            mesh = Mesh(harmed.crossings + off * scale, np.ones((10, 10), np.bool_))
            even = rng.random() < EVENED
            cut = exposed(harmed.image, mesh).patches if even else cut_patches(harmed.image, mesh)
            out.append(cut.pixels)
            rows.append(rows_of(grid, harmed, which))
    return np.concatenate(out), np.concatenate(rows)
