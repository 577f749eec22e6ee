"""The whole road on the published fixtures: photo in, answer out, compared with the truth file."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]
FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
TRUTHS = sorted(FIXTURES.glob("*.json"))


def truth_of(path: Path) -> Any:
    return json.loads(path.read_text("utf-8"))


def first_puzzle(truth: Any) -> Any:
    return next((g for g in truth["grids"] if g["kind"] == "puzzle"), None)


def wrong_cells(grid: Any) -> set[str]:
    pairs = zip(grid["entries"], grid["solution"], strict=True)
    side = math.isqrt(len(grid["solution"]))
    return {
        f"R{c // side + 1}C{c % side + 1}" for c, (e, s) in enumerate(pairs) if e not in (".", s)
    }


def is_misprinted(grid: Any) -> bool:
    pairs = zip(grid["givens"], grid["solution"], strict=True)
    return any(g not in (".", s) for g, s in pairs)


def expected_check(grid: Any) -> tuple[int, str]:
    if is_misprinted(grid):
        return 4, "not one solution"
    if wrong_cells(grid):
        return 1, "mistaken"
    full = all(g != "." or e != "." for g, e in zip(grid["givens"], grid["entries"], strict=True))
    return 0, "solved" if full else "right so far"


@pytest.fixture(scope="module")
def unsure() -> list[str]:
    """Photos about which the reader asked first: allowed, but not often."""
    return []


def test_there_are_fixtures() -> None:
    assert len(TRUTHS) >= 8


@pytest.mark.parametrize("path", TRUTHS, ids=lambda p: p.name.split(".")[0])
def test_check_says_of_each_fixture_what_is_true_or_asks(
    papernudge: Run, path: Path, unsure: list[str]
) -> None:
    truth = truth_of(path)
    grid = first_puzzle(truth)
    ran = papernudge("check", path.with_suffix(""), "--tell", 3, "--json")
    told = json.loads(ran.out)
    if grid is None:
        assert ran.code == 3
        assert "error" in told
        return
    if told["state"] == "unsure":
        unsure.append(path.name)
        assert len(unsure) <= len(TRUTHS) // 4, unsure
        return
    code, state = expected_check(grid)
    assert told["state"] == state
    if not told.get("grids"):
        assert ran.code == code
    if state == "mistaken":
        assert {m["cell"] for m in told["mistakes"]} == wrong_cells(grid)


@pytest.mark.parametrize("path", TRUTHS, ids=lambda p: p.name.split(".")[0])
def test_hint_at_depth_4_gives_the_solutions_digits_on_every_fixture(
    papernudge: Run, path: Path
) -> None:
    grid = first_puzzle(truth_of(path))
    ran = papernudge("hint", path.with_suffix(""), "--tell", 4, "--json")
    told = json.loads(ran.out)
    if grid is None:
        assert ran.code == 3
        return
    if told["state"] != "open":
        assert told["state"] in ("unsure", "solved", "mistaken", "not one solution", "no step")
        assert told["nudge"] is None
        return
    assert expected_check(grid) == (0, "right so far")
    for place in told["nudge"]["places"]:
        row, column = map(int, place["cell"].removeprefix("R").split("C"))
        side = math.isqrt(len(grid["solution"]))
        assert int(grid["solution"][side * (row - 1) + column - 1], 36) == place["digit"]


def test_the_later_photo_is_known_to_be_the_same_puzzle(papernudge: Run) -> None:
    early, late = FIXTURES / "kitchen-table.jpg", FIXTURES / "kitchen-table-later.jpg"
    before, after = (first_puzzle(truth_of(Path(f"{p}.json"))) for p in (early, late))
    pairs = zip(before["entries"], after["entries"], strict=True)
    written = [c for c, (old, new) in enumerate(pairs) if new not in (old, ".")]
    ran = papernudge("check", late, "--since", early, "--json")
    told = json.loads(ran.out)
    assert ran.code in (0, 6)
    if ran.code == 0:
        assert told["since"]["written"] == [f"R{c // 9 + 1}C{c % 9 + 1}" for c in written]
    assert papernudge("hint", late, "--since", early).code in (0, 6)


def test_a_picture_of_a_sideways_photo_is_upright(papernudge: Run, tmp_path: Path) -> None:
    import cv2

    out = tmp_path / "out.png"
    ran = papernudge("hint", FIXTURES / "sideways.jpg", "--picture", out)
    assert ran.code == 0, ran.err
    picture = cv2.imread(str(out))
    assert picture is not None
    assert max(picture.shape) <= 1600
