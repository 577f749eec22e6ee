"""The network that reads numbers of two figures and letters: its manifest and its answers."""

from __future__ import annotations

import hashlib
from importlib import resources

import numpy as np
import pytest

from papernudge.digits_model import symbols as runner
from papernudge.digits_model.symbols import NAMES, read
from papernudge.digits_model.tensors import CELL, MARGIN, PAPER, SIDE
from papernudge.digits_model.training.pages import MissingSuppliesError

BLANK = np.full((1, SIDE, SIDE, 3), PAPER, np.uint8)


def test_the_file_is_the_one_its_manifest_describes_and_is_small() -> None:
    data = resources.files("papernudge.digits_model").joinpath("symbols.onnx").read_bytes()
    told = runner.manifest()
    assert told["sha256"] == hashlib.sha256(data).hexdigest()
    assert told["bytes"] == len(data) <= 150_000


def test_the_manifest_states_what_a_user_of_the_network_must_know() -> None:
    told = runner.manifest()
    assert told["output"]["names"] == [*NAMES, "handwritten"]
    assert told["input"]["shape"][2:] == [SIDE, SIDE]
    assert set(told["calibration"]) == {"signs", "hand"}
    assert told["data"]
    assert told["untaught"]
    assert told["commands"]
    assert told["training_log"]
    for figures in told["accuracy"].values():
        assert set(figures["classes"]) == set(NAMES)
        for rate in figures["sets"].values():
            low, high = rate["interval95"]
            assert low <= rate["right"] / rate["of"] <= high


def test_no_cells_are_read_as_none() -> None:
    said = read(np.zeros((0, SIDE, SIDE, 3), np.uint8))
    assert said.signs.shape == (0, len(NAMES))
    assert said.hand.shape == (0,)


def test_paper_is_blank_and_surely_so_between_the_lines_of_a_cell() -> None:
    ruled = BLANK.copy()
    for at in (MARGIN - 1, MARGIN + CELL):
        ruled[:, at] = ruled[:, :, at] = 120
    assert read(BLANK).signs[0].argmax() == 0
    assert np.exp(read(ruled).signs[0, 0]) > 0.99


@pytest.mark.slow
def test_cells_of_pages_that_training_never_saw_are_read() -> None:
    pytest.importorskip("torch")
    from papernudge.digits_model.training.symbols import gathered

    try:
        pixels, rows = gathered("test", 935_000_000, 6)
    except MissingSuppliesError as missing:
        pytest.skip(str(missing))
    said = read(pixels)
    best = said.signs.argmax(axis=1)
    assert (best == rows[:, 0]).mean() > 0.95
    sure = np.exp(said.signs.max(axis=1)) > 0.99
    assert (best == rows[:, 0])[sure].mean() > 0.99
    known = rows[:, 1] >= 0
    assert ((said.hand > 0)[known] == (rows[known, 1] == 1)).mean() > 0.9


def test_labels_follow_what_is_printed() -> None:
    pytest.importorskip("torch")
    from papernudge.digits_model.training.pages.truth import CellTruth, GridTruth
    from papernudge.digits_model.training.symbols import rows_of

    cells = [CellTruth("given", 12), CellTruth("entry", 9), CellTruth("notes", notes=[3])]
    grids = [
        GridTruth("puzzle", "", np.zeros((4, 2)), cells=cells, symbols=symbols)
        for symbols in ("figures", "letters")
    ]
    named = [[NAMES[k] for k in rows_of(grid)[:, 0]] for grid in grids]
    assert named == [["12", "9", "blank"], ["C", "9", "blank"]]
    assert rows_of(grids[0])[:, 1].tolist() == [0, 1, -1]
