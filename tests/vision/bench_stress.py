"""How photos and drawn pages are read after harm: every kind at five levels, one table.

    python tests/vision/bench_stress.py --photos 12 --pages 4 --jobs 2 --sheet worst.png
    python tests/vision/bench_stress.py --kinds thumb,glare --levels 1,3 --photos 67 --pages 0

Photos are those whose puzzles no network of the reader has seen: of fold 0 in
``digits_model/training/unseen/``, read by that fold's looks. Pages are of the test split. A grid
is *silent* where a cell is wrong and no doubt asks about it: read otherwise than written, print
taken for handwriting or the other way round, or less than half seen and read as blank. Else it
is *asked* where a doubt stands on a cell that is wrong or can be seen, and *right* where there
is none: doubts about cells less than half seen are no fault. *Refused*: nothing read there.
*Doubts* and those in *vain*, about cells that can be seen and were read right, are told per
accepted grid.
Intervals are exact (Clopper–Pearson) two-sided 95 % ones, of the grids that were accepted.
"""

from __future__ import annotations

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # small solves: threads only get in the way

import argparse
import json
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, field
from pathlib import Path

import cv2
import numpy as np
from scoring import UNSEEN, scorers

from papernudge.digits_model.scores import score
from papernudge.digits_model.training.fit_sight import NEAR, grid_on, middle_of
from papernudge.digits_model.training.intervals import two_sided as interval
from papernudge.digits_model.training.pages import draw, preset, use_pack
from papernudge.digits_model.training.pages.harms import KINDS, Harmed, harm, harms
from papernudge.digits_model.training.real import photos, puzzle_key
from papernudge.hints.solver import solve
from papernudge.vision.failure import Failure
from papernudge.vision.patches import flat_sheet
from papernudge.vision.read import read_page
from papernudge.vision.reading import GridReading, PageReading

DATA = Path(os.environ.get("PAPERNUDGE_DATA", Path(__file__).resolve().parents[3] / "shared/data"))
FIRST_PAGE = 84_000_000
FOLD = 0
"""The fold of puzzles that the network of what can be seen has never seen either."""
HALF = 0.5
CROSSED_OUT = 0.02
"""A doodle over so much of a cell may be what strikes its digit out: blank is right there, too."""


@dataclass(frozen=True, eq=False)
class Source:
    """A photo or page with its truth. ``hands``: 81 of ``g``, ``e``, ``.``; ``?`` unknown."""

    name: str
    image: np.ndarray
    crossings: np.ndarray
    digits: str
    hands: str
    scorer: Callable


@dataclass
class Outcome:
    """What became of one harmed grid."""

    source: str
    kind: str
    level: int
    seed: int
    outcome: str
    silent: list[int] = field(default_factory=list)
    wrong: int = 0
    doubts: int = 0
    vain: int = 0
    about_seen: int = 0
    unseen: int = 0
    reason: str = ""


def photo_sources(count: int) -> Iterator[Source]:
    """Photos of fold FOLD, spread evenly, with the looks that never saw their puzzles."""
    fold_of = json.loads((UNSEEN / "folds.json").read_text())["folds"]
    every = [p for p in photos(DATA / "photos") if p.path.parent.name != "highres"]
    held = [p for p in every if fold_of.get(puzzle_key(p.puzzle)) == FOLD]
    scorer_of = scorers(UNSEEN)
    for at in np.unique(np.linspace(0, len(held) - 1, min(count, len(held))).astype(int)):
        photo = held[at]
        mesh = photo.mesh()
        if mesh is None:
            continue
        hands = "?" * 81
        if photo.givens is not None:
            pairs = zip(photo.digits, photo.givens, strict=True)
            hands = "".join("." if d == "." else "g" if g != "." else "e" for d, g in pairs)
        yield Source(
            photo.name, photo.raster(), mesh.crossings, photo.digits, hands,
            scorer_of(photo.puzzle),
        )  # fmt: skip


def page_sources(count: int) -> Iterator[Source]:
    """Drawn pages with one whole grid each, of unseen typefaces, hands and puzzles."""
    for seed in range(FIRST_PAGE, FIRST_PAGE + count):
        fill = float(np.random.default_rng([seed, 1]).choice([0.0, 0.3, 1.0]))
        spec = preset("newspaper", seed, split="test", grids=1, cut="", fill=fill,
                      width=960, height=720, focus="grid")  # fmt: skip
        page = draw(spec)
        grid = next((g for g in page.truth.grids if g.kind == "puzzle"), None)
        if grid is None or grid.crossings is None:
            continue
        digits = "".join(str(c.digit) if c.digit else "." for c in grid.cells)
        hands = "".join(c.kind[0] if c.digit else "." for c in grid.cells)
        yield Source(f"page {seed}", page.image, grid.crossings, digits, hands, score)


def read(source: Source, harmed: Harmed) -> GridReading | str:
    """The grid as read; where there is none, why."""
    page = read_page(harmed.image, solve=solve, scorer=source.scorer)
    if isinstance(page, Failure):
        return page.reason
    assert isinstance(page, PageReading)
    best = grid_on(page, harmed.crossings)
    if best is not None:
        return best
    middle, cell = middle_of(harmed.crossings)
    near = [g for g in page.grids if np.linalg.norm(g.corners.mean(0) - middle) < NEAR * cell]
    return (near[0].quality.reason or str(near[0].kind)) if near else "no grid"


def judge(source: Source, kind: str, level: int, seed: int) -> tuple[Outcome, Harmed, object]:
    """Harm, read, compare."""
    if level:
        harmed = harm(source.image, source.crossings, kind, level, seed)
    else:
        harmed = harms(source.image, source.crossings, [], seed)
    grid = read(source, harmed)
    out = Outcome(source.name, kind, level, seed, "refused")
    if isinstance(grid, str):
        out.reason = grid
        return out, harmed, grid
    about = {d.cell: d.about for d in grid.doubts}
    seen = harmed.seen
    blank_too = kind == "doodle"
    astray = 0
    for cell, read_cell in enumerate(grid.cells):
        true = source.digits[cell]
        digit = "." if read_cell.digit is None else str(read_cell.digit)
        hidden = bool(seen[cell] < HALF)
        ok = digit == true or (
            blank_too and digit == "." and bool(harmed.crossed[cell] > CROSSED_OUT)
        )
        hand = source.hands[cell]
        ok = ok and (hand in ".?" or digit == "." or str(read_cell.kind)[0] == hand)
        ok = ok and not (hidden and digit == ".")
        out.unseen += hidden
        if cell in about:
            astray += not hidden
            out.vain += ok and not hidden
            out.about_seen += about[cell] == "seen"
        elif not ok:
            out.silent.append(cell)
        out.wrong += not ok
    out.doubts = len(about)
    out.outcome = "silent" if out.silent else "asked" if astray else "right"
    return out, harmed, grid


HEAD = (
    f"{'kind':8} {'level':>5} {'grids':>6} {'right':>6} {'asked':>6} {'refused':>8} {'silent':>7}"
    f"  {'silent of accepted, 95 %':26} {'cells':>6} {'worst':>6} {'doubts':>7} {'vain':>6}"
    "  refusals"
)


def row(kind: str, level: str, held: list[Outcome]) -> str:
    """One line of the table."""
    counts = Counter(o.outcome for o in held)
    accepted = len(held) - counts["refused"]
    low, high = interval(counts["silent"], accepted) if accepted else (0.0, 1.0)
    cells = [len(o.silent) for o in held]
    rate = 100 * counts["silent"] / max(1, accepted)
    said = f"{rate:.1f} % ({100 * low:.1f}–{100 * high:.1f})"
    doubts = sum(o.doubts for o in held) / max(1, accepted)
    vain = sum(o.vain for o in held) / max(1, accepted)
    why = Counter(o.reason for o in held if o.reason)
    reasons = ", ".join(f"{n} {reason}" for reason, n in why.most_common(3))
    return (
        f"{kind:8} {level:>5} {len(held):>6} {counts['right']:>6} {counts['asked']:>6}"
        f" {counts['refused']:>8} {counts['silent']:>7}  {said:26} {sum(cells):>6}"
        f" {max(cells, default=0):>6} {doubts:>7.2f} {vain:>6.2f}  {reasons}"
    )


def tile(outcome: Outcome, harmed: Harmed, grid: object) -> np.ndarray:
    """The grid as it lies, silent cells ringed red, doubts blue, what was read beside."""
    out = np.full((372, 336, 3), 255, np.uint8)
    if isinstance(grid, GridReading) and grid.mesh is not None:
        sheet = flat_sheet(harmed.image, grid.mesh)
        about = {d.cell for d in grid.doubts}
        for cell in {*outcome.silent, *about}:
            x, y = 6 + 36 * (cell % 9), 6 + 36 * (cell // 9)
            colour = (0, 0, 255) if cell in outcome.silent else (200, 120, 0)
            cv2.rectangle(sheet, (x, y), (x + 36, y + 36), colour, 1 + (cell in outcome.silent))
            said = str(grid.cells[cell].digit or "-")
            cv2.putText(sheet, said, (x + 1, y + 12), cv2.FONT_HERSHEY_SIMPLEX, 0.4, colour, 1)
        out[:336] = sheet
    words = f"{outcome.kind} {outcome.level} {outcome.source} {outcome.seed}"
    cv2.putText(out, words, (4, 358), cv2.FONT_HERSHEY_SIMPLEX, 0.38, (0, 0, 0), 1)
    return out


def print_table(outcomes: list[Outcome]) -> None:
    """Every kind by level, every kind, all."""
    by: dict[tuple[str, int], list[Outcome]] = defaultdict(list)
    for outcome in outcomes:
        by[outcome.kind, outcome.level].append(outcome)
    print(HEAD)
    for (kind, level), held in by.items():
        print(row(kind, str(level), held))
    print()
    harmed = [o for o in outcomes if o.level]
    for kind in dict.fromkeys(o.kind for o in harmed):
        print(row(kind, "all", [o for o in harmed if o.kind == kind]))
    if harmed:
        print(row("all", "all", harmed))


def arguments() -> argparse.Namespace:
    """The command's words."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--photos", type=int, default=12, help="photos of unseen puzzles")
    parser.add_argument("--pages", type=int, default=4, help="drawn pages")
    parser.add_argument("--kinds", default="all", help="comma-separated: " + ", ".join(KINDS))
    parser.add_argument("--levels", default="1,2,3,4,5")
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--pack", type=Path, help="typefaces and strokes, where none are installed")
    parser.add_argument("--sheet", type=Path, help="PNG of the worst, up to 60")
    parser.add_argument("--outcomes", type=Path, help="every outcome, JSON, one a line")
    return parser.parse_args()


_SOURCES: list[Source] = []
"""What a process reads, in the order of every process."""


def prepare(given: argparse.Namespace) -> None:
    """Gather the sources of this process."""
    cv2.setNumThreads(1)
    if given.pack:
        use_pack(given.pack)
    _SOURCES[:] = [*photo_sources(given.photos), *page_sources(given.pages)]


def judged(kind: str, level: int, seed: int, sheet: bool) -> list[tuple[Outcome, bytes]]:
    """All sources with one harm, each with its tile for the sheet if a cell of it is silent."""
    number = list(KINDS).index(kind) if level else 0
    out = []
    for at, source in enumerate(_SOURCES):
        place = seed * 10_000_019 + number * 100_003 + level * 10_007 + at
        outcome, harmed, grid = judge(source, kind, level, place)
        shown = b""
        if outcome.silent and sheet:
            shown = cv2.imencode(".png", tile(outcome, harmed, grid))[1].tobytes()
        out.append((outcome, shown))
    return out


def save_sheet(path: Path, tiles: list[tuple[int, bytes]]) -> None:
    """The worst tiles, six a row."""
    codes = [code for _, code in sorted(tiles, key=lambda held: -held[0])[:60]]
    worst = [cv2.imdecode(np.frombuffer(code, np.uint8), cv2.IMREAD_COLOR) for code in codes]
    worst += [np.full_like(worst[0], 255)] * (-len(worst) % 6)
    rows = [np.hstack(worst[k : k + 6]) for k in range(0, len(worst), 6)]
    cv2.imwrite(str(path), np.vstack(rows))


def main() -> None:
    """Print the table."""
    given = arguments()
    kinds = list(KINDS) if given.kinds == "all" else given.kinds.split(",")
    levels = [int(level) for level in given.levels.split(",")]
    plan = [("none", 0), *((kind, level) for kind in kinds for level in levels)]
    outcomes: list[Outcome] = []
    tiles: list[tuple[int, bytes]] = []
    with ProcessPoolExecutor(given.jobs, initializer=prepare, initargs=(given,)) as pool:
        asked = [pool.submit(judged, *what, given.seed, bool(given.sheet)) for what in plan]
        for (kind, level), found in zip(plan, asked, strict=True):
            held = found.result()
            outcomes += [outcome for outcome, _ in held]
            tiles += [(len(outcome.silent), shown) for outcome, shown in held if shown]
            print(row(kind, str(level), [outcome for outcome, _ in held]), flush=True)
    print()
    print_table(outcomes)
    if given.outcomes:
        lines = (json.dumps(asdict(o)) for o in outcomes)
        given.outcomes.write_text("\n".join(lines) + "\n")
    if tiles:
        save_sheet(given.sheet, tiles)


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
