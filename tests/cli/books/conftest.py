"""A shelf to digitise: a few drawn pages of the Tidewick Lantern, as photos, a PDF and a TIFF."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))  # what several folders of tests share

# Workers started by the tests are as busy as the machine: one thread each.
os.environ.setdefault("OMP_NUM_THREADS", "1")


@dataclass(frozen=True)
class Shelf:
    """``photos``: one drawn puzzle each; ``truth``: name to its givens. Never written to."""

    folder: Path
    truth: dict[str, str]

    @property
    def photos(self) -> list[Path]:
        return sorted(self.folder.glob("*.jpg"))


def photographed(lines: list[str], seed: int, each: int = 1, scale: float = 1.1) -> list[Any]:
    """Our own printed sheets as a camera would see them: pages, uint8 (H, W, 3), the puzzles and
    not their solutions. Lean, shade and noise differ with the seed.
    """
    import cv2
    import numpy as np
    import pypdfium2

    from papernudge.cli.books.printed import Layout, sheets

    rows = [
        {"givens": line, "solution": line, "minutes": 8.0, "source": "lantern", "page": 1}
        | {"number": 1, "hardest": None}
        for line in lines
    ]
    document = pypdfium2.PdfDocument(sheets(rows, Layout(each)))
    rng = np.random.default_rng(seed)
    out = []
    for page in range(-(-len(lines) // each)):
        flat = document[page].render(scale=scale).to_numpy()[..., :3]
        high, wide = flat.shape[:2]
        corners = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32)
        leant = corners + rng.uniform(-0.02, 0.02, (4, 2)).astype(np.float32) * wide
        seen = cv2.warpPerspective(
            flat, cv2.getPerspectiveTransform(corners, leant), (wide, high), borderValue=(90,) * 3
        )
        shade = np.linspace(1.0, rng.uniform(0.7, 0.9), wide)[None, :, None]
        out.append(np.clip(seen * shade + rng.normal(0, 2, seen.shape), 0, 255).astype(np.uint8))
    document.close()
    return out


@pytest.fixture(scope="session")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Shelf:
    import cv2

    from papernudge.hints.generate import puzzle
    from papernudge.hints.solver import solve_soon
    from papernudge.vision import read
    from papernudge.vision.photo import Photo, open_photo

    folder = tmp_path_factory.mktemp("shelf")
    truth = {}
    for number in range(6):
        line = puzzle(number, givens=26 + number)
        name = f"lantern-{number + 1}.jpg"
        cv2.imwrite(str(folder / name), photographed([line], number)[0])
        truth[name] = line
        photo = open_photo(folder / name)
        assert isinstance(photo, Photo)
        # What is forked from here to read it finds it read (see the conftest above).
        read.read_page(photo.pixels, solve=solve_soon)
    return Shelf(folder, truth)


@pytest.fixture(scope="session")
def published() -> Path:
    """The folder of fixtures, those of them that are digitised here read once for all tests."""
    from papernudge.hints.solver import solve_soon
    from papernudge.vision import read
    from papernudge.vision.photo import Photo, open_photo

    folder = Path(__file__).resolve().parents[3] / "fixtures"
    for name in ("misprint.jpg", "two-grids.jpg", "cut-off.jpg", "kitchen-table.jpg"):
        photo = open_photo(folder / name)
        assert isinstance(photo, Photo)
        read.read_page(photo.pixels, solve=solve_soon)
    return folder


@pytest.fixture
def rows(papernudge: Callable[..., Any], tmp_path: Path) -> Callable[[Path], list[Any]]:
    """A book's export as JSON, a row a puzzle."""

    def exported(book: Path) -> list[Any]:
        out = tmp_path / "rows.jsonl"
        ran = papernudge("export", book, "--to", out, "--force")
        assert ran.code == 0, ran.err
        return [json.loads(line) for line in out.read_text("utf-8").splitlines()]

    return exported


@pytest.fixture
def export_bytes(papernudge: Callable[..., Any], tmp_path: Path) -> Callable[[Path], bytes]:
    def exported(book: Path) -> bytes:
        out = tmp_path / "bytes.jsonl"
        ran = papernudge("export", book, "--to", out, "--force")
        assert ran.code == 0, ran.err
        return out.read_bytes()

    return exported


@pytest.fixture
def started() -> Callable[..., subprocess.Popen[str]]:
    """Starts the command as a process of its own."""

    def start(*words: object) -> subprocess.Popen[str]:
        command = [sys.executable, "-m", "papernudge.cli", *map(str, words)]
        return subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, encoding="utf-8"
        )

    return start


@pytest.fixture
def pages_of() -> Callable[..., list[Any]]:
    return photographed
