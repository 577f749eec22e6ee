"""Fits how far a look is trusted: the weights in ``papernudge.vision.sight``.

    python -m papernudge.digits_model.training.fit_trust --pages 60 --each 24 --jobs 2 --write

Photos of distinct puzzles and drawn pages are harmed one way at a time, of any kind and level.
Photos are of the fold of puzzles that the network of what can be seen never saw, read by the looks
that never saw them either; pages are of the split ``calibrate``. Of
each cell that can be seen as far as the network says, what speaks for the look is fitted to
whether it was right: the same digit, or blank where nothing stands and at least half of the cell
can be seen. Reported by cross-validation over sources: mean log-loss in nats, cells wrong at a
chance that asks no question, right cells below it for a source.
"""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import Looks, score
from papernudge.digits_model.seen import seen
from papernudge.digits_model.training.drawn import LEAST, label_rows, recipe
from papernudge.digits_model.training.labels import DIGIT, HAND
from papernudge.digits_model.training.pages import draw, use_pack
from papernudge.digits_model.training.pages.harms import KINDS, Harmed, harm
from papernudge.digits_model.training.real import RealPhoto, photos, puzzle_key
from papernudge.digits_model.training.seen_truth import LEFT_OUT, cropped, unseen_looks
from papernudge.vision import sight
from papernudge.vision.even import LINE, exposed
from papernudge.vision.hand import hand_on_page, ink_features, page_evidence
from papernudge.vision.mesh import Mesh
from papernudge.vision.read import looks_crossed
from papernudge.vision.sight import TRUST, evidence, sheet_of, signs_of

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]

UNSEEN = Path(__file__).parent / "unseen"
FIRST_PAGE = 940_000_000
PULL = 0.5
"""Inverse strength of the pull of all weights towards zero, columns brought to one spread."""
JITTER = 0.01
"""Spread by which crossings are moved as finding them would, cells."""
SAFE = 0.99
"""Chance that the report takes for sure: as ``papernudge.vision.doubts`` does."""


@dataclass(frozen=True, eq=False)
class Source:
    """A grid with its truth; ``hands``: int (81,), 1 written, 0 printed, -1 unknown or blank."""

    image: npt.NDArray[np.uint8]
    crossings: Floats
    digits: Ints
    hands: Ints
    looks: Looks | None


@dataclass(frozen=True, eq=False)
class Rows:
    """One harmed source: evidence (81, 5) for the looks; whether each is right; whether the cell
    can be seen as far as the network says. ``whole``: all that is known of each cell, for other
    fits.
    """

    columns: Floats
    right: Bools
    visible: Bools
    whole: dict[str, npt.NDArray[np.float32]]


@cache
def _folds() -> dict[str, int]:
    return dict(json.loads((UNSEEN / "folds.json").read_text("utf-8"))["folds"])


def fold_of(puzzle: str) -> int | None:
    """The fold of puzzles that this one is in, if any."""
    return _folds().get(puzzle_key(puzzle))


def distinct(folder: Path, count: int, seed: int) -> list[RealPhoto]:
    """One photo of each of ``count`` puzzles of the fold LEFT_OUT."""
    rng = np.random.default_rng([seed, 7])
    by_puzzle: dict[str, list[RealPhoto]] = {}
    for photo in photos(folder):
        if fold_of(photo.puzzle) == LEFT_OUT:
            by_puzzle.setdefault(photo.puzzle, []).append(photo)
    chosen = rng.permutation(sorted(by_puzzle))[:count]
    return [by_puzzle[p][int(rng.integers(len(by_puzzle[p])))] for p in chosen]


def of_photo(photo: RealPhoto) -> Source | None:
    """A photo's grid, None where its mesh is not known."""
    mesh = photo.mesh()
    if mesh is None:
        return None
    digits = np.array([0 if d == "." else int(d) for d in photo.digits])
    hands = np.full(81, -1)
    if photo.givens is not None:
        printed = np.array([g != "." for g in photo.givens])
        hands = np.where(digits == 0, -1, np.where(printed, 0, 1))
    return Source(photo.raster(), mesh.crossings, digits, hands, unseen_looks(LEFT_OUT))


def of_page(seed: int) -> Source | None:
    """The first grid of a drawn page, None where it has none that can be read."""
    page = draw(recipe(seed, "calibrate"))
    whole = [g for g in page.truth.grids if g.kind in ("puzzle", "full") and g.cell_px >= LEAST]
    for grid in whole[:1]:
        assert grid.crossings is not None
        labels = label_rows(grid).astype(np.int64)
        image, crossings = cropped(page.image, grid.crossings)
        digits = np.maximum(labels[:, DIGIT], 0)
        hands = np.where(digits > 0, labels[:, HAND], -1)
        return Source(image, crossings, digits, hands, None)
    return None


def rows_of(source: Source, worse: Harmed, rng: np.random.Generator) -> Rows:
    """What is read of a harmed source."""
    cell = float(np.linalg.norm(np.diff(worse.crossings, axis=1), axis=2).mean())
    moved = worse.crossings + rng.normal(0, JITTER * cell, (10, 10, 2))
    at = Mesh(moved, np.ones((10, 10), np.bool_))
    exposure = exposed(worse.image, at)
    said = score(exposure.patches.pixels, source.looks)
    if looks_crossed(said):
        exposure = exposure.without_lines()
        if (exposure.lines > LINE).any():
            said = score(exposure.patches.pixels, source.looks)
    sees = seen(sheet_of(worse.image, at))
    signs = signs_of(sees)
    read = said.digits.argmax(axis=1)
    right = (read == source.digits) & ~((worse.seen < 0.5) & (read == 0))
    ink = page_evidence(
        ink_features(exposure.patches.pixels), said.hand, said.digits[:, 0] < np.log(0.5)
    )
    hand = hand_on_page(said.hand, read, said.features, ink)
    whole = {
        "signs": signs, "looks": said.digits, "own": said.hand, "hand": hand,
        "truth": source.digits, "hands": source.hands, "seen": worse.seen,
        "crossed": worse.crossed, "struck": said.struck,
    }  # fmt: skip
    return Rows(
        evidence(signs, said.digits), right, sees.seen > 0.5,
        {name: np.asarray(held, np.float32) for name, held in whole.items()},
    )  # fmt: skip


def harmed_rows(source: Source, number: int, times: int, seed: int) -> list[Rows]:
    """``times`` harms of one source, kinds in turn."""
    rng, kinds = np.random.default_rng([seed, 11, number]), list(KINDS)
    out = []
    for turn in range(times):
        kind, level = kinds[(times * number + turn) % len(kinds)], float(rng.uniform(0.7, 5.3))
        worse = harm(source.image, source.crossings, kind, level, int(rng.integers(2**31)))
        out.append(rows_of(source, worse, rng))
    return out


GIVEN: list[argparse.Namespace] = []
"""The words of the command, in each process."""


def prepare(given: argparse.Namespace) -> None:
    """What each process needs to know."""
    import cv2

    cv2.setNumThreads(1)
    GIVEN[:] = [given]
    if given.pack:
        use_pack(given.pack)


def photo_rows(number: int) -> list[Rows]:
    """All harms of one photo."""
    given = GIVEN[0]
    source = of_photo(distinct(given.data / "photos", given.photos, given.seed)[number])
    return harmed_rows(source, number, given.each, given.seed) if source else []


def page_rows(number: int) -> list[Rows]:
    """All harms of one drawn page."""
    given = GIVEN[0]
    source = of_page(FIRST_PAGE + 1000 * given.seed + number)
    return harmed_rows(source, 1000 + number, given.each, given.seed) if source else []


def fitted(columns: Floats, right: Bools, pull: float = PULL) -> Floats:
    """Logistic regression: start and slopes; ``pull``: as PULL."""
    from sklearn.linear_model import LogisticRegression

    spread = columns.std(axis=0) + 1e-9
    model = LogisticRegression(C=pull, max_iter=3000).fit(columns / spread, right)
    return np.concatenate([model.intercept_, model.coef_[0] / spread]).round(3)


def chances(weights: Floats, columns: Floats) -> Floats:
    """Of each row to be true."""
    return np.asarray(1 / (1 + np.exp(-weights[0] - columns @ weights[1:])))


def told(chance: Floats, true: Bools, count: int, safe: float) -> str:
    """How good the chances are; of what is likelier, where they have two sides."""
    loss = -np.log(np.clip(np.where(true, chance, 1 - chance), 1e-9, 1)).mean()
    silent = int((~true & (chance >= safe)).sum())
    asked = float((true & (chance < safe)).sum()) / count
    return f"log-loss {loss:.4f}, {silent} sure and wrong of {len(true)}, {asked:.2f} asked"


def crossed(columns: Floats, true: Bools, part: Ints) -> Floats:
    """Chances by weights fitted without the row's own third of the sources."""
    out = np.zeros(len(true))
    for third in range(3):
        held = part % 3 == third
        out[held] = chances(fitted(columns[~held], true[~held]), columns[held])
    return out


def gathered(given: argparse.Namespace) -> Iterator[tuple[int, Rows]]:
    """Rows of all sources with the source's number."""
    with ProcessPoolExecutor(given.jobs, initializer=prepare, initargs=(given,)) as pool:
        prepare(given)
        count = len(distinct(given.data / "photos", given.photos, given.seed))
        parts = [*pool.map(photo_rows, range(count)), *pool.map(page_rows, range(given.pages))]
    for number, part in enumerate(parts):
        for rows in part:
            yield number, rows


def write(weights: Floats) -> None:
    """Put the fit into the file that uses it."""
    path = Path(sight.__file__)
    text = path.read_text("utf-8")
    text = re.sub(r"^WEIGHTS = .*$", f"WEIGHTS = np.array({weights.tolist()})", text, flags=re.M)
    path.write_text(text, "utf-8")


def main() -> None:
    """Print the weights and how well they do."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--data", type=Path, default=Path("../shared/data"))
    parser.add_argument("--photos", type=int, default=60, help="puzzles at most, a photo of each")
    parser.add_argument("--pages", type=int, default=30, help="drawn pages")
    parser.add_argument("--each", type=int, default=6, help="harms of each")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1, help="processes")
    parser.add_argument("--pack", type=Path, help="typefaces and strokes, where none are installed")
    parser.add_argument("--keep", type=Path, help="file for all that is known of each cell (npz)")
    parser.add_argument("--write", action="store_true", help="put the weights in their place")
    given = parser.parse_args()
    found = list(gathered(given))
    if given.keep:
        kept = {k: np.concatenate([r.whole[k] for _, r in found]) for k in found[0][1].whole}
        numbers = np.concatenate([np.full(81, n) for n, _ in found])
        np.savez_compressed(given.keep, part=numbers, **kept)  # type: ignore[arg-type]
    visible = np.concatenate([r.visible for _, r in found])
    columns = np.concatenate([r.columns for _, r in found])[visible]
    right = np.concatenate([r.right for _, r in found])[visible]
    part = np.concatenate([np.full(81, n) for n, _ in found])[visible]
    weights = fitted(columns, right)
    print(f"WEIGHTS = np.array({weights.tolist()})  # start, {', '.join(TRUST)}")
    print("the look alone:", told(1 - np.exp(-columns[:, -1]), right, len(found), SAFE))
    print("as before:", told(chances(sight.WEIGHTS, columns), right, len(found), SAFE))
    print("weighed:", told(crossed(columns, right, part), right, len(found), SAFE))
    if given.write:
        write(weights)


if __name__ == "__main__":
    main()
