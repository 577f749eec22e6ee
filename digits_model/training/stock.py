"""Draws the cells of many pages beforehand, for training where drawing would be the slower half.

    python -m papernudge.digits_model.training.stock --to .work/stock --pages 4000 --workers 2

Writes parts of 100 pages each into the folder; a part that is there is not drawn again, so the
command may be stopped and started. Each part holds ``cells`` (N, 48, 48, 3) with ``labels``
(N, LABELS).
"""

from __future__ import annotations

import argparse
import multiprocessing
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training import drawn

PART = 100
"""Pages a part."""

Part = dict[str, npt.NDArray[Any]]


def draw_part(number: int, to: Path, seed: int, pack: Path | None) -> Path:
    """Draw one part unless its file is there; returns the file."""
    path = to / f"part{number:05d}.npz"
    if path.exists():
        return path
    first = seed * 1_000_000_000 + number * PART
    pages = [drawn.cells(first + k, pack) for k in range(PART)]
    names = ("cells", "labels")
    whole = {n: np.concatenate([p[i] for p in pages]) for i, n in enumerate(names)}
    half = path.with_suffix(".half.npz")
    with half.open("wb") as file:
        np.savez(file, allow_pickle=False, **whole)
    half.replace(path)
    return path


def parts(folder: Path) -> Iterator[Part]:
    """The parts of a stock, in order.

    Raises FileNotFoundError where the folder holds none.
    """
    paths = sorted(p for p in folder.glob("part*.npz") if not p.name.endswith(".half.npz"))
    if not paths:
        raise FileNotFoundError(f"expected part00000.npz … in {folder}")
    for path in paths:
        with np.load(path) as held:
            yield {name: held[name] for name in held.files}


def main() -> None:
    """Draw what is missing."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--to", type=Path, required=True)
    parser.add_argument("--pages", type=int, default=4000)
    parser.add_argument("--pack", type=Path, help="packed typefaces and strokes")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--seed", type=int, default=5)
    given = parser.parse_args()
    given.to.mkdir(parents=True, exist_ok=True)
    numbers = range(-(-given.pages // PART))
    draw = partial(draw_part, to=given.to, seed=given.seed, pack=given.pack)
    with multiprocessing.get_context("spawn").Pool(given.workers) as pool:
        for path in pool.imap(draw, numbers):
            print(path.name, flush=True)


if __name__ == "__main__":
    main()
