"""The shipped model: is it the one its manifest describes, and does it know digits?"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import numpy as np
import pytest

from papernudge.digits_model import layout, scores
from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import FINE_SIDE, PAPER, SIDE, cut_patches

ROOT = Path(__file__).resolve().parents[2]


def test_no_patches_have_no_scores() -> None:
    none = scores.score(np.zeros((0, SIDE, SIDE, 3), np.uint8))
    assert none.digits.shape == (0, 10)
    assert none.features.shape == (0, layout.FEATURES)


def test_blank_paper_is_blank() -> None:
    said = scores.score(np.full((2, SIDE, SIDE, 3), PAPER, np.uint8))
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
    notes = scores.model_bytes("notes")
    assert len(notes) == manifest["notes"]["bytes"]
    assert len(data) + len(notes) <= 1.5 * 2**20


def test_notes_are_read_from_fine_patches_and_paper_holds_none() -> None:
    blank = np.full((3, FINE_SIDE, FINE_SIDE), PAPER, np.uint8)
    assert scores.note_scores(blank).shape == (3, 9)
    assert (scores.note_scores(blank) < 0).all()
    assert scores.note_scores(blank[:0]).shape == (0, 9)


def test_a_model_that_the_manifest_does_not_describe_is_refused(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    told = {**scores.manifest(), "sha256": "0" * 64}
    monkeypatch.setattr(scores, "manifest", lambda: told)
    with pytest.raises(RuntimeError, match="install papernudge again"):
        scores.model_bytes()


def test_the_manifest_states_what_a_user_of_the_model_must_know() -> None:
    manifest = scores.manifest()
    assert manifest["input"]["shape"] == ["n", 3, SIDE, SIDE]
    assert manifest["output"]["logits"] == list(layout.NAMES)
    assert len(layout.NAMES) == layout.OUTPUTS
    assert all(source["licence"] for source in manifest["data"])
    assert manifest["commands"]
    for rate in manifest["accuracy"].values():
        assert all(0 <= r["right"] <= r["of"] for r in rate.values())


def test_the_order_of_patches_does_not_matter_nor_their_number() -> None:
    noise = np.random.default_rng(4).integers(0, 256, (100, SIDE, SIDE, 3)).astype(np.uint8)
    whole, _ = scores.raw_outputs(noise)
    parts = np.concatenate([scores.raw_outputs(noise[:37])[0], scores.raw_outputs(noise[37:])[0]])
    assert whole == pytest.approx(parts, abs=1e-3)


@pytest.mark.parametrize("name", ["clean", "kitchen-table", "solved", "book"])
def test_the_fixtures_digits_are_known_cell_by_cell(name: str) -> None:
    import cv2

    truth = json.loads((ROOT / "fixtures" / f"{name}.jpg.json").read_text("utf-8"))
    flags = cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
    raster = cv2.imread(str(ROOT / "fixtures" / f"{name}.jpg"), flags)
    right = of = 0
    for grid in truth["grids"]:
        if grid["kind"] != "puzzle":
            continue
        mesh = Mesh(np.array(grid["crossings"]), np.ones((10, 10), np.bool_))
        said = scores.score(cut_patches(raster, mesh).pixels).digits.argmax(axis=1)
        want = [g if g != "." else e for g, e in zip(grid["givens"], grid["entries"], strict=True)]
        right += sum(".123456789"[d] == w for d, w in zip(said, want, strict=True))
        of += 81
    assert of >= 81
    assert right >= 0.97 * of
