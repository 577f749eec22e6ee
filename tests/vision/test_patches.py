"""From crossings to patches: geometry that can be checked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import CELL, MARGIN, PAPER, SIDE, cut_patches, flat_sheet, sheet_map


def square(side: float, left: float = 20.0, top: float = 30.0) -> Mesh:
    at = np.arange(10) * side
    x, y = np.meshgrid(left + at, top + at)
    return Mesh(np.stack([x, y], axis=-1), np.ones((10, 10), np.bool_))


def test_a_blank_page_gives_81_even_patches() -> None:
    pixels = cut_patches(np.full((400, 400, 3), 120, np.uint8), square(38)).pixels
    assert pixels.shape == (81, SIDE, SIDE, 3)
    assert (np.abs(pixels.astype(int) - PAPER) <= 1).all()


def test_a_grid_at_the_rasters_edge_still_gives_patches() -> None:
    pixels = cut_patches(np.full((330, 330, 3), 200, np.uint8), square(36, 1.0, 1.0)).pixels
    assert pixels.shape == (81, SIDE, SIDE, 3)


def test_the_sheet_maps_crossings_to_where_cells_meet() -> None:
    mesh = square(40)
    where = sheet_map(mesh)
    # Cell borders lie between sheet pixels: the mean of the four around one is the crossing.
    for r, c in ((0, 0), (3, 5), (9, 9)):
        y, x = MARGIN + r * CELL, MARGIN + c * CELL
        around = where[y - 1 : y + 1, x - 1 : x + 1].reshape(-1, 2).mean(axis=0)
        assert around == pytest.approx(mesh.crossings[r, c], abs=1e-3)


def test_one_resampling_keeps_a_picture_of_the_same_scale() -> None:
    rng = np.random.default_rng(2)
    side = 9 * CELL + 2 * MARGIN
    raster = rng.integers(0, 256, (side, side, 3)).astype(np.uint8)
    mesh = square(CELL, MARGIN - 0.5, MARGIN - 0.5)
    assert (flat_sheet(raster, mesh) == raster).mean() > 0.99


@pytest.mark.parametrize("turns", [0, 1, 2, 3])
def test_turning_patches_is_turning_the_mesh(turns: int) -> None:
    rng = np.random.default_rng(3)
    raster = np.kron(rng.integers(60, 256, (50, 50, 3)), np.ones((8, 8, 1))).astype(np.uint8)
    mesh = square(36)
    turned = cut_patches(raster, mesh.turned(turns)).pixels.astype(int)
    same = cut_patches(raster, mesh).turned(turns).pixels.astype(int)
    assert np.abs(turned - same).mean() < 1.0


def test_shade_and_cast_drop_out_and_ink_stays() -> None:
    page = np.full((400, 400, 3), 220.0)
    page[45:60, 32:44] = (150, 60, 40)
    shade = np.linspace(1.0, 0.5, 400)[None, :, None] * np.array([0.8, 1.0, 0.9])
    plain = cut_patches(page.astype(np.uint8), square(38)).pixels[0].astype(int)
    shaded = cut_patches((page * shade).astype(np.uint8), square(38)).pixels[0].astype(int)
    assert np.abs(plain - shaded).mean() < 4
    assert plain.min() < 80
