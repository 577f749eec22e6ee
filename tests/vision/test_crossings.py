"""The network of crossings: what it makes of small drawn pages, and what is made of it."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from grid_pages import RIM, SQUARE, UNIT, drawing, photo, turned_to_match

from papernudge.vision import crossings, find
from papernudge.vision.crossings import PAPER, Kind, Seen, between, relative
from papernudge.vision.find import find_grids
from papernudge.vision.find_net import looked_closer, sketched
from papernudge.vision.flatten import refined
from papernudge.vision.grid import GridKind

FRAME = (640, 540)
CELL = 420 / 9


def grey(image: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    return np.ascontiguousarray(image[..., 0])


def faint(image: npt.NDArray[np.uint8], share: float) -> npt.NDArray[np.uint8]:
    """The photo with only a share of its contrast."""
    return np.rint(190 + share * (image.astype(float) - 190)).astype(np.uint8)


def test_light_and_shade_fall_out_of_what_the_network_sees() -> None:
    image, _ = photo(drawing(), SQUARE, FRAME, noise=0.0)
    shade = np.linspace(0.4, 1.0, FRAME[0])[None]
    dim = np.rint(grey(image) * shade).astype(np.uint8)
    off = np.abs(relative(dim).astype(int) - relative(grey(image)))
    assert np.percentile(off, 98) <= 12
    assert np.ptp(relative(np.full((90, 120), 170, np.uint8))) == 0
    assert relative(np.full((90, 120), 170, np.uint8))[0, 0] == PAPER


def test_the_shipped_network_is_the_one_its_manifest_describes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    crossings._session.cache_clear()
    assert Seen(np.full((64, 96), 200, np.uint8)).grids() == []
    crossings._session.cache_clear()
    monkeypatch.setattr(crossings, "manifest", lambda: {"sha256": "another"})
    with pytest.raises(RuntimeError, match="install papernudge again"):
        Seen(np.full((64, 96), 200, np.uint8))


def test_a_plain_photo_of_one_grid_never_loads_the_network(monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse() -> Any:
        raise AssertionError("the network was asked")

    monkeypatch.setattr(crossings, "_session", refuse)
    image, _ = photo(drawing(), [[60, 20], [560, 20], [560, 520], [60, 520]], FRAME)
    assert [grid.kind for grid in find_grids(image)] == [GridKind.PUZZLE]
    with pytest.raises(AssertionError, match="was asked"):
        find_grids(faint(image, 0.05))


@pytest.mark.parametrize("turn", [0, 1, 2, 3])
def test_crossings_of_block_lines_are_seen_in_every_turn(turn: int) -> None:
    image, true = photo(drawing(), [[150, 80], [500, 110], [590, 470], [60, 450]], FRAME, bend=14)
    seen = np.rot90(grey(image), turn)
    (sketch,) = (s for s in Seen(np.ascontiguousarray(seen)).grids() if s.chance > 0.6)
    blocks = sketch.blocks
    high, wide = seen.shape
    for _ in range(turn):  # back as the photo was
        blocks = np.stack([high - 1 - blocks[..., 1], blocks[..., 0]], axis=-1)
        high, wide = wide, high
    off = np.linalg.norm(turned_to_match(blocks, true[::3, ::3]) - true[::3, ::3], axis=-1)
    assert off.max() < 0.15 * CELL
    assert sketch.kinds.argmax() == Kind.WHOLE
    across, down = sketch.corners[1] - sketch.corners[0], sketch.corners[3] - sketch.corners[0]
    assert across[0] * down[1] - across[1] * down[0] > 0


@pytest.mark.parametrize(
    ("share", "bend"), [(1.0, 24.0), (0.12, 0.0), (0.12, 24.0)], ids=["curl", "faint", "both"]
)
def test_curl_and_faint_lines_are_found_to_a_small_part_of_a_cell(
    share: float, bend: float
) -> None:
    flat = drawing(thin=1, thick=3)
    image, true = photo(flat, [[90, 40], [530, 90], [550, 430], [120, 470]], FRAME, bend=bend)
    (grid,) = find_grids(faint(image, share))
    assert grid.kind is GridKind.PUZZLE
    assert grid.mesh is not None
    off = np.linalg.norm(turned_to_match(grid.mesh.crossings, true) - true, axis=-1)
    assert np.percentile(off, 95) < 0.06 * CELL


def test_a_neighbours_corner_does_not_draw_a_side_away() -> None:
    true = np.stack(np.meshgrid(np.arange(4.0), np.arange(4.0)), axis=-1) * 90 + 50
    taken = true.copy()
    taken[3, :2] += [[28, 10], [19, 7]]  # a small grid touches there
    meshes = crossings._straightened(taken)
    off = [np.linalg.norm(mesh - true, axis=-1).max() for mesh in meshes]
    assert min(off) < 0.15 * 90  # it was a third of a block
    assert crossings._straightened(true) == []


def test_the_mesh_between_blocks_runs_through_them_and_bends_as_a_cubic() -> None:
    at = np.arange(10) / 3
    x, y = np.meshgrid(at, at)
    page = np.stack([90 * x + 4 * y**2, 90 * y + 3 * x**3 - 5 * x * y], axis=-1)
    assert np.abs(between(page[::3, ::3]) - page).max() < 1e-9


def test_a_small_grid_and_a_large_one_are_seen_on_one_page() -> None:
    frame = (1280, 1000)
    page, _ = photo(drawing(), [[40, 40], [940, 40], [940, 940], [40, 940]], frame)
    other, true = photo(drawing(seed=2), [[1010, 60], [1190, 60], [1190, 240], [1010, 240]], frame)
    page[:, 980:] = other[:, 980:]
    sketches, _, patches = sketched(grey(page), [])
    assert sorted(round(s.cell) for s in sketches) == [20, 100]
    assert patches == []
    small = min(sketches, key=lambda s: s.cell)
    mesh = turned_to_match(small.starts[0], true)
    assert np.linalg.norm(mesh - true, axis=-1).max() < 0.3 * 20


def test_no_patch_lies_on_a_known_grid() -> None:
    def cages(page: npt.NDArray[np.uint8]) -> None:
        page[90:150:4] = 90

    image, true = photo(drawing(16, 4, extra=cages), SQUARE, FRAME, size=16)
    assert sketched(grey(image), [])[2]
    ten = np.linspace(0, 16, 10).round().astype(int)
    known = true[np.ix_(ten, ten)]
    assert sketched(grey(image), [known])[1:] == ([None], [])  # its cells look too small to tell


def test_a_closer_look_starts_where_the_grid_lies() -> None:
    corners = [[300, 150], [420, 170], [400, 300], [290, 270]]
    image, true = photo(drawing(), corners, FRAME, blur=0.6)
    (sketch,) = (s for s in Seen(grey(image)).grids() if s.chance > 0.5)
    starts = looked_closer(grey(image), sketch)
    cell = 120 / 9
    off = [np.linalg.norm(turned_to_match(mesh, true) - true, axis=-1).max() for mesh in starts]
    assert min(off) < 0.2 * cell
    flat = refined(grey(image), starts)
    assert flat is not None
    assert np.linalg.norm(turned_to_match(flat.mesh.crossings, true) - true, axis=-1).max() < cell


def test_starts_that_fold_lead_to_no_mesh() -> None:
    page = np.full((400, 400), 200, np.uint8)
    assert refined(page, [np.zeros((10, 10, 2))]) is None


def test_on_one_page_known_grids_and_those_that_the_network_sees_are_told_once() -> None:
    frame = (1200, 620)
    page, _ = photo(drawing(seed=1), [[40, 60], [560, 60], [560, 580], [40, 580]], frame)
    other, _ = photo(
        drawing(thin=1, seed=2), [[640, 70], [1150, 90], [1160, 560], [630, 590]], frame, bend=20
    )
    page[:, 600:] = faint(other, 0.15)[:, 600:]
    assert [grid.kind for grid in find_grids(page)] == [GridKind.PUZZLE, GridKind.PUZZLE]


def _cages(page: npt.NDArray[np.uint8]) -> None:
    """Dashed rims around pairs of cells, with sums, farther inside than lines are looked for."""
    import cv2

    for r in range(9):
        for c in range(r % 2, 9, 2):
            x, y = RIM + c * UNIT + 12, RIM + r * UNIT + 12
            right, low = x + UNIT * min(2, 9 - c) - 24, y + UNIT - 24
            cv2.putText(
                page, str((r * 7 + c) % 17 + 3), (x + 1, y + 13), 0, 0.42, 60, 1, cv2.LINE_AA
            )
            for along in range(x, right, 10):
                page[[y, y + 1, low, low + 1], along : min(along + 6, right)] = 60
            for along in range(y, low, 10):
                page[along : min(along + 6, low), [x, x + 1, right, right + 1]] = 60


def test_of_a_grid_known_by_its_ink_the_network_tells_the_kind(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    frame = (1400, 760)
    page, _ = photo(drawing(seed=1), [[40, 60], [560, 60], [560, 580], [40, 580]], frame)
    right = [[680, 160], [1040, 160], [1040, 520], [680, 520]]
    other, _ = photo(drawing(filled=0.2, extra=_cages, seed=2), right, frame, blur=0.6)
    page[:, 600:] = other[:, 600:]
    assert [grid.kind for grid in find_grids(page)] == [GridKind.PUZZLE, GridKind.OTHER]
    monkeypatch.setattr(find, "sketched", lambda *_: ([], [None, None], []))
    assert [grid.kind for grid in find_grids(page)] == [GridKind.PUZZLE, GridKind.PUZZLE]
