"""The network that says which cells can be seen: its manifest, and its answers on harmed pages."""

from __future__ import annotations

import hashlib
from importlib import resources

import cv2
import numpy as np
import pytest

from papernudge.digits_model import seen as runner
from papernudge.digits_model.seen import CELL, MARGIN, NAMES, SIDE, seen
from papernudge.digits_model.training.pages import MissingSuppliesError, draw, preset
from papernudge.digits_model.training.pages.harms import harm
from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import flat_sheet

MOST_BYTES = 1_800_000
"""All files of the digit model together."""


def test_the_file_is_the_one_its_manifest_describes_and_all_files_are_small() -> None:
    folder = resources.files("papernudge.digits_model")
    data = folder.joinpath("seen.onnx").read_bytes()
    told = runner.manifest()
    assert told["sha256"] == hashlib.sha256(data).hexdigest()
    assert told["bytes"] == len(data)
    names = ("model", "closer", "notes", "seen", "symbols")
    assert sum(len(folder.joinpath(f"{n}.onnx").read_bytes()) for n in names) <= MOST_BYTES


def test_the_manifest_states_what_a_user_of_the_network_must_know() -> None:
    told = runner.manifest()
    assert told["output"]["names"] == list(NAMES)
    assert told["input"]["shape"][2:] == [SIDE, SIDE]
    assert set(told["calibration"]) == set(NAMES)
    assert told["data"]
    assert told["commands"]
    assert told["training_log"]
    for figures in told["accuracy"].values():
        assert figures["unharmed cells told unseen"]["of"] > 0
        for name in NAMES:
            low, high = figures[name]["told so"]["interval95"]
            assert 0 <= low <= high <= 1


def test_nothing_can_be_seen_in_black() -> None:
    assert seen(np.zeros((SIDE, SIDE, 3), np.uint8)).seen.max() < 0.5


def _sheet(kind: str | None, level: float, seed: int) -> tuple[np.ndarray, np.ndarray]:
    try:
        page = draw(preset("newspaper", 85_000_000 + seed, split="test", grids=1, cut="",
                           width=640, height=480, focus="grid"))  # fmt: skip
    except MissingSuppliesError as missing:
        pytest.skip(str(missing))
    grid = next(g for g in page.truth.grids if g.kind == "puzzle")
    assert grid.crossings is not None
    mesh = Mesh(grid.crossings, np.ones((10, 10), bool))
    if kind is None:
        return flat_sheet(page.image, mesh, CELL, MARGIN), np.ones(81)
    harmed = harm(page.image, grid.crossings, kind, level, seed)
    return flat_sheet(harmed.image, mesh, CELL, MARGIN), harmed.seen


@pytest.mark.parametrize("seed", [0, 1, 3])
def test_every_cell_of_an_unharmed_page_is_seen(seed: int) -> None:
    assert seen(_sheet(None, 0, seed)[0]).seen.min() > 0.5


@pytest.mark.parametrize("kind", ["thumb", "glare", "torn", "page", "thing"])
def test_cells_mostly_hidden_are_told_so_and_plain_ones_are_not(kind: str) -> None:
    wrong = hidden = 0
    for seed in (0, 1, 3):
        sheet, truth = _sheet(kind, 4, seed)
        said = seen(sheet).seen
        assert (said[truth > 0.95] > 0.5).mean() > 0.98
        wrong += int((said[truth < 0.15] > 0.5).sum())
        hidden += int((truth < 0.15).sum())
    assert hidden > 3
    assert wrong <= 0.05 * hidden


def test_a_page_on_its_side_is_seen_the_same() -> None:
    sheet, truth = _sheet("thumb", 4, 1)
    turned = cv2.rotate(sheet, cv2.ROTATE_90_CLOCKWISE)
    back = np.rot90(seen(turned).seen.reshape(9, 9), 1).reshape(81)
    clear = (truth < 0.15) | (truth > 0.95)
    agrees = (back > 0.5) == (seen(sheet).seen > 0.5)
    assert agrees[clear].mean() > 0.97
