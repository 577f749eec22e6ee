"""How well photos with truth are read: a table by set, and a sheet of every failure.

    python tests/vision/bench_read.py ../shared/data/photos/printed [more folders]

Each photo is read with a model that never saw its puzzle (``--folds DIR``, by default those kept
beside the training code); ``--shipped`` takes the shipped model, which has seen these
photos. ``--right 0`` turns the prior on right entries off.
"""

from __future__ import annotations

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small solves: threads only get in the way

import argparse
import time
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
from scoring import UNSEEN, log_loss, scorers

sys.path.append(str(Path(__file__).resolve().parents[1]))
from figures import note

from papernudge.digits_model.training.intervals import upper
from papernudge.digits_model.training.real import RealPhoto, photos
from papernudge.hints.solver import solve
from papernudge.vision import weigher
from papernudge.vision.failure import Failure
from papernudge.vision.grid import GridKind
from papernudge.vision.patches import even_light, flat_sheet
from papernudge.vision.read import read_page
from papernudge.vision.reading import GridReading, cell_name


@dataclass
class Tally:
    """Counts of one set."""

    photos: int = 0
    found: int = 0
    right: int = 0
    cells: int = 0
    wrong: int = 0
    silent: int = 0
    doubts: int = 0
    doubtful: int = 0
    hand_wrong: int = 0
    hand_known: int = 0
    restored: int = 0
    chances: list[tuple[float, bool]] = field(default_factory=list)
    stages: dict[str, list[float]] = field(default_factory=lambda: defaultdict(list))


_NOTED = ("photos", "right", "wrong", "cells", "silent", "doubts")


def add(tally: Tally, photo: RealPhoto, grid: GridReading | None) -> list[int]:
    """Count one photo; returns the cells read wrong."""
    tally.photos += 1
    if grid is None:
        tally.wrong += 81
        tally.cells += 81
        return list(range(81))
    tally.found += 1
    read = ["." if c.digit is None else str(c.digit) for c in grid.cells]
    bad = [c for c in range(81) if read[c] != photo.digits[c]]
    about = {d.cell for d in grid.doubts}
    hands = []
    if photo.givens is not None:
        hands = [c for c in range(81) if grid.givens[c] != photo.givens[c] and c not in bad]
        tally.hand_known += 81
    tally.cells += 81
    tally.wrong += len(bad)
    tally.hand_wrong += len(hands)
    tally.silent += sum(c not in about for c in [*bad, *hands])
    tally.doubts += len(about)
    tally.doubtful += bool(about)
    tally.right += not bad and not hands
    tally.restored += len(grid.restored)
    for cell in range(81):
        tally.chances.append((grid.cells[cell].chance, cell not in bad and cell not in hands))
    return sorted({*bad, *hands})


def row(name: str, t: Tally) -> str:
    """One line of the table."""
    ms = {k: f"{np.median(v):.1f}" for k, v in t.stages.items()}
    return (
        f"{name:10} photos {t.photos}  found {t.found}  fully right {t.right}"
        f" ({100 * t.right / max(1, t.photos):.1f} %)  cells wrong {t.wrong} of {t.cells}"
        f"  hand wrong {t.hand_wrong} of {t.hand_known}"
        f"  unflagged {t.silent} (95 % below {100 * upper(t.silent, t.cells):.3f} %)"
        f"  doubts {t.doubts} ({t.doubts / max(1, t.photos):.2f} a photo, {t.doubtful} photos)"
        f"  restored {t.restored}  log-loss {log_loss(t.chances):.5f}  ms {ms}"
    )


def failure_tile(photo: RealPhoto, grid: GridReading | None, bad: list[int]) -> np.ndarray:
    """The flattened grid with wrong cells ringed and what was read."""
    tile = np.full((372, 336, 3), 255, np.uint8)
    if grid is not None and grid.mesh is not None:
        sheet = even_light(flat_sheet(photo.raster(), grid.mesh))
        about = {d.cell for d in grid.doubts}
        for cell in {*bad, *about}:
            x, y = 6 + 36 * (cell % 9), 6 + 36 * (cell // 9)
            colour = (0, 0, 255) if cell in bad and cell not in about else (200, 120, 0)
            cv2.rectangle(sheet, (x, y), (x + 36, y + 36), colour, 1 + (cell in bad))
            said = str(grid.cells[cell].digit or "-")
            cv2.putText(sheet, said, (x + 1, y + 12), cv2.FONT_HERSHEY_SIMPLEX, 0.4, colour, 1)
        tile[:336] = sheet
    cv2.putText(tile, photo.name, (4, 358), cv2.FONT_HERSHEY_SIMPLEX, 0.5, (0, 0, 0), 1)
    return tile


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--folds", type=Path, default=UNSEEN)
    parser.add_argument("--shipped", action="store_true")
    parser.add_argument("--right", type=float, help="share of right entries, taken as known")
    parser.add_argument("--sheet", type=Path, help="PNG of every failure and doubt")
    given = parser.parse_args()
    if given.right is not None:
        # 1/9 is no opinion: right and wrong digits weigh the same.
        weigher.RIGHT = given.right or 1 / 9
        weigher.RATES = np.array([weigher.RIGHT])
    cv2.setNumThreads(1)
    tallies: dict[str, Tally] = defaultdict(Tally)
    tiles = []
    scorer_of = scorers(None if given.shipped else given.folds)
    wanted = {f.resolve() for f in given.folders}
    for photo in photos(given.folders[0].resolve().parent):
        if photo.path.parent.resolve() not in wanted:
            continue
        raster = photo.raster()
        began = time.perf_counter()
        page = read_page(raster, solve=solve, scorer=scorer_of(photo.puzzle))
        spent = 1000 * (time.perf_counter() - began)
        grids = [] if isinstance(page, Failure) else list(page.grids)
        puzzles = [g for g in grids if g.cells and g.kind is GridKind.PUZZLE] or [
            g for g in grids if g.cells
        ]
        best = max(
            puzzles, key=lambda g: cv2.contourArea(g.corners.astype(np.float32)), default=None
        )
        for tally in (tallies[photo.path.parent.name], tallies["all"]):
            bad = add(tally, photo, best)
            tally.stages["whole"].append(spent)
            for stage, ms in ({} if isinstance(page, Failure) else page.milliseconds).items():
                tally.stages[stage].append(ms)
        doubts = [] if best is None else [d.cell for d in best.doubts]
        if bad or doubts:
            flagged = [
                cell_name(c) + ("?" if c in doubts else "!") for c in sorted({*bad, *doubts})
            ]
            print(f"{photo.name}: {' '.join(flagged[:12])}")
            tiles.append(failure_tile(photo, best, bad))
    for name, tally in tallies.items():
        print(row(name, tally))
        if name != "all":
            note(
                "reading",
                set=name,
                prior=given.right,
                **{key: getattr(tally, key) for key in _NOTED},
                upper=upper(tally.silent, tally.cells),
            )
    spent = tallies["all"].stages["decode"] or [0.0]
    print(f"decoding: median {np.median(spent):.1f} ms, worst {max(spent):.1f} ms")
    if given.sheet and tiles:
        tiles += [np.full_like(tiles[0], 255)] * (-len(tiles) % 5)
        rows = [np.hstack(tiles[k : k + 5]) for k in range(0, len(tiles), 5)]
        cv2.imwrite(str(given.sheet), np.vstack(rows))


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
