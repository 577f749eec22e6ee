"""How drawn pages with known truth are read: mistakes, misprints, notes, and flattened scores.

    python tests/vision/bench_drawn.py mistakes --pages 500
    python tests/vision/bench_drawn.py notes --pages 500 --preset hard
    python tests/vision/bench_drawn.py flattened

``mistakes``: none to six entries of each page are wrong on purpose, every tenth page holds a
misprinted given. ``notes``: pages with small notes. Both draw with typefaces, writers and puzzles
of the test split, which the shipped model never saw. ``flattened``: real photos whose
classifier is made to say nothing about some cells, read by models that never saw their
puzzle (as in ``bench_read.py``). Every rate comes with its count and its 95 % interval.
"""

from __future__ import annotations

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small solves: threads only get in the way

import argparse
import itertools
import math
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import cv2
import numpy as np
from scoring import UNSEEN, log_loss, scorers

from papernudge.digits_model.scores import Closer, Scores, score
from papernudge.digits_model.training.intervals import two_sided as interval
from papernudge.digits_model.training.pages import GridTruth, PageSpec, draw, preset
from papernudge.digits_model.training.real import RealPhoto, photos
from papernudge.hints import Position
from papernudge.hints.checking import State, check
from papernudge.hints.solver import solve
from papernudge.vision.find import find_grids
from papernudge.vision.patches import cut_patches
from papernudge.vision.read import read_grid, read_page, which_way_up
from papernudge.vision.reading import CellKind, GridReading, PageReading, cell_name

DATA = Path(os.environ.get("PAPERNUDGE_DATA", Path(__file__).resolve().parents[3] / "shared/data"))
FIRST = {"mistakes": 81_000_000, "notes": 82_000_000}
MOST_MISTAKES = 6
MISPRINT_EVERY = 10
FLAT_SHARE = 0.2
NEAR = 0.5
"""A found grid is the drawn one where all corners lie within this many cells of its own."""


# ------------------------------------------------------------------------------------- the table


@dataclass
class Tally:
    """Counts by name, and (chance, right) pairs for calibration."""

    counts: Counter[str] = field(default_factory=Counter)
    chances: list[tuple[float, bool]] = field(default_factory=list)
    note_chances: list[tuple[float, bool]] = field(default_factory=list)
    decode_ms: list[float] = field(default_factory=list)

    def rate(self, label: str, count: str, of: str, wanted: str = "") -> None:
        """One line: count of total, rate and interval."""
        print(rate_line(label, self.counts[count], self.counts[of], wanted))

    def mean(self, label: str, count: str, of: str, wanted: str = "") -> None:
        """One line: so many a page."""
        n, pages = self.counts[count], self.counts[of]
        print(f"{label:<56}{n:>7} / {pages:<7}{n / max(1, pages):8.2f} a page  {wanted}")


def rate_line(label: str, count: int, of: int, wanted: str = "") -> str:
    """``label  count / of  rate (low–high)  wanted``."""
    if not of:
        return f"{label:<56}{count:>7} / {of:<7}    none"
    low, high = interval(count, of)
    rate = f"{100 * count / of:8.3f} % ({100 * low:.3f}–{100 * high:.3f})"
    return f"{label:<56}{count:>7} / {of:<7}{rate}  {wanted}"


def calibration(pairs: list[tuple[float, bool]]) -> Iterator[str]:
    """How often what was given a chance came true, by bins of the chance."""
    edges = [0.0, 0.5, 0.8, 0.9, 0.95, 0.99, 0.999, 1.0 + 1e-9]
    for low, high in itertools.pairwise(edges):
        held = [(c, ok) for c, ok in pairs if low <= c < high]
        if held:
            said = np.mean([c for c, _ in held])
            label = f"  said {low:.3f}–{min(1.0, high):.3f}, on average {said:.4f}"
            yield rate_line(label, sum(ok for _, ok in held), len(held))
    yield f"  log-loss {log_loss(pairs):.5f} nats over {len(pairs)}"


# ----------------------------------------------------------------------------------- drawn pages


def mistaken_page(name: str, seed: int) -> PageSpec:
    """A page with 0–6 mistakes; every tenth also with a misprinted given."""
    dice = np.random.default_rng([seed, 1])
    return preset(
        name, seed, split="test", grids=1, cut="", fill=float(dice.uniform(0.15, 1.0)),
        mistakes=seed % (MOST_MISTAKES + 1), misprints=int(seed % MISPRINT_EVERY == 0),
    )  # fmt: skip


def noted_page(name: str, seed: int) -> PageSpec:
    """A page with small notes in a fifth to nine tenths of the cells without an entry."""
    dice = np.random.default_rng([seed, 2])
    fill, share = dice.uniform(0.0, 0.6), dice.uniform(0.2, 0.9)
    return preset(
        name, seed, split="test", grids=1, cut="", fill=float(fill), note_share=float(share)
    )


def read_drawn(spec: PageSpec, tally: Tally) -> tuple[GridTruth, GridReading] | None:
    """The page's puzzle and how it was read; None where it was not found or not readable."""
    page = draw(spec)
    truth = next((g for g in page.truth.grids if g.kind == "puzzle"), None)
    if truth is None:
        return None
    tally.counts["pages"] += 1
    reading = read_page(page.image, solve=solve)
    grids = [g for g in reading.grids if g.cells] if isinstance(reading, PageReading) else []
    near = [g for g in grids if _is(g, truth)]
    if not near:
        tally.counts["unread"] += 1
        return None
    tally.decode_ms.append(reading.milliseconds["decode"])  # type: ignore[union-attr]
    return truth, near[0]


def _is(grid: GridReading, truth: GridTruth) -> bool:
    off = np.linalg.norm(grid.corners - truth.corners, axis=1)
    return bool(off.max() < NEAR * truth.cell_px)


def count_cells(truth: GridTruth, grid: GridReading, tally: Tally) -> list[str]:
    """Counts cells, doubts and what is wrong without one; returns what to print of the page."""
    c = tally.counts
    about = {d.cell for d in grid.doubts}
    silent = []
    for cell, (meant, read) in enumerate(zip(truth.cells, grid.cells, strict=True)):
        digit, kind = _content(truth, cell)
        same_digit, same_kind = read.digit == digit, str(read.kind) == kind
        c["cells"] += 1
        c["wrong digits"] += not same_digit
        c["wrong hands"] += same_digit and not same_kind
        tally.chances.append((read.chance, same_digit and same_kind))
        if same_digit and same_kind:
            continue
        if cell in about:
            continue
        c["unflagged digits"] += not same_digit
        c["unflagged hands"] += same_digit
        silent.append(
            f"{cell_name(cell)} {kind} {digit} read {read.kind} {read.digit} {meant.marks}"
        )
    c["read"] += 1
    c["pages with an unflagged digit"] += any(
        g.digit != _content(truth, n)[0] and n not in about for n, g in enumerate(grid.cells)
    )
    c["fully right"] += all(
        (g.digit, str(g.kind)) == _content(truth, n) for n, g in enumerate(grid.cells)
    )
    c["doubts"] += len(about)
    c["pages with doubts"] += bool(about)
    for doubt in grid.doubts:
        digit, kind = _content(truth, doubt.cell)
        read = grid.cells[doubt.cell]
        c[f"doubts about {doubt.about}"] += 1
        c[f"needless about {doubt.about}"] += (read.digit, str(read.kind)) == (digit, kind)
    return silent


def _content(truth: GridTruth, cell: int) -> tuple[int | None, str]:
    meant = truth.cells[cell]
    return meant.digit, meant.kind if meant.digit else "blank"


def count_mistakes(truth: GridTruth, grid: GridReading, tally: Tally) -> None:
    """Every mistaken entry: as written, asked about, turned right or into something else."""
    about = {d.cell for d in grid.doubts}
    for cell, meant in enumerate(truth.cells):
        if "mistake" not in meant.marks or meant.digit is None:
            continue
        tally.counts["mistakes"] += 1
        read = grid.cells[cell]
        if cell in about:
            tally.counts["mistakes asked about"] += 1
        elif read.kind is CellKind.ENTRY and read.digit == meant.digit:
            tally.counts["mistakes as written"] += 1
        elif read.digit == int(truth.solution[cell]):
            tally.counts["mistakes turned right"] += 1
        else:
            tally.counts["mistakes misread"] += 1


def count_misprint(truth: GridTruth, grid: GridReading, tally: Tally) -> None:
    """A page whose givens have not exactly one solution: told so, asked about, or repaired."""
    if solve(truth.givens) is not None:
        return
    tally.counts["misprints"] += 1
    if check(Position.of(grid.givens, grid.entries)).state is State.NOT_ONE_SOLUTION:
        tally.counts["misprints told"] += 1
        tally.counts["misprints told, nothing asked"] += not grid.doubts
    elif grid.doubts:
        tally.counts["misprints asked"] += 1
    else:
        tally.counts["misprints repaired"] += 1


def count_notes(truth: GridTruth, grid: GridReading, tally: Tally) -> None:
    """Every set of notes, whole: exactly right or not."""
    c = tally.counts
    for meant, read in zip(truth.cells, grid.cells, strict=True):
        if meant.digit is not None:
            c["noted beside an entry"] += bool(meant.notes)
            c["right beside an entry"] += bool(meant.notes) and read.notes == set(meant.notes)
            continue
        right = read.digit is None and read.notes == set(meant.notes)
        if meant.notes:
            c["noted cells"] += 1
            c["noted right"] += right
            c["noted with struck ones"] += bool(meant.struck_notes)
            c["right with struck ones"] += bool(meant.struck_notes) and right
            c["notes"] += len(meant.notes)
            c["notes seen"] += len(set(meant.notes) & read.notes)
            c["noted sure"] += read.notes_chance >= 0.95
            c["noted sure right"] += read.notes_chance >= 0.95 and right
        else:
            c["cells without notes"] += 1
            c["notes seen in them"] += bool(read.notes)
        if meant.notes or read.notes:
            tally.note_chances.append((read.notes_chance, right))


def print_reading(t: Tally) -> None:
    """The lines that both parts share."""
    t.rate("pages whose grid was found and read", "read", "pages")
    t.rate("  fully right as read", "fully right", "read")
    t.rate("cells with a wrong digit", "wrong digits", "cells")
    t.rate("cells with the right digit, wrong hand", "wrong hands", "cells")
    t.rate("  unflagged wrong digits", "unflagged digits", "cells", "want 0")
    t.rate("  unflagged wrong hands", "unflagged hands", "cells")
    t.rate("pages with an unflagged wrong digit", "pages with an unflagged digit", "read")
    t.mean("doubts", "doubts", "read", "want ≤ 1")
    t.rate("pages with doubts", "pages with doubts", "read")
    for about in ("digit", "hand", "notes"):
        label = f"  doubts about {about}"
        if t.counts[label.strip()]:
            t.mean(label, label.strip(), "read")
            t.rate("    of cells that were read right", f"needless about {about}", label.strip())
    print("chance of each cell, kind and digit:")
    print("\n".join(calibration(t.chances)))


def print_mistakes(t: Tally) -> None:
    """The table of ``mistakes``."""
    print_reading(t)
    t.rate(
        "mistaken entries as written, no doubt", "mistakes as written", "mistakes", "want ≥ 95 %"
    )
    t.rate("mistaken entries asked about", "mistakes asked about", "mistakes", "want the rest")
    t.rate(
        "mistaken entries turned right in silence", "mistakes turned right", "mistakes", "want 0"
    )
    t.rate("mistaken entries misread in silence", "mistakes misread", "mistakes", "want 0")
    t.rate("misprinted pages: not one solution", "misprints told", "misprints", "want all")
    t.rate("  and nothing asked", "misprints told, nothing asked", "misprints")
    t.rate("misprinted pages: read otherwise, but asked", "misprints asked", "misprints")
    t.rate("misprinted pages: repaired in silence", "misprints repaired", "misprints", "want 0")


def print_notes(t: Tally) -> None:
    """The table of ``notes``."""
    print_reading(t)
    t.rate("noted cells exactly right", "noted right", "noted cells", "want ≥ 97 %")
    t.rate("  of those with struck-out notes", "right with struck ones", "noted with struck ones")
    t.rate("single notes seen", "notes seen", "notes")
    t.rate(
        "cells without notes in which some were seen", "notes seen in them", "cells without notes"
    )
    t.rate("noted cells surer than 95 %", "noted sure", "noted cells")
    t.rate("  of these exactly right", "noted sure right", "noted sure")
    t.rate("sets beside an entry exactly right", "right beside an entry", "noted beside an entry")
    print("chance of each set of notes:")
    print("\n".join(calibration(t.note_chances)))


def drawn_part(part: str, name: str, pages: int, first: int, by_style: bool) -> None:
    """Draws and reads pages, prints every silent error and the table."""
    total: dict[str, Tally] = {"all": Tally()}
    for seed in range(first, first + pages):
        spec = mistaken_page(name, seed) if part == "mistakes" else noted_page(name, seed)
        tallies = [total["all"]]
        if by_style and part == "notes":
            tallies.append(total.setdefault(spec.note_style, Tally()))
        found = read_drawn(spec, tallies[0])
        if found is None:
            continue
        for tally in tallies:
            silent = count_cells(*found, tally)
            (count_mistakes if part == "mistakes" else count_notes)(*found, tally)
            if part == "mistakes":
                count_misprint(*found, tally)
        for what in silent:
            print(f"page {seed}: {what}", flush=True)
    for style, tally in total.items():
        if style != "all":
            print(f"-- notes in style {style}")
            tally.rate("noted cells exactly right", "noted right", "noted cells")
    print(f"-- {part}, preset {name}, pages {first} to {first + pages - 1}")
    (print_mistakes if part == "mistakes" else print_notes)(total["all"])
    spent = total["all"].decode_ms or [0.0]
    print(f"decoding: median {np.median(spent):.1f} ms, worst {max(spent):.1f} ms")


# ------------------------------------------------------------------------------- flattened scores


@dataclass(frozen=True, eq=False)
class Blind(Closer):
    """A closer look that makes nothing of some cells."""

    blind: frozenset[int] = frozenset()

    def digits(self, cells: np.ndarray) -> np.ndarray:
        """As of any closer look, all ten alike in blind cells."""
        said = super().digits(cells)
        said[[int(cell) in self.blind for cell in cells]] = -math.log(10)
        return said


def flattened(said: Scores, cells: np.ndarray) -> Scores:
    """The scores with nothing said about these cells: all ten digits and both hands alike."""
    digits, hand, features = said.digits.copy(), said.hand.copy(), said.features.copy()
    digits[cells], hand[cells], features[cells] = -math.log(10), 0.0, 0.0
    assert said.closer is not None
    closer = Blind(**vars(said.closer), blind=frozenset(cells.tolist()))
    return replace(said, digits=digits, hand=hand, features=features, closer=closer)


def read_flattened(
    photo: RealPhoto, scorer: Callable[[np.ndarray], Scores], cells: np.ndarray
) -> GridReading | None:
    """The photo's largest grid, read with these cells flattened."""
    found = [g for g in find_grids(photo.raster()) if g.mesh is not None and g.quality.ok]
    if not found:
        return None
    grid = max(found, key=lambda g: cv2.contourArea(g.corners.astype(np.float32)))
    assert grid.mesh is not None
    patches = cut_patches(photo.raster(), grid.mesh)
    said = scorer(patches.pixels)
    turn = which_way_up([said])
    if turn:
        patches = patches.turned(turn)
        said = scorer(patches.pixels)
    began = time.perf_counter()
    # The ink of a flattened cell must not speak for it either.
    blotted = patches.pixels.copy()
    blotted[cells] = 224
    reading = read_grid(grid, replace(patches, pixels=blotted), flattened(said, cells), turn, solve)
    return replace(reading, chance_all_right=1000 * (time.perf_counter() - began))


def flattened_part(data: Path, pages: int, first: int, folds: Path | None) -> None:
    """Mixed grids with a fifth of the cells flattened; printed ones with one to three givens."""
    tallies = {"mixed": Tally(), "printed": Tally()}
    scorer_of = scorers(folds) if folds is not None else lambda _puzzle: score
    for number, photo in enumerate(photos(data / "photos")):
        part = photo.path.parent.name
        if part not in tallies or not first <= number < first + pages:
            continue
        t = tallies[part]
        dice = np.random.default_rng([number, 3])
        if part == "mixed":
            cells = dice.choice(81, round(FLAT_SHARE * 81), replace=False)
        else:
            givens = [c for c in range(81) if photo.digits[c] != "."]
            cells = dice.choice(givens, int(dice.integers(1, 4)), replace=False)
        grid = read_flattened(photo, scorer_of(photo.puzzle), cells)
        if grid is None:
            continue
        _count_flattened(photo, grid, cells, t)
    for part, t in tallies.items():
        _print_flattened(part, t)


def _count_flattened(photo: RealPhoto, grid: GridReading, cells: np.ndarray, t: Tally) -> None:
    c, about = t.counts, {d.cell for d in grid.doubts}
    read = ["." if cell.digit is None else str(cell.digit) for cell in grid.cells]
    bad = [n for n in range(81) if read[n] != photo.digits[n]]
    silent = [n for n in bad if n not in about]
    c["grids"] += 1
    c["flat cells"] += len(cells)
    c["flat cells right"] += sum(int(n) not in bad for n in cells)
    c["restored"] += not any(int(n) in bad for n in cells)
    c["wholly right"] += not bad
    c["cells"] += 81
    c["unflagged"] += len(silent)
    c["grids with an unflagged cell"] += bool(silent)
    c["doubts"] += len(about)
    c["grids with more doubts than flat cells"] += len(about) > len(cells)
    t.decode_ms.append(grid.chance_all_right)
    if silent or len(about) > len(cells):
        said = [cell_name(n) + ("?" if n in about else "!") for n in sorted({*bad, *about})]
        print(f"{photo.name}: {len(cells)} flattened; {' '.join(said)}", flush=True)


def _print_flattened(part: str, t: Tally) -> None:
    if not t.counts["grids"]:
        return
    print(f"-- {part}, cells flattened {t.counts['flat cells']}")
    t.rate("grids with all flattened cells restored", "restored", "grids", "mixed: want ≥ 95 %")
    t.rate("grids wholly right", "wholly right", "grids")
    t.rate("flattened cells right", "flat cells right", "flat cells")
    t.rate("unflagged wrong cells", "unflagged", "cells", "want 0")
    t.rate("grids with an unflagged cell", "grids with an unflagged cell", "grids", "want 0")
    t.mean("doubts", "doubts", "grids")
    more = "grids with more doubts than flat cells"
    t.rate("grids with more doubts than flattened cells", more, "grids", "printed: want 0")
    print(f"decoding: median {np.median(t.decode_ms):.1f} ms, worst {max(t.decode_ms):.1f} ms")


def main() -> None:
    """Run one part and print its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("part", choices=("mistakes", "notes", "flattened"))
    parser.add_argument("--preset", default="newspaper", choices=("easy", "newspaper", "hard"))
    parser.add_argument("--pages", type=int, default=500)
    parser.add_argument("--from", dest="first", type=int, default=0, help="number of the first")
    parser.add_argument("--folds", type=Path, default=UNSEEN)
    parser.add_argument("--shipped", action="store_true", help="flattened: the shipped model")
    parser.add_argument("--by-style", action="store_true", help="notes: a line for each style")
    given = parser.parse_args()
    cv2.setNumThreads(1)
    if given.part == "flattened":
        flattened_part(DATA, given.pages, given.first, None if given.shipped else given.folds)
    else:
        first = FIRST[given.part] + given.first
        drawn_part(given.part, given.preset, given.pages, first, given.by_style)


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
