"""The truth is true: found again in the pixels."""

from __future__ import annotations

import json
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from samples import chosen

from papernudge.digits_model.training.pages import PageSpec, draw, preset
from papernudge.digits_model.training.pages.layout import lay_out
from papernudge.digits_model.training.pages.own import OwnSupplies
from papernudge.digits_model.training.pages.view import View, crossings, curl_of

Make = Callable[..., PageSpec]


def line_places(darkness: npt.NDArray[np.float64], low: int, high: int) -> npt.NDArray[np.float64]:
    """Centres of gravity of the runs of dark pixels between two places of one axis."""
    part = darkness[low:high]
    on = part > 0.25 * part.max()
    edges = np.flatnonzero(np.diff(np.concatenate([[0], on.astype(int), [0]])))
    spans = [(a - 2, b + 2) for a, b in edges.reshape(-1, 2)]
    return np.array([low + np.average(np.arange(a, b), weights=part[a:b]) for a, b in spans])


def test_lines_of_an_undistorted_page_lie_where_the_crossings_say(
    still: Make, own: OwnSupplies
) -> None:
    for seed in range(5):
        page = draw(still(seed, givens=0, outer=0.05, share=0.7 + 0.03 * seed), own)
        grid = page.truth.grids[0]
        assert grid.crossings is not None
        ink = 255.0 - page.image[..., 1]
        (x0, y0), (x1, y1) = grid.corners[0].astype(int), grid.corners[2].astype(int)
        room = int(0.4 * grid.cell_px)
        for r in range(9):  # a row may hold givens: look beside its upper line
            top = int(grid.crossings[r, 0, 1] + 0.12 * grid.cell_px)
            across = ink[top : top + 4].mean(axis=0)
            found = line_places(across, x0 - room, x1 + room)
            assert np.abs(found - grid.crossings[0, :, 0]).max() < 0.15
            left = int(grid.crossings[0, r, 0] + 0.12 * grid.cell_px)
            found = line_places(ink[:, left : left + 4].mean(axis=1), y0 - room, y1 + room)
            assert np.abs(found - grid.crossings[:, 0, 1]).max() < 0.15


@pytest.mark.parametrize(
    "bent",
    [
        {"turn": 33.0},
        {"tilt": 40.0, "tilt_to": 70.0},
        {"lens": 0.05},
        {"curl": 0.3, "curl_kind": "gutter", "tilt": 15.0},
        {"curl": 0.3, "curl_kind": "wave", "curl_axis": 30.0, "tilt": 20.0},
        {"curl": 0.25, "curl_kind": "roll", "curl_axis": 90.0, "tilt": 10.0, "lens": -0.03},
    ],
)
def test_crossings_of_a_bent_page_are_found_again_in_the_pixels(
    still: Make, own: OwnSupplies, bent: dict[str, float]
) -> None:
    import cv2

    spec = still(4, givens=0, width=1000, height=1000, focus_blur=0.8, **bent)
    grid = draw(spec, own).truth.grids[0]
    image = draw(spec, own).image
    assert grid.crossings is not None
    inner = grid.crossings[1:9, 1:9].reshape(-1, 1, 2).astype(np.float32)
    start = inner + np.random.default_rng(0).uniform(-1.5, 1.5, inner.shape).astype(np.float32)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 60, 1e-4)
    found = cv2.cornerSubPix(np.ascontiguousarray(image[..., 1]), start, (7, 7), (-1, -1), stop)
    away = np.linalg.norm(found - inner, axis=2)
    assert np.median(away) < 0.12
    assert np.percentile(away, 95) < 0.3


def test_page_and_photo_are_inverse_to_each_other(still: Make) -> None:
    for seed, kind in enumerate(("gutter", "wave", "roll", "fold")):
        spec = still(seed, curl=0.35, curl_kind=kind, tilt=30.0, turn=70.0, lens=0.04)
        view = View(spec, lay_out(spec))
        page = np.random.default_rng(seed).uniform(0, 9, (200, 2))
        back, _ = view.to_page(view.to_photo(page))
        assert np.abs(back - page).max() < 1e-3


@pytest.mark.slow
def test_no_part_of_a_bent_page_hides_another_grid_in_the_frame() -> None:
    for seed in range(120):
        spec = preset("cruel" if seed % 2 else "newspaper", seed)
        view = View(spec, lay_out(spec))
        for place in view.layout.places:
            page = crossings(place.box)
            at = view.to_photo(page)
            inside = ((at > 0) & (at < [spec.width - 1, spec.height - 1])).all(axis=1)
            back, _ = view.to_page(at)
            assert np.abs(back - page)[inside].max(initial=0) < 0.02


def test_an_unknown_kind_of_curl_is_refused_with_the_known_ones(still: Make) -> None:
    spec = still(1, curl=0.1, curl_kind="crumpled")
    with pytest.raises(ValueError, match="gutter"):
        View(spec, lay_out(spec))


def test_what_lies_above_the_horizon_is_not_on_the_page(still: Make) -> None:
    for curl in (0.0, 0.2):
        spec = still(1, tilt=50.0, tilt_to=90.0, fov=100.0, curl=curl, curl_kind="roll")
        view = View(spec, lay_out(spec))
        rows = np.array([(x, y) for x in (0.0, 320.0, 639.0) for y in (0.0, 639.0)])
        page, _ = view.to_page(rows)
        far = np.abs(page).max(axis=1) > 100
        assert far.sum() == 3


@pytest.mark.parametrize(
    ("kind", "curl"),
    [("gutter", 0.05), ("gutter", 0.2), ("wave", 0.3), ("fold", 0.4), ("roll", 0.5), ("wave", 0.5)],
)
def test_the_page_curls_by_as_many_cells_as_asked(still: Make, kind: str, curl: float) -> None:
    reached = []
    for seed in range(6):
        spec = still(seed, curl=curl, curl_kind=kind, tilt=25.0, tilt_to=60.0 * seed)
        reached.append(View(spec, lay_out(spec)).curl)
    assert np.median(reached) == pytest.approx(curl, rel=0.1)
    assert max(reached) < 1.25 * curl


def test_a_gutter_too_steep_to_see_into_curls_less_than_asked_and_the_truth_says_so(
    still: Make,
) -> None:
    spec = still(1, curl=0.6, curl_kind="gutter")
    view = View(spec, lay_out(spec))
    assert 0.15 < view.curl < 0.5


def test_a_flat_page_has_no_curl(still: Make, own: OwnSupplies) -> None:
    grid = draw(still(2, tilt=40.0, turn=15.0), own).truth.grids[0]
    assert grid.curl < 1e-6
    assert grid.crossings is not None
    assert curl_of(grid.crossings.reshape(-1, 2)) < 1e-6


def test_ink_boxes_hold_all_ink_and_blanks_hold_none(still: Make, own: OwnSupplies) -> None:
    spec = still(
        7, fill=0.5, pen_ink=(0, 0, 0), given_ink=(0, 0, 0), circled=0.0, width=800, height=800
    )
    page = draw(spec, own)
    grid = page.truth.grids[0]
    assert grid.crossings is not None
    ink = 255.0 - page.image.min(axis=2)
    for i, cell in enumerate(grid.cells):
        (x0, y0), (x1, y1) = grid.crossings[i // 9, i % 9], grid.crossings[i // 9 + 1, i % 9 + 1]
        inside = ink[int(y0) + 6 : int(y1) - 5, int(x0) + 6 : int(x1) - 5].copy()
        if cell.kind == "blank":
            assert inside.max() < 40
            continue
        assert cell.ink is not None
        assert inside.max() > 120
        bx0, by0, bx1, by1 = (round(v) for v in cell.ink)
        left, top = int(x0) + 6, int(y0) + 6
        inside[
            max(0, by0 - top - 2) : max(0, by1 - top + 3),
            max(0, bx0 - left - 2) : max(0, bx1 - left + 3),
        ] = 0
        assert inside.max() < 90


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
def test_a_grid_cut_by_the_frame_is_said_to_be(still: Make, own: OwnSupplies, side: str) -> None:
    grid = draw(still(3, cut=side, cut_cells=1.5), own).truth.grids[0]
    assert grid.kind == "cut off"
    out = (grid.corners < -0.5) | (grid.corners > 639.5)
    assert out.any(axis=1).sum() == 2


def test_a_page_without_a_grid_has_none(still: Make, own: OwnSupplies) -> None:
    page = draw(still(3, grids=0, neighbours=1.0, decoys=("text", "table", "crossword")), own)
    assert page.truth.grids == []
    assert page.truth.decoys


@pytest.mark.parametrize("count", chosen([*range(1, 9)], 1, 4))
def test_as_many_puzzles_as_asked_are_wholly_in_the_frame(
    still: Make, own: OwnSupplies, count: int
) -> None:
    page = draw(still(count, grids=count, focus="page"), own)
    whole = [g for g in page.truth.grids if g.kind == "puzzle"]
    assert len(whole) == count
    assert len({g.givens for g in whole}) == count


OTHERS = ["4x4", "6x6", "16x16", "irregular", "cages", "diagonals"]


@pytest.mark.parametrize("name", chosen(OTHERS, "6x6", "cages"))
def test_grids_of_another_kind_are_marked_other_and_named(
    still: Make, own: OwnSupplies, name: str
) -> None:
    page = draw(still(5, decoys=(name,), neighbours=1.0, share=0.28), own)
    kinds = {(g.kind, g.name) for g in page.truth.grids}
    assert ("other", name) in kinds


def test_a_small_solved_grid_is_full_and_its_digits_are_a_solution(
    still: Make, own: OwnSupplies
) -> None:
    page = draw(still(6, decoys=("small solved",), neighbours=1.0, share=0.28), own)
    full = [g for g in page.truth.grids if g.kind == "full"]
    assert full
    cells = np.array([int(d) for d in full[0].givens]).reshape(9, 9)
    assert all(sorted(house) == list(range(1, 10)) for house in (*cells, *cells.T))


def test_truth_is_plain_json(still: Make, own: OwnSupplies) -> None:
    page = draw(still(1, fill=0.4, note_share=0.5, struck=0.2), own)
    told = json.loads(json.dumps(page.truth.as_json()))
    assert told["size"] == [640, 640]
    assert len(told["grids"][0]["cells"]) == 81
