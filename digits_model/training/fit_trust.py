"""Fits how far a look is trusted: the weights in ``papernudge.vision.sight``.

    python -m papernudge.digits_model.training.fit_trust --photos 36 --harms 124

Photos of distinct puzzles get one harm each, of any kind and level, and are read by the looks of
the fold that never saw the puzzle. Of each cell that can be seen as far as the network says, what
speaks for the look is fitted to whether it was right: the same digit, or blank where nothing stands
and at least half of the cell can be seen. Reported by cross-validation over puzzles: mean log-loss
in nats, cells wrong at a chance of .99 and more, right cells below it for a photo.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import Looks, score
from papernudge.digits_model.seen import seen
from papernudge.digits_model.training.pages.harms import KINDS, harm
from papernudge.digits_model.training.real import RealPhoto, photos, puzzle_key
from papernudge.vision.even import LINE, exposed
from papernudge.vision.mesh import Mesh
from papernudge.vision.read import looks_crossed
from papernudge.vision.sight import TRUST, evidence, sheet_of, signs_of

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

UNSEEN = Path(__file__).parent / "unseen"
PULL = 0.5
"""Inverse strength of the pull of all weights towards zero, columns brought to one spread."""
JITTER = 0.01
"""Spread by which crossings are moved as finding them would, cells."""
SAFE = 0.99
"""Chance that the report takes for sure: as ``papernudge.vision.doubts`` does."""


def distinct(folder: Path, count: int, seed: int) -> list[RealPhoto]:
    """One photo of each of ``count`` puzzles."""
    rng = np.random.default_rng([seed, 7])
    by_puzzle: dict[str, list[RealPhoto]] = {}
    for photo in photos(folder):
        by_puzzle.setdefault(photo.puzzle, []).append(photo)
    chosen = rng.permutation(sorted(by_puzzle))[:count]
    return [by_puzzle[p][int(rng.integers(len(by_puzzle[p])))] for p in chosen]


def looks_of(puzzle: str) -> Looks | None:
    """The looks that never saw the puzzle; None where the shipped ones did not."""
    table = json.loads((UNSEEN / "folds.json").read_text("utf-8"))
    fold = table["folds"].get(puzzle_key(puzzle))
    return None if fold is None else Looks.held(UNSEEN, f"fold{fold}", f"fold{fold}-closer")


def rows(
    folder: Path, count: int, harmed: int, seed: int
) -> Iterator[tuple[Floats, Bools, Bools, int]]:
    """For each harmed photo: the evidence (81, 5), which cells are read right, which the network
    says can be seen, and the number of the photo.
    """
    rng = np.random.default_rng([seed, 11])
    kinds = list(KINDS)
    for number, photo in enumerate(held := distinct(folder, count, seed)):
        mesh = photo.mesh()
        if mesh is None:
            continue
        looks = looks_of(photo.puzzle)
        truth = np.array([0 if d == "." else int(d) for d in photo.digits])
        for turn in range(number, harmed, len(held)):
            kind, level = kinds[turn % len(kinds)], float(rng.uniform(1, 5))
            worse = harm(photo.raster(), mesh.crossings, kind, level, int(rng.integers(2**31)))
            cell = float(np.linalg.norm(mesh.corners[1] - mesh.corners[0])) / 9
            moved = worse.crossings + rng.normal(0, JITTER * cell, (10, 10, 2))
            at = Mesh(moved, mesh.seen)
            exposure = exposed(worse.image, at)
            said = score(exposure.patches.pixels, looks)
            if looks_crossed(said):
                exposure = exposure.without_lines()
                if (exposure.lines > LINE).any():
                    said = score(exposure.patches.pixels, looks)
            sees = seen(sheet_of(worse.image, at))
            read = said.digits.argmax(axis=1)
            right = (read == truth) & ~((worse.seen < 0.5) & (read == 0))
            yield evidence(signs_of(sees), said.digits), right, sees.seen > 0.5, number


def fitted(columns: Floats, right: Bools) -> Floats:
    """Logistic regression: start and slopes."""
    from sklearn.linear_model import LogisticRegression

    spread = columns.std(axis=0) + 1e-9
    model = LogisticRegression(C=PULL, max_iter=3000).fit(columns / spread, right)
    return np.concatenate([model.intercept_, model.coef_[0] / spread]).round(3)


def told(chance: Floats, right: Bools, count: int) -> str:
    """How good the chances are."""
    loss = -np.log(np.clip(np.where(right, chance, 1 - chance), 1e-9, 1)).mean()
    silent = int((~right & (chance >= SAFE)).sum())
    asked = float((right & (chance < SAFE)).sum()) / count
    return f"log-loss {loss:.4f}, {silent} sure and wrong of {len(right)}, {asked:.2f} asked"


def main() -> None:
    """Print the weights and how well they do."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--data", type=Path, default=Path("../shared/data"))
    parser.add_argument("--photos", type=int, default=36)
    parser.add_argument("--harms", type=int, default=124)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    found = list(rows(given.data / "photos", given.photos, given.harms, given.seed))
    visible = np.concatenate([v for _, _, v, _ in found])
    columns = np.concatenate([c for c, _, _, _ in found])[visible]
    right = np.concatenate([r for _, r, _, _ in found])[visible]
    photo = np.concatenate([np.full(81, n) for *_, n in found])[visible]
    chance = np.zeros(len(right))
    for part in range(3):
        held = photo % 3 == part
        weights = fitted(columns[~held], right[~held])
        chance[held] = 1 / (1 + np.exp(-weights[0] - columns[held] @ weights[1:]))
    print(f"WEIGHTS = np.array({fitted(columns, right).tolist()})  # start, {', '.join(TRUST)}")
    print("the look alone:", told(1 - np.exp(-columns[:, -1]), right, len(found)))
    print("weighed:", told(chance, right, len(found)))


if __name__ == "__main__":
    main()
