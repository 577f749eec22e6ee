"""A page of the Tidewick Lantern that was never printed: a drawn photo and what it says."""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from papernudge.cli.app import run
from papernudge.vision.grid import GridKind, Quality
from papernudge.vision.mesh import Mesh
from papernudge.vision.reading import CellKind, CellReading, Doubt, GridReading, PageReading

PUZZLE = ".3.2..5.9.79..438..........3.27....5..8.3.4..4....26.7..........245..76.9.7..6.5."
EMPTY = "." * 81


@dataclass(frozen=True)
class Ran:
    """What a run of the command left behind."""

    code: int
    out: str
    err: str


@pytest.fixture
def puzzle() -> str:
    return PUZZLE


@pytest.fixture
def papernudge(capsys: pytest.CaptureFixture[str]) -> Callable[..., Ran]:
    """Runs the command in this process, as ``papernudge("hint", "--tell", 2)``."""

    def ran(*words: object) -> Ran:
        capsys.readouterr()
        code = run([str(word) for word in words])
        said = capsys.readouterr()
        return Ran(code, said.out, said.err)

    return ran


def leaning_mesh(cell: float = 60.0, at: tuple[float, float] = (90.0, 70.0)) -> Mesh:
    """A grid seen from the side and a little curled."""
    y, x = np.mgrid[0:10, 0:10].astype(np.float64)
    px = at[0] + cell * (x + 0.06 * y)
    py = at[1] + cell * (y - 0.05 * x + 0.1 * np.sin(np.pi * x / 9))
    return Mesh(np.stack([px, py], axis=2), np.ones((10, 10), np.bool_))


def reading(
    givens: str,
    entries: str = EMPTY,
    *,
    doubts: tuple[Doubt, ...] = (),
    mesh: Mesh | None = None,
    changed: dict[int, CellReading] | None = None,
) -> GridReading:
    cells = []
    for at, (g, e) in enumerate(zip(givens, entries, strict=True)):
        kind = CellKind.GIVEN if g != "." else CellKind.ENTRY if e != "." else CellKind.BLANK
        digit = None if kind is CellKind.BLANK else int(g if g != "." else e)
        cells.append((changed or {}).get(at, CellReading(kind, digit, 1.0)))
    mesh = mesh or leaning_mesh()
    return GridReading(
        GridKind.PUZZLE, mesh.corners, Quality(True), mesh, tuple(cells), doubts, (), 0.97
    )


@dataclass(frozen=True)
class Desk:
    """Files on a desk, and what a reader would make of them."""

    folder: Path
    says: Callable[..., Path]


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Desk:
    """``desk.says("breakfast.jpg", grid, ...)`` lays down a drawn photo that reads as these grids.

    Reading itself has its own tests; here it is replaced at its one seam, keyed by the pixels.
    """
    import cv2

    import papernudge.vision.read

    known: dict[bytes, Any] = {}

    def fake(pixels: Any, **_: Any) -> Any:
        return known[pixels.tobytes()[:3000]]

    monkeypatch.setattr(papernudge.vision.read, "read_page", fake)

    def says(name: str, *grids: Any, size: tuple[int, int] = (760, 720), turns: int = 0) -> Path:
        path = tmp_path / name
        page = np.full((size[1], size[0], 3), 228, np.uint8)
        page[:20, :50] = np.random.default_rng(len(known)).integers(0, 255, (20, 50, 3))
        for grid in grids:
            mesh = getattr(grid, "mesh", None)
            if mesh is not None:
                rims = [mesh.crossings[k] for k in range(10)]
                rims += [mesh.crossings[:, k] for k in range(10)]
                for rim in rims:
                    cv2.polylines(page, [np.round(rim).astype(np.int32)], False, (60, 60, 60), 1)
        cv2.imwrite(str(path.with_suffix(".png")), page)
        path.with_suffix(".png").rename(path)
        failed = len(grids) == 1 and not isinstance(grids[0], GridReading)
        known[page.tobytes()[:3000]] = grids[0] if failed else PageReading(size, grids, turns)
        return path

    return Desk(tmp_path, says)


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    encoding = "utf-8"

    def isatty(self) -> bool:
        return True


@pytest.fixture
def at_terminal(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Ran]:
    """Runs the command at a terminal where somebody types these lines."""

    def ran(typed: str, *words: object) -> Ran:
        streams = Terminal(typed), Terminal(), Terminal()
        for name, stream in zip(("stdin", "stdout", "stderr"), streams, strict=True):
            monkeypatch.setattr(sys, name, stream)
        code = run([str(word) for word in words])
        return Ran(code, streams[1].getvalue(), streams[2].getvalue())

    return ran


@pytest.fixture
def grid_says() -> Callable[..., GridReading]:
    return reading


@pytest.fixture
def mesh_at() -> Callable[..., Mesh]:
    return leaning_mesh
