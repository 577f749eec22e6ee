"""The shipped model: is it the one its manifest describes, and does it know digits?"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from papernudge.digits_model import scores, tensors
from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import FINE_SIDE, PAPER, SIDE, cut_patches

ROOT = Path(__file__).resolve().parents[2]


def fixture(name: str) -> list[Any]:
    """The raster of a drawn page and the truth of each of its puzzles."""
    import cv2

    truth = json.loads((ROOT / "fixtures" / f"{name}.jpg.json").read_text("utf-8"))
    flags = cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
    raster = cv2.imread(str(ROOT / "fixtures" / f"{name}.jpg"), flags)
    return [raster, *(grid for grid in truth["grids"] if grid["kind"] == "puzzle")]


def mesh_of(grid: dict[str, Any]) -> Mesh:
    """The grid's true crossings."""
    return Mesh(np.array(grid["crossings"]), np.ones((10, 10), np.bool_))


def test_no_patches_have_no_scores() -> None:
    none = scores.score(np.zeros((0, SIDE, SIDE, 3), np.uint8))
    assert none.digits.shape == (0, 10)
    assert none.features.shape == (0, tensors.FEATURES)


@pytest.mark.parametrize("grain", [0.0, 1.0, 2.0])
def test_blank_paper_is_blank(grain: float) -> None:
    noise = np.random.default_rng(1).normal(0, grain, (2, SIDE, SIDE, 3))
    said = scores.score((PAPER + noise).round().astype(np.uint8))
    assert (said.digits.argmax(axis=1) == 0).all()
    assert (said.notes < 0).all()


def test_every_row_of_chances_adds_up_to_one() -> None:
    noise = np.random.default_rng(3).integers(0, 256, (9, SIDE, SIDE, 3)).astype(np.uint8)
    said = scores.score(noise)
    assert np.exp(said.digits).sum(axis=1) == pytest.approx(1)
    assert np.exp(said.turned).sum(axis=1) == pytest.approx(1)


def test_the_model_is_small_and_is_the_one_in_the_manifest() -> None:
    data = scores.model_bytes()
    manifest = scores.manifest()
    assert len(data) == manifest["bytes"] <= 1.5 * 2**20
    assert hashlib.sha256(data).hexdigest() == manifest["sha256"]
    more = {name: scores.model_bytes(name) for name in ("closer", "notes")}
    assert all(len(held) == manifest[name]["bytes"] for name, held in more.items())
    assert len(data) + sum(map(len, more.values())) <= 1.5 * 2**20


def test_notes_are_read_from_fine_patches_and_paper_holds_none() -> None:
    blank = np.full((3, FINE_SIDE, FINE_SIDE), PAPER, np.uint8)
    assert scores.note_scores(blank).shape == (3, 9)
    assert (scores.note_scores(blank) < 0).all()
    assert scores.note_scores(blank[:0]).shape == (0, 9)


def test_the_manifest_states_what_a_user_of_the_model_must_know() -> None:
    manifest = scores.manifest()
    assert manifest["input"]["shape"] == ["n", 3, SIDE, SIDE]
    assert manifest["output"]["logits"] == list(tensors.NAMES)
    assert len(tensors.NAMES) == tensors.OUTPUTS
    assert all(source["licence"] for source in manifest["data"])
    assert manifest["commands"]
    for rate in manifest["accuracy"].values():
        assert all(0 <= r["right"] <= r["of"] for r in rate.values())


def test_the_order_of_patches_does_not_matter_nor_their_number() -> None:
    noise = np.random.default_rng(4).integers(0, 256, (100, SIDE, SIDE, 3)).astype(np.uint8)
    whole, features = scores.first_look(noise)
    parts = np.concatenate([scores.first_look(noise[:37])[0], scores.first_look(noise[37:])[0]])
    assert whole == pytest.approx(parts, abs=1e-3)
    page = scores.context(whole, features)
    closer = scores.closer_look(noise[:9], page)
    assert closer == pytest.approx(scores.closer_look(noise[8::-1], page)[::-1], abs=1e-3)
    # Where a cell stands on the page says nothing: no rule of the puzzle can have been learnt.
    assert closer == pytest.approx(scores.closer_look(noise[:9], page[::-1]), abs=1e-3)


def test_only_unsure_cells_are_looked_at_again_and_only_upright(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    raster, grid = fixture("clean")
    pixels = cut_patches(raster, mesh_of(grid)).pixels
    asked: list[int] = []
    closer = scores.closer_look

    def counted(cells: np.ndarray, page: np.ndarray, session: object = None) -> np.ndarray:
        asked.append(len(cells))
        return closer(cells, page, session)

    monkeypatch.setattr(scores, "closer_look", counted)
    scores.outputs(pixels)
    assert asked[0] <= 27
    asked.clear()
    scores.outputs(np.ascontiguousarray(np.rot90(pixels, 2, (1, 2))))
    assert not asked


def test_a_mark_that_only_the_page_explains_is_read_by_the_page() -> None:
    """The same tidy pen strokes among print of another colour, and among their own like."""
    raster, grid = fixture("kitchen-table")
    pixels = cut_patches(raster, mesh_of(grid)).pixels
    logits, features = scores.first_look(pixels)
    page = scores.context(logits, features)
    marked = np.flatnonzero(logits[:, tensors.DIGITS].argmax(axis=1) > 0)
    given = [c for c in marked if grid["givens"][c] != "."]
    among_entries = [c for c in marked if grid["entries"][c] != "."]
    whole = scores.closer_look(pixels[given], page)[:, tensors.HAND]
    alone = scores.closer_look(pixels[given], page[among_entries])[:, tensors.HAND]
    assert (whole < 0).all()
    assert alone.mean() > whole.mean()


@pytest.mark.parametrize("name", ["clean", "kitchen-table", "solved", "book"])
def test_the_fixtures_digits_are_known_cell_by_cell(name: str) -> None:
    raster, *grids = fixture(name)
    right = of = 0
    for grid in grids:
        said = scores.score(cut_patches(raster, mesh_of(grid)).pixels).digits.argmax(axis=1)
        want = [g if g != "." else e for g, e in zip(grid["givens"], grid["entries"], strict=True)]
        right += sum(".123456789"[d] == w for d, w in zip(said, want, strict=True))
        of += 81
    assert of >= 81
    assert right >= 0.99 * of
