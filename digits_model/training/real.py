"""Real photos with their truth: reading the data folder's files, folds by puzzle."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from papernudge.digits_model.training.labels import LABELS, UNKNOWN
from papernudge.hints.solver import solve
from papernudge.vision.mesh import Mesh


def read_truth(path: Path) -> str:
    """The 81 characters of a .dat file: two lines about the phone, then nine rows."""
    rows = path.read_text("ascii", errors="replace").split("\n")[2:11]
    line = "".join("".join(row.split()) for row in rows)
    if len(line) != 81 or not line.isdigit():
        raise ValueError(f"{path.name}: expected nine rows of nine digits after two lines")
    return line.replace("0", ".")


@dataclass(frozen=True)
class RealPhoto:
    """One photo. ``givens`` is None where nothing tells a given from an entry.

    ``puzzle`` is the solution: photos of one puzzle, printed or filled, share it, and folds
    never part them.
    """

    path: Path
    digits: str
    givens: str | None
    puzzle: str

    @property
    def name(self) -> str:
        """Folder and number, ``printed/0001``."""
        return f"{self.path.parent.name}/{self.path.stem}"

    def raster(self) -> npt.NDArray[np.uint8]:
        """The pixels as stored, uint8 (H, W, 3), blue, green, red, no rotation tag applied."""
        import cv2

        flags = cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
        return np.asarray(cv2.imread(str(self.path), flags), np.uint8)

    def mesh(self) -> Mesh | None:
        """The crossings of the one puzzle in the photo; None where none is found."""
        from papernudge.vision.find import find_grids

        meshes = [g.mesh for g in find_grids(self.raster()) if g.mesh is not None]
        return max(meshes, key=_area, default=None)

    def labels(self) -> npt.NDArray[np.int8]:
        """int8 (81, LABELS), see ``labels.py``."""
        rows = np.zeros((81, LABELS), np.int8)
        for cell, char in enumerate(self.digits):
            rows[cell, 0] = 0 if char == "." else int(char)
            rows[cell, 1] = UNKNOWN
            if char != "." and self.givens is not None:
                rows[cell, 1] = int(self.givens[cell] == ".")
        return rows


def _area(mesh: Mesh) -> float:
    a, b, c, d = mesh.corners
    p, q = c - a, d - b
    return float(abs(p[0] * q[1] - p[1] * q[0]))


def photos(folder: Path) -> Iterator[RealPhoto]:
    """All photos below ``folder``/printed, highres and mixed, in order of name."""
    for part in ("printed", "highres"):
        for path in sorted((folder / part).glob("*.jpg")):
            line = read_truth(path.with_suffix(".dat"))
            yield RealPhoto(path, line, line, solve(line) or line)
    for path in sorted((folder / "mixed").glob("*.jpg")):
        line = read_truth(path.with_suffix(".dat"))
        twin = folder / "printed" / f"{path.stem}.dat"
        yield RealPhoto(path, line, read_truth(twin) if twin.exists() else None, line)


def puzzle_key(puzzle: str) -> str:
    """A short name of a puzzle that does not give it away: 16 hex digits of its SHA-256."""
    return hashlib.sha256(puzzle.encode("ascii")).hexdigest()[:16]


def folds(puzzles: npt.NDArray[np.str_], count: int) -> npt.NDArray[np.int64]:
    """Fold number of every photo, puzzles never parted, folds of about equal photos.

    ``puzzles``: (N,) keys. Puzzles are dealt out from the most to the least photographed, each
    to the fold that is smallest so far.
    """
    keys, sizes = np.unique(puzzles, return_counts=True)
    filled = np.zeros(count, np.int64)
    fold_of = {}
    for at in np.argsort(-sizes, kind="stable"):
        fold = int(filled.argmin())
        fold_of[keys[at]] = fold
        filled[fold] += sizes[at]
    return np.array([fold_of[p] for p in puzzles], np.int64)
