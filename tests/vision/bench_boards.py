"""How boards of other sizes and forms are read off drawn pages.

    python tests/vision/bench_boards.py --pages 200
    python tests/vision/bench_boards.py --boards 2x3 "any 9" --pages 40 --preset hard
    python tests/vision/bench_boards.py --marks --pages 50

Of each board so many pages, drawn with typefaces, writers and puzzles that the networks never saw.
``layout``: size, blocks and further houses are told right; ``whole``: and each cell is right or
asked about; ``asked``: cells asked about, a page; ``refused``: found and not read, with a reason;
``silent``: a layout or a cell that is wrong and not asked about. With ``--marks``: pages with
puzzles of other kinds, which must stay so (``silent``: read all the same); what else stands on them
does not count.
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

from papernudge.digits_model.training.intervals import two_sided as interval
from papernudge.digits_model.training.pages import GridTruth, board_page, draw, use_pack
from papernudge.digits_model.training.pages.board_pages import NAMES, named, other_page
from papernudge.digits_model.training.pages.boards import MARKS
from papernudge.hints.solver import solve
from papernudge.vision.failure import Failure
from papernudge.vision.grid import GridKind
from papernudge.vision.read import read_page
from papernudge.vision.reading import CellKind, GridReading

FIRST = 85_000_000
_WHOLE = ("right", "asked", "other")
"""Outcomes that are well."""
NEAR = 0.5
"""A read grid is the drawn one where all corners lie within so many cells of its own."""


def judged(words: str, preset: str, seed: int, keep: Path | None = None) -> tuple[str, int, float]:
    """What became of one page: an outcome, cells asked about, milliseconds."""
    if words in MARKS:
        page = draw(other_page(preset, seed, words, split="test"))
    else:
        page = draw(board_page(preset, seed, named(words, seed), split="test", cut=""))
    began = time.perf_counter()
    read = read_page(page.image, solve=solve)
    spent = 1000 * (time.perf_counter() - began)
    grids = () if isinstance(read, Failure) else read.grids
    if words in MARKS:
        marked = [truth for truth in page.truth.grids if truth.name == words]
        read_all_the_same = any(g.cells and _near(g, truth) for g in grids for truth in marked)
        outcome, asked = ("silent" if read_all_the_same else "other"), 0
    else:
        truth = next(g for g in page.truth.grids if g.cells)
        outcome, asked = _outcome(truth, [g for g in grids if _near(g, truth)])
    if keep is not None and outcome not in ("right", "other"):
        name = f"{words.replace(' ', '_')}-{seed}-{outcome.replace(' ', '_')}.png"
        cv2.imwrite(str(keep / name), page.image)
    return outcome, asked, spent


def _near(grid: GridReading, truth: GridTruth) -> bool:
    cell = max(truth.cell_px, 1.0)
    off = [
        np.linalg.norm(np.roll(grid.corners, k, axis=0) - truth.corners, axis=1).max()
        for k in range(4)
    ]
    return float(min(off)) < NEAR * cell


def _outcome(truth: GridTruth, read: list[GridReading]) -> tuple[str, int]:
    if not read:
        return "missed", 0
    grid = read[0]
    if not grid.cells:
        return ("called other" if grid.kind is GridKind.OTHER else "refused"), 0
    asked = {d.cell for d in grid.doubts}
    if grid.layout is not truth.layout:
        about = any(d.about == "layout" for d in grid.doubts)
        return ("layout asked" if about else "silent layout"), len(asked)
    wrong = {
        at
        for at, (cell, true) in enumerate(zip(grid.cells, truth.cells, strict=True))
        if (cell.digit, cell.kind) != _held(true.kind, true.digit)
    }
    if wrong - asked:
        return "silent", len(asked)
    return ("asked" if asked else "right"), len(asked)


def _held(kind: str, digit: int | None) -> tuple[int | None, CellKind]:
    kinds = {"given": CellKind.GIVEN, "entry": CellKind.ENTRY}
    return (digit, kinds[kind]) if kind in kinds else (None, CellKind.BLANK)


def main() -> None:
    """Prints the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--boards", nargs="*", default=[n for n in NAMES if n != "3x3"])
    parser.add_argument("--marks", action="store_true", help="puzzles of other kinds")
    parser.add_argument("--pages", type=int, default=20)
    parser.add_argument("--preset", default="newspaper")
    parser.add_argument("--first", type=int, default=FIRST)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--keep", type=Path, help="a folder for the pages that were not read right")
    parser.add_argument("--pack", type=Path, help="typefaces and strokes to draw with")
    parser.add_argument("--list", action="store_true", help="name the seeds that were not whole")
    words = parser.parse_args()
    if words.keep:
        words.keep.mkdir(parents=True, exist_ok=True)
    rows: dict[str, dict[str, int]] = {}
    print(f"{'board':<22}{'pages':>6}{'layout':>8}{'whole':>7}{'right':>7}{'asked':>7}", end="")
    print(f"{'refused':>9}{'missed':>8}{'silent':>8}{'ms':>7}")
    with ProcessPoolExecutor(words.jobs, initializer=_supplied, initargs=(words.pack,)) as pool:
        for name in MARKS if words.marks else words.boards:
            seeds = range(words.first, words.first + words.pages)
            many = [words.preset] * words.pages, seeds, [words.keep] * words.pages
            told = list(pool.map(judged, [name] * words.pages, *many))
            counts = Counter(outcome for outcome, _, _ in told)
            rows[name] = {"pages": words.pages, "cells asked": sum(a for _, a, _ in told)} | counts
            print(_row(name, rows[name], float(np.median([ms for _, _, ms in told]))), flush=True)
            if words.list:
                lines = [f"{s} {t[0]}" for s, t in zip(seeds, told, strict=True)]
                print(
                    "   ",
                    "; ".join(n for n in lines if n.split(" ", 1)[1] not in _WHOLE),
                    flush=True,
                )
    _total(rows)


def _supplied(pack: Path | None) -> None:
    """Lets a worker draw with a pack, if one is named."""
    if pack is not None:
        use_pack(pack)


def _row(name: str, row: dict[str, int], ms: float | None = None) -> str:
    def of(*names: str) -> int:
        return sum(row.get(one, 0) for one in names)

    whole = of(*_WHOLE)
    line = f"{name:<22}{row['pages']:>6}{whole + of('silent'):>8}{whole:>7}"
    line += f"{of('right', 'other'):>7}{row['cells asked'] / row['pages']:>7.2f}"
    line += f"{of('refused', 'called other', 'layout asked'):>9}{of('missed'):>8}"
    return line + f"{of('silent', 'silent layout'):>8}" + (f"{ms:>7.0f}" if ms else "")


def _total(rows: dict[str, dict[str, int]]) -> None:
    total: Counter[str] = Counter()
    for row in rows.values():
        total.update(row)
    print(_row("all", dict(total)))
    for name in ("right", "asked", "layout asked", "called other", "refused", "missed"):
        print(f"  {name:<20}{total[name]:>6}")
    silent = total["silent"] + total["silent layout"]
    low, high = interval(silent, total["pages"])
    print(f"  silent{silent:>20}  ({100 * low:.2f} to {100 * high:.2f} %)")
    print(f"    a layout {total['silent layout']}, a cell {total['silent']}")


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
