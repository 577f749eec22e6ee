"""The network that tells what is printed on a flat board: its file, its data, its answers."""

from __future__ import annotations

import hashlib
from importlib import resources
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from papernudge.digits_model.training.pages import (
    GridTruth,
    MissingSuppliesError,
    PageSpec,
    draw,
)
from papernudge.digits_model.training.sheets_truth import Sheet, recipe, rows_of, sheets_of, tones
from papernudge.vision.boards import printed as runner
from papernudge.vision.boards.printed import (
    BOARD_NAMES,
    CELL_NAMES,
    EDGE_NAMES,
    HEAVY,
    MARKS,
    place,
    read,
)
from papernudge.vision.boards.sheet import CELL, MARGIN, Flat, light


def page_of(spec: PageSpec) -> list[tuple[int, Sheet]]:
    try:
        return sheets_of(draw(spec), np.random.default_rng(spec.seed), 0.6)
    except MissingSuppliesError as missing:
        pytest.skip(str(missing))


def test_the_file_is_the_one_its_manifest_describes_and_is_small() -> None:
    data = resources.files("papernudge.vision.boards").joinpath("printed.onnx").read_bytes()
    told = runner.manifest()
    assert told["sha256"] == hashlib.sha256(data).hexdigest()
    assert told["bytes"] == len(data) <= 80_000


def test_the_manifest_states_what_a_user_of_the_network_must_know() -> None:
    told = runner.manifest()
    names = {"edges": EDGE_NAMES, "cells": CELL_NAMES, "board": BOARD_NAMES}
    assert told["output"]["names"] == {key: list(held) for key, held in names.items()}
    assert {k: len(v) for k, v in told["calibration"].items()} == {
        k: len(v) for k, v in names.items()
    }
    assert told["data"]
    assert told["commands"]
    assert told["training_log"]
    assert any("left out" in name for name in told["accuracy"])
    for figures in told["accuracy"].values():
        for name in figures.keys() - {"boards"}:
            for rate in filter(None, (figures[name]["there"], figures[name]["not there"])):
                low, high = rate["interval95"]
                assert low <= rate["right"] / rate["of"] <= high


@pytest.mark.parametrize("side", [4, 9, 16])
def test_boards_of_any_size_get_an_answer_for_each_edge_and_cell(side: int) -> None:
    said = read(np.zeros((3, side * CELL + 2 * MARGIN, side * CELL + 2 * MARGIN), np.float32))
    assert said.edges.shape == (len(EDGE_NAMES), 2, side, side - 1)
    assert said.cells.shape == (len(CELL_NAMES), side, side)
    assert said.board.shape == (len(BOARD_NAMES),)


def flat(seed: int = 3) -> npt.NDArray[np.uint8]:
    """A newspaper's grid without a digit."""
    pixels = np.full((9 * CELL + 2 * MARGIN,) * 2 + (3,), 225, np.uint8)
    for k in range(10):
        at, half = MARGIN + k * CELL, 2 if k % 3 == 0 else 1
        pixels[at - half : at + half] = pixels[:, at - half : at + half] = 70
    noise = np.random.default_rng(seed).normal(0, 3, pixels.shape)
    return np.clip(pixels + noise, 0, 255).astype(np.uint8)


def test_what_is_seen_turns_with_the_board() -> None:
    pixels = flat()
    pixels[:, MARGIN + 4 * CELL - 2 : MARGIN + 4 * CELL + 2] = 70  # heavy in one course alone
    upright = read(Flat(pixels, light(pixels)).planes).edges[HEAVY]
    turned = np.ascontiguousarray(pixels.swapaxes(0, 1))
    across = read(Flat(turned, light(turned)).planes).edges[HEAVY]
    assert ((upright > 0) == (across[::-1] > 0)).mean() > 0.99
    assert (upright[0, :, 3] > 0).all()


def test_the_diagonals_are_told_by_place() -> None:
    falling, rising = place(4)
    assert falling.argmax(axis=1).tolist() == [0, 1, 2, 3]
    assert rising.argmax(axis=1).tolist() == [3, 2, 1, 0]


# ------------------------------------------------------------- what it learns from


def test_the_truth_of_a_drawn_board_names_its_blocks_tints_and_lines() -> None:
    spec = recipe(5, kind="board", words="3x3 diagonals extra")
    ((side, sheet),) = page_of(spec)
    assert side == 9
    assert sheet.edges[HEAVY].sum() == 4 * 9
    assert (sheet.cells[0] == 1).sum() == 4 * 9
    assert sheet.cells[1].sum() == sheet.cells[2].sum() == 9
    assert sheet.board.tolist() == [1, 1, 0, 0, 0, 0, 0]
    assert sheet.pixels.shape == (9 * CELL + 2 * MARGIN,) * 2 + (3,)


@pytest.mark.parametrize(("words", "name"), [("cages", "cage"), ("dots", "dot"), ("signs", "sign")])
def test_the_truth_of_a_page_with_marks_names_the_marked_cells(words: str, name: str) -> None:
    ((_, sheet),) = page_of(recipe(9, kind="marks", words=words))
    assert (sheet.cells[CELL_NAMES.index(name)] == 1).any()
    assert [BOARD_NAMES[k] for k in np.flatnonzero(sheet.board)] == [name]


def test_a_newspapers_shaded_cells_are_tinted_and_no_more_is_told() -> None:
    spec = recipe(11, kind="plain", name="easy")
    grid = draw_or_skip(spec)
    edges, cells, board = rows_of(spec, grid)
    shaded = tones(spec, grid).min(axis=-1) < 255
    assert ((cells[0] == 1) == shaded).all() or (cells[0] == -1).any()
    assert not board.any()
    assert edges[HEAVY].sum() == 4 * 9


def draw_or_skip(spec: PageSpec) -> GridTruth:
    try:
        return draw(spec).truth.grids[0]
    except MissingSuppliesError as missing:
        pytest.skip(str(missing))


def test_marks_laid_on_a_board_are_told_cell_by_cell() -> None:
    from papernudge.digits_model.training.sheets_marks import KINDS, marked
    from papernudge.digits_model.training.sheets_truth import unmarked

    plain = unmarked(flat())
    for kind in range(KINDS):
        sheet = marked(plain, np.random.default_rng(kind), kind)
        names = {BOARD_NAMES[k] for k in np.flatnonzero(sheet.board)}
        assert names <= {*MARKS, "falling", "rising"}
        told = {name for k, name in enumerate(CELL_NAMES) if k and (sheet.cells[k] == 1).any()}
        assert told == names
        assert (sheet.pixels != plain.pixels).any()


def test_two_networks_with_one_look_become_one_file(tmp_path: Path) -> None:
    pytest.importorskip("onnx", reason="papernudge[train] is not installed")
    from papernudge.digits_model.files import session_of
    from papernudge.digits_model.training.twin import joined

    data = resources.files("papernudge.vision.boards").joinpath("printed.onnx").read_bytes()
    one, both = tmp_path / "one.onnx", tmp_path / "both.onnx"
    one.write_bytes(data)
    joined(one, one, {"cells": (3, 7), "board": (2, 6)}, both)
    planes = Flat(flat(), light(flat())).planes
    first, second = (runner.logits(planes, session_of(path.read_bytes())) for path in (one, both))
    assert all(np.array_equal(a, b) for a, b in zip(first, second, strict=True))
    assert both.stat().st_size < 1.1 * len(data)  # what is alike is kept once


def test_names_made_short_leave_a_network_as_it_was(tmp_path: Path) -> None:
    pytest.importorskip("onnx", reason="papernudge[train] is not installed")
    from papernudge.digits_model.files import session_of
    from papernudge.digits_model.training.slim import slim

    data = resources.files("papernudge.digits_model").joinpath("seen.onnx").read_bytes()
    path = tmp_path / "seen.onnx"
    path.write_bytes(data)
    assert slim(path) <= len(data)
    fed = {"sheets": np.random.default_rng(1).uniform(0, 255, (1, 3, 198, 198)).astype(np.float32)}
    one, two = (session_of(each).run(None, fed) for each in (data, path.read_bytes()))
    assert all(np.array_equal(a, b) for a, b in zip(one, two, strict=True))
