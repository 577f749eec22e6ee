"""Fits what is asked about in harmed cells: rules of ``papernudge.vision.sight``.

    python -m papernudge.digits_model.training.fit_sight --pages 30 --each 12 --jobs 2 --write

Sources are those of ``fit_trust``: photos of the fold of puzzles that no network of the reader has
seen, read by the looks that never saw them either, and drawn pages of the split ``calibrate``. They
are harmed one way at a time, of any kind and level, and read as any photo is. Of what was accepted
each harmed cell gives a row: one that looks blank to the rule for blanks (true where ink stands
there, or less than half of it can be seen), one that was read as given or entry to that hand's rule
(true where it is another digit or hand), one with a digit to what the page's word on hands counts
(true where it is written). Reported by cross-validation over sources: mean log-loss in nats,
and what each rule at its limit misses and asks in vain.
"""

from __future__ import annotations

import argparse
import re
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import score
from papernudge.digits_model.training.drawn import LEAST, label_rows, recipe
from papernudge.digits_model.training.fit_trust import (
    GIVEN,
    PULL,
    Source,
    distinct,
    fitted,
    of_photo,
    prepare,
)
from papernudge.digits_model.training.labels import DIGIT, HAND
from papernudge.digits_model.training.pages import PageSpec, draw, preset
from papernudge.digits_model.training.pages.harms import KINDS, Harmed, harm
from papernudge.hints.solver import solve
from papernudge.vision import sight
from papernudge.vision.failure import Failure
from papernudge.vision.read import read_page
from papernudge.vision.reading import CellKind, GridReading, PageReading
from papernudge.vision.sight import MOST_SURE, AsRead, View, blank_signs, hand_signs, harmed_by

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Table = dict[str, Floats]

FIRST_PAGE = 960_000_000
PLAIN = 0.7
"""Share of drawn pages that look like a newspaper's; the others are those that the looks learn
from: small, noted, scrawled."""
FILLS = (0.0, 0.3, 1.0)
UNSEEN = 2
"""What a table says of a cell that was asked about as not seen; 1 of one that was otherwise."""
HALF = 0.5
CROSSED_OUT = 0.02
"""A doodle over so much of a cell may be what strikes its digit out."""
DOODLE = list(KINDS).index("doodle")
PULL_ONE = 5.0
"""As ``PULL`` of ``fit_trust``, for a rule of one sign: thousands of rows need no more."""
FIFTHS, LEAST_TRUE = 5, 20
MISSES = (0, 1, 2, 4, 8)
NEAR = 4.0
"""A grid that was read is the one asked for where its middle lies within this many cells of it."""


def middle_of(crossings: Floats) -> tuple[Floats, float]:
    """The middle (2,) of crossings (10, 10, 2), and the side of a cell."""
    cell = float(np.linalg.norm(np.diff(crossings, axis=1), axis=2).mean())
    return crossings[[0, 0, 9, 9], [0, 9, 9, 0]].mean(axis=0), cell


def grid_on(page: PageReading | Failure, crossings: Floats) -> GridReading | None:
    """The grid that was read where these crossings (10, 10, 2) lie, None where none was."""
    if isinstance(page, Failure):
        return None
    corners = crossings[[0, 0, 9, 9], [0, 9, 9, 0]]
    middle, cell = middle_of(crossings)

    def off(grid: GridReading) -> float:
        turned = [np.roll(grid.corners, k, axis=0) for k in range(4)]
        return min(float(np.linalg.norm(t - corners, axis=1).max()) for t in turned)

    held = [g for g in page.grids if len(g.cells) == 81 and g.mesh is not None]
    there = [g for g in held if np.linalg.norm(g.corners.mean(axis=0) - middle) < NEAR * cell]
    return min(there, key=off, default=None)


def plan(seed: int) -> PageSpec:
    """The drawn page of this number."""
    rng = np.random.default_rng([seed, 5])
    if rng.random() > PLAIN:
        return recipe(seed, "calibrate")
    fill = float(rng.choice(FILLS))
    return preset("newspaper", seed, split="calibrate", grids=1, cut="", fill=fill,
                  width=960, height=720, focus="grid")  # fmt: skip


def of_page(seed: int) -> Source | None:
    """The first grid of a drawn page, None where it has none that can be read."""
    page = draw(plan(seed))
    for grid in page.truth.grids:
        if grid.kind == "puzzle" and grid.cell_px >= LEAST and grid.crossings is not None:
            labels = label_rows(grid).astype(np.int64)
            digits = np.maximum(labels[:, DIGIT], 0)
            hands = np.where(digits > 0, labels[:, HAND], -1)
            return Source(page.image, grid.crossings, digits, hands, None)
    return None


def table_of(source: Source, worse: Harmed) -> Table | None:
    """All that was known of a harmed grid when it was read, and the truth, 81 rows; None where it
    was refused.
    """
    page = read_page(worse.image, solve=solve, scorer=partial(score, looks=source.looks))
    grid = grid_on(page, worse.crossings)
    if grid is None or grid.evidence is None or grid.evidence.sight.signs is None:
        return None
    assert grid.mesh is not None
    known, sees = grid.evidence, grid.evidence.sight
    asked = np.zeros(81)
    for doubt in grid.doubts:
        asked[doubt.cell] = UNSEEN if doubt.about == "seen" else 1
    hands = sees.hands if sees.hands is not None else np.repeat(known.hand[:, None], 3, axis=1)
    table = {
        "signs": sees.signs, "laid": View.of(worse.image, grid.mesh).said.laid,
        "looks": known.scores.digits, "own": known.scores.hand, "hand": known.hand, "hands": hands,
        "read": [cell.digit or 0 for cell in grid.cells],
        "printed": [cell.kind is CellKind.GIVEN for cell in grid.cells],
        "right": [cell.chance for cell in grid.cells],
        "unclear": sees.unclear(), "asked": asked,
        "bent": np.isin(np.arange(81), list(sees.bent)),
        "digit": source.digits, "by": source.hands, "seen": worse.seen, "crossed": worse.crossed,
    }  # fmt: skip
    return {name: np.asarray(held, np.float64) for name, held in table.items()}


def harmed_tables(source: Source, number: int, times: int, seed: int) -> list[Table]:
    """``times`` harms of one source, kinds in turn."""
    rng, kinds = np.random.default_rng([seed, 13, number]), list(KINDS)
    out = []
    for turn in range(times):
        at = (times * number + turn) % len(kinds)
        level, place = float(rng.uniform(0.6, 5.4)), int(rng.integers(2**31))
        worse = harm(source.image, source.crossings, kinds[at], level, place)
        table = table_of(source, worse)
        if table is not None:
            said = {"kind": at, "level": level, "place": place, "source": number + 1e6 * seed}
            out.append(table | {k: np.full(81, v, np.float64) for k, v in said.items()})
    return out


def photo_tables(number: int) -> list[Table]:
    """All harms of one photo."""
    given = GIVEN[0]
    source = of_photo(distinct(given.data / "photos", given.photos, given.seed)[number])
    return harmed_tables(source, number, given.each, given.seed) if source else []


def page_tables(number: int) -> list[Table]:
    """All harms of one drawn page."""
    given = GIVEN[0]
    source = of_page(FIRST_PAGE + 1000 * given.seed + number)
    return harmed_tables(source, 1000 + number, given.each, given.seed) if source else []


def wrong(table: Table) -> tuple[Bools, Bools]:
    """Which cells are wrong as read, and which are less than half seen, (N,) each.

    As in ``bench_stress.py``: another digit or hand than was written, or a blank where less than
    half is seen. Where a doodle crosses a cell it may be struck out.
    """
    read, hidden = table["read"], table["seen"] < HALF
    other = read != table["digit"]
    other &= ~((table["kind"] == DOODLE) & (read == 0) & (table["crossed"] > CROSSED_OUT))
    hand = (table["by"] >= 0) & (read > 0) & ((table["printed"] > 0) != (table["by"] == 0))
    return other | hand | (hidden & (read == 0)), hidden


def blank_rows(table: Table) -> tuple[Floats, Bools, Floats]:
    """Signs (N, 7) of harmed cells that look blank, whether they are none, and their source."""
    signs, true, part = [], [], []
    for one in by_grid(table):
        which = (one["looks"].argmax(axis=1) == 0) & harmed_by(one["signs"])
        signs.append(blank_signs(one["signs"], one["laid"], one["looks"])[which])
        true.append(((one["digit"] > 0) | (one["seen"] < HALF))[which])
        part.append(one["source"][which])
    return np.concatenate(signs), np.concatenate(true), np.concatenate(part)


def hand_rows(table: Table, printed: bool) -> tuple[Floats, Bools, Floats]:
    """Signs (N, 6) of harmed cells read as given, or as entry; whether they are of another hand,
    or another digit; and their source.
    """
    signs, true, part = [], [], []
    for one in by_grid(table):
        read = AsRead(one["read"].astype(np.int64), one["printed"] > 0, one["right"])
        which = (one["unclear"] > 0) & (one["read"] > 0) & (read.printed == printed)
        rows = hand_signs(one["looks"], one["own"], read, one["hands"])
        signs.append(rows[which])
        true.append(wrong(one)[0][which])
        part.append(one["source"][which])
    return np.concatenate(signs), np.concatenate(true), np.concatenate(part)


def word_rows(table: Table) -> tuple[Floats, Bools, Floats]:
    """The page's word on whose hand each digit in a harmed cell is, (N, 1), whether it is written,
    and its source.
    """
    which = harmed_by(table["signs"]) & (table["looks"].argmax(axis=1) > 0)
    which &= (table["by"] >= 0) & (table["seen"] >= HALF) & (table["asked"] < UNSEEN)
    word = np.clip(table["hand"][which], -MOST_SURE, MOST_SURE)
    return word[:, None], table["by"][which] == 1, table["source"][which]


def by_grid(table: Table) -> Iterator[Table]:
    """The table's grids, 81 rows each."""
    for at in range(0, len(table["read"]), 81):
        yield {name: held[at : at + 81] for name, held in table.items()}


def crossed(columns: Floats, true: Bools, part: Floats, pull: float = PULL) -> Floats:
    """Log-odds by weights fitted without the row's own fifth of the sources."""
    numbers = np.unique(part, return_inverse=True)[1] % FIFTHS
    out = np.zeros(len(true))
    for fifth in range(FIFTHS):
        held = numbers == fifth
        if held.any():
            out[held] = odds(fitted(columns[~held], true[~held], pull), columns[held])
    return out


def odds(weights: Floats, columns: Floats) -> Floats:
    """Log-odds of each row to be true."""
    return np.asarray(weights[0] + columns @ weights[1:])


def told(found: Floats, true: Bools, limit: float) -> str:
    """How good log-odds are, and what a question from ``limit`` on misses and asks in vain."""
    loss = np.logaddexp(0, -np.where(true, 1, -1) * found).mean()
    missed, vain = int((true & (found <= limit)).sum()), int((~true & (found > limit)).sum())
    return (
        f"log-loss {loss:.4f}; of {true.sum()} true of {len(true)} it misses {missed}, "
        f"asks {vain} in vain at {limit}"
    )


def least_vain(found: Floats, true: Bools) -> str:
    """What must be asked in vain for so many misses."""
    order = np.sort(found[true])
    pairs = [(k, order[k]) for k in MISSES if k < len(order)]
    return ", ".join(f"{k}: {(found[~true] >= at).sum()} ({at:.1f})" for k, at in pairs)


def gathered(given: argparse.Namespace) -> Table:
    """Tables of all sources in one."""
    with ProcessPoolExecutor(given.jobs, initializer=prepare, initargs=(given,)) as pool:
        count = len(distinct(given.data / "photos", given.photos, given.seed))
        photo, page = range(count), range(given.pages)
        parts = [*pool.map(photo_tables, photo), *pool.map(page_tables, page)]
    return together([one for part in parts for one in part])


def together(tables: list[Table]) -> Table:
    """Several tables as one."""
    return {name: np.concatenate([one[name] for one in tables]) for name in tables[0]}


def report(table: Table) -> dict[str, Floats]:
    """Fit the rules and print how well they do; the weights by their names."""
    true, _ = wrong(table)
    grids, silent = len(true) // 81, true & (table["asked"] == 0)
    print(f"{grids} grids of {len(np.unique(table['source']))} sources, {true.sum()} wrong cells")
    print(f"silent as they were read: {silent.sum()} cells")
    found = {}
    for name, rows, before, limit in (
        ("BLANK_WEIGHTS", blank_rows(table), sight.BLANK_WEIGHTS, sight.BLANK_LIMIT),
        ("GIVEN_WEIGHTS", hand_rows(table, True), sight.GIVEN_WEIGHTS, sight.GIVEN_LIMIT),
        ("ENTRY_WEIGHTS", hand_rows(table, False), sight.ENTRY_WEIGHTS, sight.ENTRY_LIMIT),
        ("HAND_WEIGHTS", word_rows(table), sight.HAND_WEIGHTS, 0.0),
    ):
        columns, held, part = rows
        if held.sum() < LEAST_TRUE or len(np.unique(part)) < FIFTHS:
            raise SystemExit(
                f"expected {LEAST_TRUE} rows to learn {name} from, of {FIFTHS} sources; got"
                f" {held.sum()}: read more harmed pages (--pages, --each)"
            )
        pull = PULL if columns.shape[1] > 1 else PULL_ONE
        found[name] = fitted(columns, held, pull)
        apart = crossed(columns, held, part, pull)
        print(f"{name} = np.array({found[name].tolist()})")
        print("  as before:", told(odds(before, columns), held, limit))
        print("  as fitted:", told(apart, held, limit))
        print("  in vain for so many misses:", least_vain(apart, held))
    return found


def write(found: dict[str, Floats]) -> None:
    """Put the fits into the file that uses them."""
    path = Path(sight.__file__)
    text = path.read_text("utf-8")
    for name, held in found.items():
        text = re.sub(rf"^{name} = .*$", f"{name} = np.array({held.tolist()})", text, flags=re.M)
    path.write_text(text, "utf-8")


def main() -> None:
    """Print the weights and how well they do."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--data", type=Path, default=Path("../shared/data"))
    parser.add_argument("--photos", type=int, default=60, help="puzzles at most, a photo of each")
    parser.add_argument("--pages", type=int, default=30, help="drawn pages")
    parser.add_argument("--each", type=int, default=12, help="harms of each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--pack", type=Path, help="typefaces and strokes, where none are installed")
    parser.add_argument("--keep", type=Path, help="file for the rows (npz)")
    parser.add_argument("--rows", type=Path, nargs="*", help="kept rows to fit, none are gathered")
    parser.add_argument("--write", action="store_true", help="put the weights in their place")
    given = parser.parse_args()
    if given.rows:
        table = together([dict(np.load(path)) for path in given.rows])
    else:
        table = gathered(given)
    if given.keep:
        np.savez_compressed(given.keep, **table)  # type: ignore[arg-type]
    found = report(table)
    if given.write:
        write(found)


if __name__ == "__main__":
    main()
