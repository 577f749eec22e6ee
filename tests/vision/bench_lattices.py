"""How boards of other sizes are found on drawn pages: their frame, their lines, nothing read.

    python tests/vision/bench_lattices.py --pages 20
    python tests/vision/bench_lattices.py --boards 4x4 "any 9" --pages 40 --preset hard

Of each board so many pages, drawn with typefaces, writers and puzzles that no network saw.
``lattice``: in one of the frames the number of cells is told right and every crossing within a
quarter of a cell; ``other``: none is, but another number is told, or crossings lie off; ``found``:
and the board's blocks could be told, so that it is read; ``aside``: a board is told where none of
the page's is; ``ms``: processor time of all that looks for boards, beside the newspaper's finder.
Boards of nine blocks of nine, which that finder knows, are left out. ``--puzzles`` takes what
``digits_model.training.board_lines pack`` wrote, for pages are drawn in no time then.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import argparse
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import cv2
import numpy as np

from papernudge.digits_model.training.board_lines_truth import FORMS, supplied
from papernudge.digits_model.training.intervals import two_sided as interval
from papernudge.digits_model.training.pages import GridTruth, board_page, draw
from papernudge.digits_model.training.pages.board_pages import NAMES, named
from papernudge.hints.layout import NEWSPAPER
from papernudge.vision.boards.find import _frames, with_boards
from papernudge.vision.boards.lattice import lattice_in
from papernudge.vision.find import Searched, find_grids
from papernudge.vision.mesh import Points

FIRST = 86_800_000
NEAR = 0.25
"""Cells by which every crossing of a lattice that is right may lie off."""
Job = tuple[str, str, int]


def judged(job: Job) -> tuple[set[str], float]:
    """What became of one page, and milliseconds."""
    cv2.setNumThreads(1)
    words, preset, seed = job
    page = draw(board_page(preset, seed, named(words, seed % FORMS), split="test", cut=""))
    truths = [grid for grid in page.truth.grids if grid.crossings is not None]
    truth = next(
        grid for grid in truths if grid.cells and grid.layout is named(words, seed % FORMS)
    )
    searched = Searched.of(page.image)
    assert searched is not None
    known = find_grids(page.image, searched)
    began = time.process_time()
    boards = with_boards(page.image, known, searched)
    spent = 1000 * (time.process_time() - began)
    meshes = [grid.mesh.crossings for grid in boards if grid.mesh and grid.layout is not NEWSPAPER]
    out = {"found"} if any(_is(mesh, truth) for mesh in meshes) else set()
    if not all(any(_is(mesh, one) for one in truths) for mesh in meshes):
        out.add("aside")
    likely, left = _frames(searched, known)
    seen = [lattice_in(searched.view, frame) for frame in (*likely, *left)]
    told = [(one.mesh.crossings + 0.5) * searched.scale - 0.5 for one in seen if one is not None]
    if "found" in out or any(_is(mesh, truth) for mesh in told):
        out.add("lattice")
    elif any(_lies_on(mesh, truth) for mesh in told):
        out.add("other")
    return out, spent


def _is(mesh: Points, truth: GridTruth) -> bool:
    """Whether a lattice's crossings are a board's."""
    true = truth.crossings
    if true is None or mesh.shape != true.shape:
        return False
    off = [np.linalg.norm(np.rot90(mesh, k) - true, axis=-1).max() for k in range(4)]
    return float(min(off)) < NEAR * truth.cell_px


def _lies_on(mesh: Points, truth: GridTruth) -> bool:
    """Whether a lattice's middle lies near a board's."""
    apart = mesh.mean(axis=(0, 1)) - truth.corners.mean(axis=0)
    side = np.linalg.norm(truth.corners[1] - truth.corners[0])
    return bool(np.linalg.norm(apart) < 0.2 * side)


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--boards", nargs="*", default=[n for n in NAMES if n[:3] != "3x3"])
    parser.add_argument("--pages", type=int, default=20)
    parser.add_argument("--preset", default="newspaper")
    parser.add_argument("--first", type=int, default=FIRST)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--pack", type=Path, help="typefaces and strokes to draw with")
    parser.add_argument("--puzzles", type=Path, help="the boards' puzzles")
    parser.add_argument("--list", action="store_true", help="name the seeds that were not found")
    words = parser.parse_args()
    seeds = range(words.first, words.first + words.pages)
    print(f"{'board':<18}{'pages':>6}{'lattice':>9}{'other':>7}{'found':>7}{'aside':>7}{'ms':>7}")
    total: Counter[str] = Counter()
    given = (words.pack, words.puzzles)
    with ProcessPoolExecutor(words.jobs, initializer=supplied, initargs=given) as pool:
        for name in words.boards:
            told = list(pool.map(judged, [(name, words.preset, seed) for seed in seeds]))
            counts = Counter(what for outcome, _ in told for what in outcome)
            total += counts
            cells = [f"{counts[k]:>{w}}" for k, w in (("lattice", 9), ("other", 7), ("found", 7))]
            spent = np.mean([ms for _, ms in told])
            print(f"{name:<18}{len(told):>6}", *cells, f"{counts['aside']:>6}{spent:>7.0f}", sep="")
            if words.list:
                both = zip(seeds, told, strict=True)
                print("   ", *(s for s, (out, _) in both if "lattice" not in out), flush=True)
    pages = len(words.boards) * words.pages
    low, high = interval(total["lattice"], pages)
    print(f"all: {dict(total)} of {pages}; lattice {100 * low:.1f} to {100 * high:.1f} %")


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
