"""What a reading knows is plain data: written out, read back elsewhere, it reads the same."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from papernudge.hints.solver import solve_soon
from papernudge.vision import read
from papernudge.vision.evidence import MOST_BYTES, Evidence, MisfitError, read_back, written
from papernudge.vision.reading import CellKind, GridReading, PageReading, Told
from papernudge.vision.reread import reread

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
ANSWERS = (Told(30, CellKind.ENTRY, 4), Told(2, None, None, frozenset({1, 2})), Told(70, None, 5))


PAGES = ["one-mistake.jpg", pytest.param("hard-shade.jpg", marks=pytest.mark.slow)]


@pytest.fixture(scope="module", params=PAGES)
def evidence(request: pytest.FixtureRequest) -> Evidence:
    image = cv2.imread(str(FIXTURES / request.param))
    assert image is not None
    page = read.read_page(np.asarray(image, np.uint8), solve=solve_soon)  # once for all rooms
    assert isinstance(page, PageReading)
    found = page.grids[0].evidence
    assert found is not None
    return found


@pytest.fixture(scope="module")
def data(evidence: Evidence) -> bytes:
    return written(evidence)


def told(grid: GridReading) -> str:
    """All that a reading says, chances to six digits."""
    cells = [
        [
            str(cell.kind),
            cell.digit,
            sorted(cell.notes),
            cell.struck,
            cell.seen,
            [round(chance, 6) for chance in (cell.chance, *cell.digit_chances, cell.notes_chance)],
        ]
        for cell in grid.cells
    ]
    doubts = [[d.cell, d.about, d.read, [digit for digit, _ in d.instead]] for d in grid.doubts]
    return json.dumps([cells, doubts, list(grid.restored), np.round(grid.corners, 9).tolist()])


@pytest.mark.slow
def test_read_back_in_another_process_it_answers_as_it_would_have_here(
    evidence: Evidence, data: bytes, tmp_path: Path
) -> None:
    file = tmp_path / "grid"
    file.write_bytes(data)
    assert file.stat().st_size <= MOST_BYTES
    program = (
        "import sys\nsys.path.insert(0, sys.argv[1])\nfrom pathlib import Path\n"
        "from test_evidence import ANSWERS, read_back, reread, solve_soon, told\n"
        "here, _ = read_back(Path(sys.argv[2]).read_bytes())\n"
        "print(*(told(reread(here, some, solve_soon)) for some in ((), ANSWERS)), sep='\\n')"
    )
    words = [sys.executable, "-c", program, str(Path(__file__).parent), str(file)]
    there = subprocess.run(words, capture_output=True, text=True, timeout=120, check=True)
    here = [told(reread(evidence, some, solve_soon)) for some in ((), ANSWERS)]
    assert there.stdout.splitlines() == here


def test_another_versions_reading_is_refused_with_a_sentence(
    data: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("papernudge.vision.evidence.this_reader", lambda: "9.9 feedc0de")
    with pytest.raises(MisfitError, match=r"another version .* here form 4, reader 9\.9 feedc0de"):
        read_back(data)


def test_what_is_no_reading_or_a_damaged_one_is_refused_with_a_sentence(data: bytes) -> None:
    good = data
    with np.load(io.BytesIO(good)) as file:
        arrays = {name: file[name] for name in file.files}
    lacking = {name: array for name, array in arrays.items() if name != "hand"}
    short = {**arrays, "digits": arrays["digits"][:80]}
    for data in (
        b"",
        b"hello",
        good[:-400],
        good[: len(good) // 2],
        *map(packed, (lacking, short)),
    ):
        with pytest.raises(MisfitError) as refused:
            read_back(data)
        assert str(refused.value).endswith("read the photo again.")


def packed(arrays: dict[str, np.ndarray]) -> bytes:
    out = io.BytesIO()
    np.savez(out, **arrays)
    return out.getvalue()
