"""Fits how far the hand's habits are to be trusted: the weights in ``papernudge.vision.habits``.

    python -m papernudge.digits_model.training.fit_habits --pages 250

Drawn pages of the preset newspaper, of writers that the classifier never saw (split "calibrate"),
and the photos ``mixed``, each by the model that never saw its puzzle: their entries are by many
hands, so they hold the weights back. Both count alike. As many pages of the split "test" are
reported.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.scores import Looks, Scores, score
from papernudge.digits_model.training.drawn import moved
from papernudge.digits_model.training.pages import draw, preset
from papernudge.digits_model.training.real import photos, puzzle_key
from papernudge.hints.solver import solve
from papernudge.vision import habits
from papernudge.vision.decode import decode
from papernudge.vision.hand import hand_on_page, ink_features, page_evidence
from papernudge.vision.patches import Patches, cut_patches

Floats = npt.NDArray[np.float64]
UNSEEN = Path(__file__).parent / "unseen"
FILL = (0.75, 0.4, 1.0, 0.2)
Entries = tuple[Floats, Floats, Floats, npt.NDArray[np.int64]]
"""Of N entries: log-chances, likeness and whether it is known, all (N, 9), and the digit (N,)."""


def entries_of(patches: Patches, said: Scores, digits: str, givens: str | None) -> Entries:
    """What stands in the cells that are entries in truth and as read.

    ``digits`` and ``givens``: 81 characters; without givens all counts that reads as written.
    """
    likeliest = said.digits.argmax(axis=1)
    ink = page_evidence(ink_features(patches.pixels), said.hand, likeliest > 0)
    hand = hand_on_page(said.hand, likeliest, said.features, ink)
    read = decode(said.digits, hand, solve).other[:, 1:]
    cells = [
        c
        for c in np.flatnonzero(read.sum(axis=1) > 0.5)
        if digits[c] != "." and (givens is None or givens[c] == ".")
    ]
    like, seen = habits.likeness(read, said.features)
    truth = np.array([int(digits[c]) - 1 for c in cells], np.int64)
    return said.digits[cells, 1:], like[cells], seen[cells], truth


def drawn_entries(split: str, first: int, pages: int) -> Iterator[Entries]:
    """Entries of drawn pages, some of them mistakes."""
    for k in range(pages):
        spec = preset(
            "newspaper", first + k, split=split, fill=FILL[k % 4], grids=1, mistakes=k % 7
        )
        page = draw(spec)
        for grid in page.truth.grids:
            if grid.kind == "puzzle":
                patches = cut_patches(page.image, moved(grid, np.random.default_rng(k)))
                digits = "".join(str(cell.digit or ".") for cell in grid.cells)
                yield entries_of(patches, score(patches.pixels), digits, grid.givens)


def real_entries(folder: Path) -> Iterator[Entries]:
    """Entries of the photos ``mixed``, by models that never saw their puzzle."""
    table = json.loads((UNSEEN / "folds.json").read_text("utf-8"))
    looks = [Looks.held(UNSEEN, f"fold{k}", f"fold{k}-closer") for k in range(table["count"])]
    for photo in photos(folder):
        fold = table["folds"].get(puzzle_key(photo.puzzle))
        mesh = photo.mesh()
        if photo.path.parent.name == "mixed" and fold is not None and mesh is not None:
            patches = cut_patches(photo.raster(), mesh)
            said = score(patches.pixels, looks[fold])
            yield entries_of(patches, said, photo.digits, photo.givens)


def joined(parts: Iterator[Entries]) -> Entries:
    """All entries one below the other."""
    held = list(parts)
    q, like, seen, truth = (np.concatenate([part[k] for part in held]) for k in range(4))
    return q, like, seen, truth.astype(np.int64)


def log_loss(weights: Floats, entries: Entries) -> float:
    """Mean of −log of the chance given to the digit that is there, nats."""
    q, like, seen, truth = entries
    odds = weights[0] * q + weights[1] * like + weights[2] * seen
    return float((np.logaddexp.reduce(odds, axis=1) - odds[np.arange(len(odds)), truth]).mean())


def main() -> None:
    """Print the weights and how well they do."""
    from scipy.optimize import minimize

    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pages", type=int, default=250)
    parser.add_argument("--data", type=Path, default=Path("../shared/data"))
    given = parser.parse_args()
    drawn = joined(drawn_entries("calibrate", 52_500_000, given.pages))
    real = joined(real_entries(given.data / "photos"))
    test = joined(drawn_entries("test", 81_500_000, given.pages))
    start = np.array([habits.OWN, habits.LIKE, habits.SEEN])
    found = minimize(
        lambda w: log_loss(w, drawn) + log_loss(w, real), start, method="Nelder-Mead"
    ).x
    print("OWN, LIKE, SEEN = " + ", ".join(f"{weight:.3f}" for weight in found))
    for name, part in (("drawn, fitted", drawn), ("real, fitted", real), ("drawn, others", test)):
        alone, both = log_loss(np.array([1.0, 0.0, 0.0]), part), log_loss(found, part)
        print(f"{name}: {len(part[3])} entries, log-loss {alone:.4f} alone, {both:.4f} by habit")


if __name__ == "__main__":
    main()
