"""Harmed grids with the truth of what can be seen of them, for the network that says so."""

from __future__ import annotations

import functools
import json
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model import tensors
from papernudge.digits_model.scores import Looks, outputs
from papernudge.digits_model.seen import CELL, MARGIN, SIDE
from papernudge.digits_model.training.drawn import JITTER, LEAST, label_rows, recipe
from papernudge.digits_model.training.labels import DIGIT
from papernudge.digits_model.training.pages import draw, use_pack
from papernudge.digits_model.training.pages.harms import KINDS, UNTAUGHT, Harmed, harms
from papernudge.vision.even import exposed
from papernudge.vision.mesh import Mesh, Points
from papernudge.vision.patches import flat_sheet

Sample = tuple[npt.NDArray[np.uint8], npt.NDArray[np.int8]]
"""A sheet uint8 (SIDE, SIDE, 3) and its truth int8 (81, TRUTH)."""
TRUTH = 4
"""Columns of a truth row: seen, crossed and laid in hundredths, and whether the looks are right;
-1 where that is not known."""
SEEN, CROSSED, LAID, TRUSTED = range(TRUTH)
LEFT_OUT = 0
"""The fold of puzzles whose photos are never trained on."""
TAUGHT = tuple(kind for kind in KINDS if kind not in UNTAUGHT)
OFTEN = ("thumb", "glare", "shadow", "crease", "torn", "page")
"""Kinds that are drawn twice as often."""
BARE, SINGLE = 0.15, 0.55
"""Shares of grids left as they are, and given one harm; the others have two or three."""
HARMED_SO_OFTEN = 4
"""Samples made of each page."""
READ = 0.6
"""Share of samples that the looks read."""
ASTRAY = 0.12
"""Share of meshes that lie wrong by a good part of a cell somewhere."""
SWAYED, SWAY = 0.3, 0.07
"""Share of meshes that bend away from the lines a little, as where a cover hid some, and the usual
most of it, cells."""
AROUND = 1.7
"""Cells around the grid that are kept: harms come in from there."""
MOST_CELL = 44.0
"""Pictures are made smaller until a cell has no more pixels: harms cost by the pixel."""


def some_harms(rng: np.random.Generator) -> list[tuple[str, float]]:
    """Kinds and levels of harm for one sample."""
    dice = rng.random()
    count = 0 if dice < BARE else 1 if dice < BARE + SINGLE else int(rng.integers(2, 4))
    weights = np.array([2.0 if kind in OFTEN else 1.0 for kind in TAUGHT])
    kinds = rng.choice(len(TAUGHT), count, replace=False, p=weights / weights.sum())
    return [(TAUGHT[int(k)], float(rng.uniform(0.4, 5.6))) for k in kinds]


def cropped(
    image: npt.NDArray[np.uint8], crossings: Points
) -> tuple[npt.NDArray[np.uint8], Points]:
    """The grid and what lies around it, small enough, and where its crossings lie there."""
    import cv2

    cell = float(np.linalg.norm(np.diff(crossings, axis=1), axis=2).mean())
    low = np.floor(crossings.min(axis=(0, 1)) - AROUND * cell).astype(int)
    high = np.ceil(crossings.max(axis=(0, 1)) + AROUND * cell).astype(int)
    x0, y0 = np.maximum(low, 0)
    x1, y1 = np.minimum(high, [image.shape[1], image.shape[0]])
    part, at = image[y0:y1, x0:x1], crossings - np.array([x0, y0])
    if cell > MOST_CELL:
        size = (round((x1 - x0) * MOST_CELL / cell), round((y1 - y0) * MOST_CELL / cell))
        scale = np.array([size[0] / (x1 - x0), size[1] / (y1 - y0)])
        part = np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.uint8)
        at = (at + 0.5) * scale - 0.5
    return part, at


def _mesh(crossings: Points, rng: np.random.Generator, share: float) -> tuple[Mesh, bool]:
    """Crossings as a finder might give them, and whether they lie astray."""
    cell = float(np.linalg.norm(np.diff(crossings, axis=1), axis=2).mean())
    moved = crossings + rng.normal(0, JITTER * cell, crossings.shape)
    if share and rng.random() < SWAYED:
        y, x = np.mgrid[-1:1:10j, -1:1:10j]
        bend = np.einsum(
            "kij,kc->ijc", np.stack([x, y, x * x, x * y, y * y]), rng.normal(size=(5, 2))
        )
        moved += SWAY * cell * rng.random() * bend
    astray = bool(rng.random() < share)
    if astray:
        line, way = int(rng.integers(0, 9)), int(rng.integers(2))
        by = rng.uniform(0.25, 0.6) * float(rng.choice([-1, 1]))
        lines = moved if way else moved.transpose(1, 0, 2)
        step = lines[line + 1] - lines[line]
        last = int(rng.integers(line, 10))
        lines[line : last + 1] += by * step
    return Mesh(moved, np.ones((10, 10), np.bool_)), astray


def sample(
    harmed: Harmed,
    digits: npt.NDArray[np.int64],
    rng: np.random.Generator,
    looks: Looks | None,
    judged: bool = False,
) -> Sample:
    """One harmed grid as the network is shown it; ``digits`` (81,), 0 for blank.

    ``judged``: never with a mesh astray, and always read by the looks.
    """
    mesh, astray = _mesh(harmed.crossings, rng, 0.0 if judged else ASTRAY)
    sheet = flat_sheet(harmed.image, mesh, CELL, MARGIN)
    truth = np.empty((81, TRUTH), np.int8)
    for column, share in ((SEEN, harmed.seen), (CROSSED, harmed.crossed), (LAID, harmed.laid)):
        truth[:, column] = -1 if astray else np.rint(100 * np.clip(share, 0, 1))
    truth[:, TRUSTED] = -1
    if judged or rng.random() < READ:
        logits, _ = outputs(exposed(harmed.image, mesh).patches.pixels, looks)
        truth[:, TRUSTED] = logits[:, tensors.DIGITS].argmax(axis=1) == digits
    return sheet, truth


def samples(
    seed: int, pages: Path | None = None, split: str = "train", looks: Looks | None = None
) -> list[Sample]:
    """HARMED_SO_OFTEN samples of the first grid of the drawn page of this seed, harmed in turn.

    ``pages``: packed typefaces and strokes, where the machine has no font files. None where
    nothing on the page can be read.
    """
    import cv2

    cv2.setNumThreads(1)
    if pages is not None:
        use_pack(pages)
    page = draw(recipe(seed, split))
    whole = [g for g in page.truth.grids if g.kind in ("puzzle", "full") and g.cell_px >= LEAST]
    out: list[Sample] = []
    for grid in whole[:1]:
        assert grid.crossings is not None
        digits = label_rows(grid)[:, DIGIT].astype(np.int64)
        image, crossings = cropped(page.image, grid.crossings)
        for k in range(HARMED_SO_OFTEN):
            rng = np.random.default_rng([seed, 41, k])
            harmed = harms(image, crossings, some_harms(rng), int(rng.integers(1 << 40)))
            out.append(sample(harmed, digits, rng, looks))
    return out


@functools.cache
def unseen_looks(fold: int) -> Looks:
    """The looks that never saw the puzzles of this fold."""
    return Looks.held(Path(__file__).parent / "unseen", f"fold{fold}", f"fold{fold}-closer")


class Photos:
    """Real photos' grids, small, as :func:`packed` writes them."""

    def __init__(self, path: Path) -> None:
        stored = np.load(path)
        self._bytes = np.split(stored["bytes"], stored["ends"][:-1])
        self._crossings, self._digits = stored["crossings"], stored["digits"]
        self._folds = stored["folds"]

    def __len__(self) -> int:
        return len(self._bytes)

    def samples(self, seed: int) -> list[Sample]:
        """Samples of a photo, harmed in turn, read by the looks that never saw its puzzle."""
        import cv2

        rng = np.random.default_rng([seed, 43])
        at = int(rng.integers(len(self)))
        image = np.asarray(cv2.imdecode(self._bytes[at], cv2.IMREAD_COLOR), np.uint8)
        looks, out = unseen_looks(int(self._folds[at])), []
        for _ in range(HARMED_SO_OFTEN):
            which = some_harms(rng)
            harmed = harms(image, self._crossings[at], which, int(rng.integers(1 << 40)))
            out.append(sample(harmed, self._digits[at], rng, looks))
        return out


def packed(folder: Path, to: Path, left_out: int, folds: Path) -> int:
    """Pack all photos below ``folder`` but those of fold ``left_out``, by the file ``folds``.

    Returns how many. What is left out is what the network is judged by.
    """
    import cv2

    from papernudge.digits_model.training.real import photos, puzzle_key

    fold_of = json.loads(folds.read_text())["folds"]
    held: dict[str, list[Any]] = {"bytes": [], "crossings": [], "digits": [], "folds": []}
    for photo in photos(folder):
        mesh = photo.mesh()
        if mesh is None or fold_of[puzzle_key(photo.puzzle)] == left_out:
            continue
        image, crossings = cropped(photo.raster(), mesh.crossings)
        _, code = cv2.imencode(".jpg", image, [cv2.IMWRITE_JPEG_QUALITY, 95])
        held["bytes"].append(np.asarray(code, np.uint8).ravel())
        held["crossings"].append(crossings)
        held["folds"].append(fold_of[puzzle_key(photo.puzzle)])
        held["digits"].append([0 if char == "." else int(char) for char in photo.digits])
    np.savez(
        to,
        bytes=np.concatenate(held["bytes"]),
        ends=np.cumsum([len(code) for code in held["bytes"]]),
        crossings=np.array(held["crossings"]),
        folds=np.array(held["folds"]),
        digits=np.array(held["digits"], np.int64),
    )
    return len(held["bytes"])


__all__ = [
    "LEFT_OUT",
    "SIDE",
    "TRUTH",
    "UNTAUGHT",
    "Photos",
    "Sample",
    "packed",
    "sample",
    "samples",
    "some_harms",
]
