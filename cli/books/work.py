"""The work on one page: open it, read it, settle each grid. Runs in any process."""

from __future__ import annotations

import functools
import os
from typing import TYPE_CHECKING

from papernudge.cli.books.rows import GridRow, PageDone, PageTask

if TYPE_CHECKING:
    from papernudge.vision.failure import Failure
    from papernudge.vision.grid import Quality
    from papernudge.vision.mesh import Points
    from papernudge.vision.photo import Photo, Raster
    from papernudge.vision.reading import GridReading

CROP = 378
"""Side of a grid's crop, pixels: 9 cells of 40, and 9 around them."""
MARGIN = 9
CELL = 40
PASSING = frozenset({"missing", "unreadable", "folder", "memory"})
"""Reasons that lie outside the file's bytes: the next run may fare better."""


def one_thread() -> None:
    """One thread for everything: the workers are the parallel part. Said before numpy's import."""
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    import cv2

    cv2.setNumThreads(1)


@functools.cache
def reader() -> str:
    """Which reader is at work here: the version, and the beginning of the digit model's hash."""
    from importlib import metadata

    from papernudge.digits_model.scores import manifest

    try:
        version = metadata.version("papernudge")
    except metadata.PackageNotFoundError:  # run from a bare tree
        version = "unknown"
    return f"{version} {str(manifest()['sha256'])[:16]}"


def read_task(task: PageTask) -> PageDone:
    """Reads a page. Nothing that is wrong with it raises."""
    from papernudge.cli import limited
    from papernudge.cli.books.sources import open_page
    from papernudge.vision.failure import Failure

    try:
        with limited.within(limited.SECONDS):
            photo = open_page(task)
        return _failed(task, photo) if isinstance(photo, Failure) else _read(task, photo)
    except MemoryError:
        sentence = (
            f"{task.name}, page {task.number}: it needs more memory than there is, or than the"
            f" {limited.MEMORY // 1_000_000} MB that a page may take; scan it with fewer pixels."
        )
        return PageDone(
            task.hash, task.number, reader(), "unreadable", "memory", sentence, lasting=False
        )


def _failed(task: PageTask, failure: Failure) -> PageDone:
    state = "no grid" if failure.stage == "find" else "unreadable"
    lasting = failure.reason not in PASSING
    return PageDone(
        task.hash,
        task.number,
        reader(),
        state,
        failure.reason,
        failure.sentence,
        lasting=lasting,
    )


def _read(task: PageTask, photo: Photo) -> PageDone:
    from papernudge.cli.books.settle import settle
    from papernudge.cli.books.typeface import Page
    from papernudge.hints.solver import solve
    from papernudge.vision import read
    from papernudge.vision.failure import Failure

    reading = read.read_page(photo.pixels, solve=solve)
    if isinstance(reading, Failure):
        return _failed(task, reading)
    grids = [grid_row(n, g, photo.pixels) for n, g in enumerate(reading.grids, start=1)]
    page = Page(grids)
    width, height = reading.size
    return PageDone(
        task.hash,
        task.number,
        reader(),
        "read",
        width=width,
        height=height,
        turns=reading.quarter_turns,
        grids=grids,
        puzzles=[settle(grid, page=page) for grid in grids],
    )


def grid_row(number: int, grid: GridReading, raster: Raster) -> GridRow:
    """A reading as the book keeps it."""
    from papernudge.cli.documents import grid_document

    told = grid_document(grid, on_photo=True)
    crossings = None if grid.mesh is None else grid.mesh.crossings
    return GridRow(
        number,
        told["kind"],
        _poor(grid.quality),
        told["corners"],
        None if crossings is None else crossings.astype("<f4").tobytes(),
        told["givens"],
        told["entries"],
        told["notes"],
        told["struck"],
        told["restored"],
        told["doubts"],
        _chances(grid) if grid.cells else None,
        round(grid.chance_all_right, 4),
        crop(raster, grid.corners if crossings is None else crossings),
    )


def _poor(quality: Quality) -> str | None:
    return None if quality.ok else quality.reason


def _chances(grid: GridReading) -> bytes:
    import numpy as np

    rows = [(*(c.digit_chances or (np.nan,) * 10), c.given_chance) for c in grid.cells]
    return np.array(rows).astype("<f2").tobytes()


def crop(raster: Raster, points: Points) -> bytes | None:
    """A grid flattened, CROP pixels a side, as a JPEG file.

    ``points``: raster x/y, its crossings (10, 10, 2) or its corners (4, 2), clockwise from the
    top-left. None where the grid has no extent.
    """
    import cv2
    import numpy as np

    if points.shape == (4, 2):
        points = points[[0, 1, 3, 2]].reshape(2, 2, 2)
    sides = points[-1, 0] - points[0, 0], points[0, -1] - points[0, 0]
    spans = [float(np.linalg.norm(side)) for side in sides]
    if not np.isfinite(points).all() or min(spans) < 9:
        return None
    where = _spread(points.astype(np.float32), CROP)
    low = np.floor(where.min(axis=(0, 1))).astype(int) - 2
    high = np.ceil(where.max(axis=(0, 1))).astype(int) + 3
    low, high = np.clip(low, 0, None), np.minimum(high, raster.shape[1::-1])
    if (high - low < 9).any():
        return None
    part = raster[low[1] : high[1], low[0] : high[0]]
    where = where - low.astype(np.float32)
    shrink = min(1.0, 1.5 * CROP / max(spans))
    if shrink < 1:
        small = cv2.resize(part, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
        part = np.asarray(small, np.uint8)
        where = np.asarray((where + 0.5) * shrink - 0.5, np.float32)
    flat = cv2.remap(
        part, where[..., 0], where[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    done, file = cv2.imencode(".jpg", flat, [cv2.IMWRITE_JPEG_QUALITY, 80])
    return bytes(file.tobytes()) if done else None


def _spread(points: Points, side: int) -> Points:
    """For each pixel of the crop where it lies in the raster: float32 (side, side, 2).

    Straight between neighbouring crossings, on in the same direction outside the grid.
    """
    import numpy as np

    steps = points.shape[0] - 1
    at = (np.arange(side) + 0.5 - MARGIN) / (9 * CELL) * steps
    left = np.clip(np.floor(at), 0, steps - 1).astype(int)
    rest = (at - left)[:, None].astype(np.float32)
    across = points[:, left] * (1 - rest) + points[:, left + 1] * rest
    down = across[left] * (1 - rest[:, None]) + across[left + 1] * rest[:, None]
    return np.ascontiguousarray(down, np.float32)
