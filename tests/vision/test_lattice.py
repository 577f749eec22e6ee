"""How many lines a board has and where they run, traced in what a network shows of a frame."""

from __future__ import annotations

import hashlib
from importlib import resources

import cv2
import numpy as np
import numpy.typing as npt
import pytest
from board_pages import RIM, UNIT, board_page

from papernudge.hints.generate import any_blocks, puzzle
from papernudge.hints.layout import Layout
from papernudge.vision.boards import cleaned as shown
from papernudge.vision.boards.lattice import lattice_in

Grey = npt.NDArray[np.uint8]
Points = npt.NDArray[np.float64]
BOARDS = [
    Layout.of_blocks(2, 2),
    any_blocks(3, 5),
    Layout.of_blocks(2, 3),
    any_blocks(3, 7),
    Layout.of_blocks(4, 2),
    Layout.of_blocks(3, 3),
    Layout.of_blocks(2, 5),
    Layout.of_blocks(3, 4),
    Layout.of_blocks(4, 4),
]


def page(layout: Layout, seed: int = 1, noise: float = 6.0, scale: float = 1.0) -> Grey:
    """A drawn board in grey, blurred and noisy, its lines and print paler by ``scale``."""
    givens = puzzle(seed, layout=layout) if layout.side < 10 else layout.blank
    grey = cv2.cvtColor(board_page(layout, givens), cv2.COLOR_BGR2GRAY).astype(np.float64)
    pale = 235 - scale * (235 - cv2.GaussianBlur(grey, (0, 0), 1.0))
    rough = pale + np.random.default_rng(seed).normal(0, noise, grey.shape)
    return np.clip(rough, 0, 255).astype(np.uint8)


def crossings(side: int) -> Points:
    at = RIM + UNIT * np.arange(side + 1.0)
    return np.stack(np.meshgrid(at, at), axis=-1)


def quad(side: int) -> Points:
    low, high = RIM, RIM + UNIT * side
    return np.array([[low, low], [high, low], [high, high], [low, high]], np.float64)


def off(found: object, true: Points) -> float:
    """Greatest distance of a lattice's crossings from the true ones, cells of UNIT pixels."""
    assert found is not None
    mesh = found.mesh.crossings  # type: ignore[attr-defined]
    assert mesh.shape == true.shape
    return float(np.linalg.norm(mesh - true, axis=-1).max()) / UNIT


@pytest.mark.parametrize("layout", BOARDS, ids=lambda board: str(board.side))
def test_the_lines_of_a_board_are_told_whatever_their_number(layout: Layout) -> None:
    found = lattice_in(page(layout), quad(layout.side))
    assert off(found, crossings(layout.side)) < 0.06
    assert found is not None
    assert found.side == layout.side
    assert found.seen.mean() > 0.95


@pytest.mark.parametrize("layout", [BOARDS[2], BOARDS[5]], ids=["6", "9"])
def test_lines_that_drown_in_noise_one_by_one_are_told_together(layout: Layout) -> None:
    grey = page(layout, noise=9.0, scale=0.12)  # lines of 23 grey levels
    assert off(lattice_in(grey, quad(layout.side)), crossings(layout.side)) < 0.15


def test_a_page_that_bends_by_half_a_cell_between_straight_sides_is_followed() -> None:
    layout = BOARDS[2]
    grey, true = page(layout), crossings(6)
    size = grey.shape[0]
    y, x = np.mgrid[0:size, 0:size].astype(np.float32)
    bow = 0.55 * UNIT * np.sin(np.pi * np.clip((x - RIM) / (6 * UNIT), 0, 1))
    bent = cv2.remap(grey, x, y - bow.astype(np.float32), cv2.INTER_LINEAR, borderValue=235)
    moved = true.copy()
    moved[..., 1] += 0.55 * UNIT * np.sin(np.pi * (true[..., 0] - RIM) / (6 * UNIT))
    assert off(lattice_in(np.asarray(bent, np.uint8), quad(6)), moved) < 0.1


@pytest.mark.parametrize("shift", [(20, -15), (-25, 10)])
def test_a_frame_that_lies_off_is_looked_at_again(shift: tuple[int, int]) -> None:
    layout = BOARDS[4]
    rough = quad(8) + np.array(shift) + np.array([[0, 9], [-12, 0], [8, 8], [0, -10]])
    assert off(lattice_in(page(layout), rough), crossings(8)) < 0.06


def test_a_crease_across_a_board_is_no_line_of_it() -> None:
    layout = BOARDS[0]
    grey = page(layout)
    at = RIM + int(1.6 * UNIT)
    cv2.line(grey, (at, 0), (at + 5, grey.shape[0]), 120, 2, cv2.LINE_AA)
    assert off(lattice_in(grey, quad(4)), crossings(4)) < 0.08


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_a_lying_board_is_told_as_it_lies(turns: int) -> None:
    grey = np.ascontiguousarray(np.rot90(page(BOARDS[3]), turns))
    assert off(lattice_in(grey, quad(7)), crossings(7)) < 0.06


def test_a_block_of_a_board_is_none() -> None:
    corners = quad(16)[0] + UNIT * 4 * np.array([[0, 0], [1, 0], [1, 1], [0, 1]])
    assert lattice_in(page(BOARDS[8]), corners) is None


def test_a_board_that_the_photo_cuts_is_none() -> None:
    grey = np.ascontiguousarray(page(BOARDS[5])[:, RIM + UNIT // 2 :])
    assert lattice_in(grey, quad(9) - [RIM + UNIT // 2, 0]) is None


def test_empty_frames_text_and_tables_are_none() -> None:
    chance = np.random.default_rng(3)
    empty = np.full((500, 500), 220, np.uint8)
    cv2.rectangle(empty, (60, 60), (440, 440), 40, 3)
    text = empty.copy()
    for row in range(80, 430, 24):
        words = "".join(chance.choice(list("abcdefg hi"), 24))
        cv2.putText(text, words, (70, row + 12), cv2.FONT_HERSHEY_SIMPLEX, 0.6, 40, 1)
    table = text.copy()
    for x in (140, 170, 330):
        cv2.line(table, (x, 60), (x, 440), 40, 1)
    corners = np.array([[60, 60], [440, 60], [440, 440], [60, 440]], np.float64)
    for grey in (empty, text, table, np.full((500, 500), 220, np.uint8)):
        assert lattice_in(grey, corners) is None


def test_the_network_is_the_one_that_its_manifest_describes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    data = resources.files("papernudge.vision.boards").joinpath("lines.onnx").read_bytes()
    told = shown.manifest()
    assert hashlib.sha256(data).hexdigest() == told["sha256"]
    assert len(data) == told["bytes"] < 40_000
    assert told["input"]["shape"] == [1, 1, shown.SIDE, shown.SIDE]
    monkeypatch.setattr(shown, "manifest", lambda: {"sha256": "0" * 64})
    with pytest.raises(RuntimeError, match=r"^lines\.onnx is not the file its manifest describes"):
        shown._session.__wrapped__()


def test_what_the_network_sees_is_the_frame_laid_square_against_its_paper() -> None:
    grey = page(BOARDS[2], noise=0)
    dim = np.asarray(grey * np.linspace(1, 0.5, grey.shape[1]), np.uint8)
    one, two = (shown.laid(picture, quad(6)).astype(int) for picture in (grey, dim))
    assert np.abs(one - two).mean() < 6  # light falls out
    low, high = shown.RIM, shown.SIDE - shown.RIM
    rims = [one[low - 1 : low + 1], one[high - 1 : high + 1]]
    assert all(np.median(rim[:, low:high]) > shown.PAPER + 60 for rim in rims)


def test_corners_that_make_no_frame_hold_no_lattice() -> None:
    grey = page(BOARDS[2])
    whole = quad(6)
    flat, inward, crossed, point, lost = (whole.copy() for _ in range(5))
    flat[1] = (whole[0] + whole[2]) / 2
    inward[1] = 0.8 * whole[0] + 0.2 * whole[2] - [5, -5]
    crossed[[1, 2]] = whole[[2, 1]]
    point[:] = whole[0]
    lost[2] = np.inf
    for corners in (flat, inward, crossed, point, lost):
        assert lattice_in(grey, corners) is None
    assert lattice_in(grey, whole) is not None
