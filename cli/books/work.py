"""The work on one page: open it, read it, settle each grid. Runs in any process."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from papernudge.cli.books.rows import GridRow, PageDone, PageTask, layout_data
from papernudge.hints.catalogue import message, packed

if TYPE_CHECKING:
    from papernudge.vision.failure import Failure
    from papernudge.vision.grid import Quality
    from papernudge.vision.photo import Photo, Raster
    from papernudge.vision.reading import GridReading

PASSING = frozenset({"missing", "unreadable", "folder", "memory"})
"""Reasons that lie outside the file's bytes: the next run may fare better."""


def one_thread() -> None:
    """One thread for everything: the workers are the parallel part. Said before numpy's import."""
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    import cv2

    cv2.setNumThreads(1)


def reader() -> str:
    """Which reader is at work here."""
    from papernudge.digits_model.scores import reader as at_work

    return at_work()


def read_task(task: PageTask) -> PageDone:
    """Reads a page. Nothing that is wrong with it raises."""
    from papernudge.cli.base import limited
    from papernudge.cli.books.sources import open_page
    from papernudge.vision.failure import Failure

    try:
        with limited.within(limited.SECONDS):
            photo = open_page(task)
        return _failed(task, photo) if isinstance(photo, Failure) else _read(task, photo)
    except MemoryError:
        memory = limited.MEMORY // 1_000_000
        says = message(
            "page takes too much memory", called=task.name, page=task.number, memory=memory
        )
        return PageDone(
            task.hash, task.number, reader(), "unreadable", "memory", packed(says), lasting=False
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
        packed(failure.says),
        lasting=lasting,
    )


def _read(task: PageTask, photo: Photo) -> PageDone:
    from papernudge.cli.books.settle import print_of, settle
    from papernudge.hints.solver import solve_soon
    from papernudge.vision import read
    from papernudge.vision.failure import Failure

    reading = read.read_page(photo.pixels, solve=solve_soon)
    if isinstance(reading, Failure):
        return _failed(task, reading)
    grids = [grid_row(n, g, photo.pixels) for n, g in enumerate(reading.grids, start=1)]
    page = print_of(grids)
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
    from papernudge.cli.session.documents import grid_document
    from papernudge.vision.crop import crop

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
        layout_data(grid.layout),
    )


def _poor(quality: Quality) -> str | None:
    return None if quality.ok else quality.reason


def _chances(grid: GridReading) -> bytes:
    import numpy as np

    unsaid = (np.nan,) * (grid.layout.side + 1)
    rows = [(*(c.digit_chances or unsaid), c.given_chance) for c in grid.cells]
    return np.array(rows).astype("<f2").tobytes()
