"""Fits what a lattice must look like to be a plain 9×9: the weights in
``papernudge.vision.find_kind``.

    python -m papernudge.digits_model.training.fit_kind --write

Pages of several presets, most of them with cages, marked diagonals, blocks of other shapes and
larger grids beside their puzzles, of the split ``calibrate`` (typefaces and writers of their own)
are fitted, others of the split ``test`` reported. A lattice is what ink or the page's truth leads
to: a puzzle's or a printed solution's own is plain, one on anything else is not, and one that went
astray on a puzzle says nothing. Other lattices are ruled by a program: larger grids of all blocks,
heavy lines elsewhere, blank tables, squares of letters (:mod:`ruled`). Reported are how
many of others are called plain and how many plain ones others, and the mean log-loss in nats, of
the weights as they stand and as fitted.
"""

from __future__ import annotations

import argparse
import re
import textwrap
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.pages import Page, draw, preset, use_pack
from papernudge.digits_model.training.pages.truth import GridTruth
from papernudge.digits_model.training.ruled import ruled
from papernudge.vision import find_kind
from papernudge.vision.find import work_view
from papernudge.vision.find_kind import Traits, evidence, traits
from papernudge.vision.find_outlines import ink_mask, outlines, parts_of
from papernudge.vision.flatten import Flat, flatten, homography, project, refined
from papernudge.vision.quality import cut_side

Points = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

_OTHERS = ("cages", "diagonals", "irregular", "16x16")
_MORE: dict[str, Any] = {"neighbours": 0.9, "focus": "page"}
MIX: tuple[tuple[str, dict[str, Any]], ...] = (
    ("hard", {}),
    ("hard", {"decoys": (*_OTHERS, "small solved"), **_MORE}),
    ("newspaper", {}),
    ("easy", {"decoys": (*_OTHERS, "crossword", "table"), **_MORE}),
    ("newspaper", {"decoys": (*_OTHERS, "letters"), **_MORE}),
)
"""Presets, in turn, and what their pages are given more of."""
FIRST = 30_000_000
LATER = 5_000
"""Pages that the first page of the report lies after that of the fit."""
SIZES = {"16x16": 16, "4x4": 0, "6x6": 0}
"""Cells along a side of grids of other sizes; 0 where no 9×9 fits into it."""
COST = 2.0
"""Puzzles missed that one grid of another kind weighs: it would be read as what it is not."""
PULL = 3.0
"""Inverse strength of the pull of all weights towards zero, columns brought to one spread."""
_ALIKE, _PIECES = 0.3, 12


class Row(NamedTuple):
    """A lattice: the page it is from, what it looks like, whether its lines are those of a 9×9, and
    whether it is a plain one.
    """

    page: int
    traits: Traits
    nine: bool
    plain: bool


def page_of(number: int, split: str) -> Page:
    """One page of the mix."""
    name, more = MIX[number % len(MIX)]
    return draw(preset(name, FIRST + number, split=split, **more))


def rows_of(number: int, split: str) -> list[Row]:
    """All lattices of a page."""
    page = page_of(number, split)
    view, scale = work_view(page.image)
    known = [truth_start(g, scale, number) for g in page.truth.grids]
    flats = lattices(view, [start for start in known if start is not None])
    found = []
    for flat in flats:
        plain = is_plain((flat.mesh.crossings + 0.5) * scale - 0.5, page.truth.grids)
        if plain is not None:
            found.append(Row(number, traits(view, flat), flat.is_nine, plain))
    return found


def truth_start(grid: GridTruth, scale: Points, seed: int) -> Points | None:
    """A mesh (10, 10, 2) on a grid, or on part of a larger one, pixels of the view."""
    if grid.crossings is not None:
        return (grid.crossings + 0.5) / scale - 0.5
    size = SIZES.get(grid.name, 9)
    if size < 9:
        return None
    at = np.linspace(0.0, 1.0, size + 1)
    corners = (np.asarray(grid.corners, np.float64) + 0.5) / scale - 0.5
    whole = project(homography(corners), np.stack(np.meshgrid(at, at), axis=-1))
    r, c = np.random.default_rng(seed).integers(0, size - 8, 2)
    return np.asarray(whole[r : r + 10, c : c + 10], np.float64)


def lattices(view: npt.NDArray[np.uint8], starts: list[Points]) -> list[Flat]:
    """What ink and these starts lead to, each mesh once."""
    size = (view.shape[1], view.shape[0])
    frames, _ = parts_of(ink_mask(view, 0.5))
    drawn = [s for s in list(outlines(frames, 60))[:_PIECES] if not cut_side(s, size, 0.9)]
    by_ink = [flatten(view, start) for start in drawn]
    flats: list[Flat] = []
    for flat in (
        *(one for one in by_ink if isinstance(one, Flat) and one.is_nine),
        *(refined(view, [s]) for s in starts if not cut_side(s, size)),
    ):
        if flat is None or any(alike(flat.mesh.crossings, o.mesh.crossings) for o in flats):
            continue
        flats.append(flat)
    return flats


def is_plain(mesh: Points, grids: list[GridTruth]) -> bool | None:
    """Whether a mesh is a puzzle's or a solution's own; None where it went astray on one."""
    near = [g for g in grids if overlap(np.asarray(g.corners, np.float64), rim(mesh))]
    mine = [g.crossings for g in near if g.crossings is not None]
    if any(alike(np.asarray(crossings, np.float64), mesh) for crossings in mine):
        return True
    return None if mine else False


def alike(one: Points, two: Points) -> bool:
    """Whether two meshes are the same in one of the four turns, but for some noise."""
    cell = float(np.linalg.norm(one[9, 9] - one[0, 0])) / 12.7
    off = [np.linalg.norm(np.rot90(one, k) - two, axis=-1).mean() for k in range(4)]
    return float(min(off)) < _ALIKE * cell


def rim(mesh: Points) -> Points:
    """The four corners of a mesh, clockwise."""
    return mesh[[0, 0, 9, 9], [0, 9, 9, 0]]


def overlap(one: Points, two: Points) -> bool:
    """Whether the middle of one shape (4, 2) lies in the other."""
    import cv2

    def holds(shape: Points, at: Points) -> bool:
        x, y = at.tolist()
        return cv2.pointPolygonTest(shape.astype(np.float32), (x, y), False) > 0

    return holds(one, two.mean(axis=0)) or holds(two, one.mean(axis=0))


def fitted(columns: Points, plain: Bools) -> Points:
    """Logistic regression: start and slopes."""
    from sklearn.linear_model import LogisticRegression

    middle, spread = columns.mean(axis=0), columns.std(axis=0) + 1e-9
    worth = np.where(plain, 1.0, COST)
    model = LogisticRegression(C=PULL, max_iter=5000)
    model.fit((columns - middle) / spread, plain, sample_weight=worth)
    slopes = model.coef_[0] / spread
    return np.concatenate([model.intercept_ - slopes @ middle, slopes]).round(3)


def ruled_rows(number: int) -> list[Row]:
    """The same of a lattice that a program ruled."""
    made = ruled(number)
    flat = refined(made.view, [made.mesh])
    if flat is None or not alike(flat.mesh.crossings, made.mesh):
        return []
    return [Row(-number, traits(made.view, flat), flat.is_nine, made.plain)]


def table(rows: list[Row]) -> tuple[Points, Bools]:
    """Evidence (N, K) of what ink shows to be a 9×9, and whether it is plain (N,)."""
    asked = [r for r in rows if r.nine]
    return np.array([evidence(r.traits) for r in asked]), np.array([r.plain for r in asked])


def told_of(weights: Points, columns: Points, plain: Bools) -> str:
    """How good the odds are."""
    odds = weights[0] + columns @ weights[1:]
    loss = np.logaddexp(0, -np.where(plain, 1, -1) * odds).mean()
    wrong = ((odds > 0) & ~plain).sum(), ((odds <= 0) & plain).sum()
    return (
        f"log-loss {loss:.4f}; {wrong[0]} of {(~plain).sum()} others called plain, "
        f"{wrong[1]} of {plain.sum()} plain ones others"
    )


def gathered(first: int, counts: tuple[int, int], split: str, given: Any) -> Iterator[Row]:
    """Lattices of so many pages, and so many ruled ones."""
    numbers, others = (range(first, first + count) for count in counts)
    with ProcessPoolExecutor(given.jobs, initializer=_prepare, initargs=(given.pack,)) as pool:
        for rows in pool.map(partial(rows_of, split=split), numbers):
            yield from rows
        for rows in pool.map(ruled_rows, others):
            yield from rows


def _prepare(pack: Path | None) -> None:
    if pack is not None:
        use_pack(pack)


def write(name: str, weights: Points) -> None:
    """Put a fit into the file that uses it."""
    path = Path(find_kind.__file__)
    numbers = textwrap.indent(textwrap.fill(", ".join(map(str, weights.tolist())), 92), " " * 4)
    held = f"{name} = np.array([\n{numbers}\n])  # fmt: skip\n"
    text = re.sub(
        rf"^{name} = np\.array\([^)]*\)[^\n]*\n", held, path.read_text("utf-8"), flags=re.M
    )
    path.write_text(text, "utf-8")


def main() -> None:
    """Print the weights and how well they do."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--pages", type=int, default=250, help="pages that are fitted")
    parser.add_argument("--ruled", type=int, default=400, help="ruled lattices that are")
    parser.add_argument("--report", type=int, default=100, help="pages, and lattices, reported")
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--pack", type=Path, help="typefaces and strokes, where none are installed")
    parser.add_argument("--write", action="store_true", help="put the weights in their place")
    given = parser.parse_args()
    fit = list(gathered(0, (given.pages, given.ruled), "calibrate", given))
    report = list(gathered(LATER, (given.report, given.report), "test", given))
    weights = fitted(*table(fit))
    print(f"WEIGHTS = np.array({weights.tolist()})")
    others = table(report)
    print("as before:", told_of(find_kind.WEIGHTS, *others))
    print("as fitted:", told_of(weights, *others))
    if given.write:
        write("WEIGHTS", weights)


if __name__ == "__main__":
    main()
