"""A grid laid flat by its mesh is looked at again: right meshes stay, wrong ones are moved."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from grid_pages import SQUARE, drawing, photo, turned_to_match

from papernudge.vision.crossings import Seen
from papernudge.vision.find import _looked_again
from papernudge.vision.find_again import look_again
from papernudge.vision.flatten import Flat, refined
from papernudge.vision.mesh import Mesh, Points, placed
from papernudge.vision.patches import sheet_map

FRAME = (640, 540)
CELL = 420 / 9


def grey(image: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    return np.ascontiguousarray(image[..., 0])


def mesh(crossings: Points) -> Mesh:
    return Mesh(crossings, np.ones((10, 10), bool))


def off(found: Points, true: Points) -> float:
    return float(np.linalg.norm(turned_to_match(found, true) - true, axis=-1).max()) / CELL


def test_a_right_mesh_shows_every_crossing_and_a_shifted_one_does_not() -> None:
    image, true = photo(drawing(), SQUARE, FRAME, bend=16)
    right = look_again(grey(image), mesh(true))
    assert right.blocks == 16
    assert right.worst > 0.6
    assert not right.lost
    aside = look_again(grey(image), mesh(true + 0.5 * CELL))
    assert aside.lost
    assert aside.fit < right.fit / 2


def test_paper_without_a_grid_shows_none() -> None:
    page = np.full((540, 640), 200, np.uint8)
    _, true = photo(drawing(), SQUARE, FRAME)
    blank = look_again(page, mesh(true))
    assert blank.lost
    assert blank.starts == []


@pytest.mark.parametrize("by", [(0.5, 0.5), (0.0, 1.0), (-0.45, 0.2)])
def test_another_look_says_where_a_mesh_should_lie(by: tuple[float, float]) -> None:
    image, true = photo(drawing(thin=1), SQUARE, FRAME, bend=10)
    again = look_again(grey(image), mesh(true + np.array(by) * CELL))
    assert min(off(start, true) for start in again.starts) < 0.25


def test_a_mesh_that_took_a_line_beside_the_grid_is_moved_back() -> None:
    def rule(page: npt.NDArray[np.uint8]) -> None:
        page[30:37, 90:630] = 40  # a rule a cell above the frame, as a neighbour's rim

    image, true = photo(drawing(thin=1, extra=rule), SQUARE, FRAME)
    taken = true.copy()
    taken[0] -= [0, CELL]
    flat = refined(grey(image), [taken])
    assert isinstance(flat, Flat)
    assert off(flat.mesh.crossings, true) > 0.5
    moved, again = _looked_again(grey(image), flat)
    assert off(moved.mesh.crossings, true) < 0.2
    assert again.blocks == 16


def test_places_in_cells_are_those_of_the_flat_sheet() -> None:
    _, true = photo(drawing(), [[60, 40], [500, 80], [560, 500], [30, 450]], FRAME, bend=9)
    sheet = sheet_map(mesh(true), 16, 40)
    cells = (np.stack(np.meshgrid(*[np.arange(len(sheet))] * 2), axis=-1) + 0.5 - 40) / 16
    assert np.abs(placed(mesh(true).crossings, cells) - sheet).max() < 1e-3


def test_a_grid_is_sketched_where_the_steps_told_mislead(monkeypatch: pytest.MonkeyPatch) -> None:
    image, true = photo(drawing(), [[150, 80], [500, 110], [590, 470], [60, 450]], FRAME)
    seen = Seen(grey(image))
    monkeypatch.setattr(seen, "_steps_at", lambda _: np.array([[60.0, 35.0], [-20.0, 40.0]]))
    best = seen.grids()[0]
    assert off(best.blocks, true[::3, ::3]) < 0.2
    assert best.chance > 0.6
