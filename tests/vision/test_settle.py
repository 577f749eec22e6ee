"""A mesh is put back on the sheet of paper that most of it lies on."""

from __future__ import annotations

import numpy as np

from papernudge.vision.flatten import homography, lattice, project
from papernudge.vision.mesh import Mesh
from papernudge.vision.settle import settle

CELL = 40.0


def flat() -> np.ndarray:
    """A page seen at a slant, (10, 10, 2)."""
    corners = np.array([(30, 40), (9 * CELL, 20), (9 * CELL + 40, 9 * CELL), (10, 9 * CELL + 30)])
    return project(homography(corners.astype(np.float64)), lattice())


def curled(most: float) -> np.ndarray:
    """The same page with its right side curling up, towards the end by ``most`` cells."""
    crossings = flat()
    beyond = np.clip((lattice()[..., 0] - 0.55) / 0.45, 0, 1) ** 2
    crossings[..., 0] -= most * CELL * beyond
    return crossings


def covered(crossings: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """A cup at the right side: four ends of rows lie on its rim; and which crossings are seen."""
    moved = crossings.copy()
    by = np.array([0.3, 0.8, 0.9, 0.5])[:, None] * (crossings[3:7, 8] - crossings[3:7, 9])
    moved[3:7, 9] += by
    moved[3:7, 8] += 0.4 * by
    seen = np.ones((10, 10), np.bool_)
    seen[3:7, 9] = False
    return moved, seen


def off(one: np.ndarray, two: np.ndarray) -> float:
    return float(np.linalg.norm(one - two, axis=-1).max()) / CELL


def nothing() -> np.ndarray:
    return np.zeros(81, np.bool_)


def test_a_mesh_on_its_sheet_stays_as_it_is() -> None:
    for crossings in (flat(), curled(0.4)):
        mesh = Mesh(crossings, np.ones((10, 10), np.bool_))
        held = settle(mesh, nothing)
        assert held.mesh is mesh
        assert not held.strays.any()
        assert not held.lost


def test_ends_of_lines_on_a_cups_rim_go_back_to_where_the_paper_has_them() -> None:
    for paper in (flat(), curled(0.25)):
        moved, seen = covered(paper)
        assert off(moved, paper) > 0.7
        held = settle(Mesh(moved, seen), nothing)
        assert off(held.mesh.crossings, paper) < 0.25
        assert held.strays[4:6, 9].all()
        assert not held.mesh.seen[4:6, 9].any()
        assert held.strained.reshape(9, 9)[4, 8]
        assert not held.strained.reshape(9, 9)[:, :6].any()


def test_lines_that_were_all_seen_are_a_curl_unless_something_befell_the_cells() -> None:
    moved, _ = covered(flat())
    mesh = Mesh(moved, np.ones((10, 10), np.bool_))
    assert settle(mesh, nothing).mesh is mesh
    harmed = np.zeros((9, 9), np.bool_)
    harmed[4, 8] = True
    assert off(settle(mesh, lambda: harmed.reshape(81)).mesh.crossings, flat()) < 0.25


def test_a_mesh_that_skipped_a_line_is_lost() -> None:
    crossings = flat()
    skipped = crossings.copy()
    skipped[4:9] = crossings[5:10]
    skipped[9] = 2 * crossings[9] - crossings[8]
    skipped[:5] += (
        0.3
        * (np.roll(crossings, -1, axis=0) - crossings)[:5]
        * np.linspace(-1, 1, 5)[:, None, None]
    )
    seen = np.ones((10, 10), np.bool_)
    seen[9] = False
    assert settle(Mesh(skipped, seen), nothing).lost


def test_what_strayed_turns_with_the_page() -> None:
    moved, seen = covered(flat())
    held = settle(Mesh(moved, seen), nothing)
    turned = held.turned(1)
    assert (turned.strays == np.rot90(held.strays, -1)).all()
    assert np.allclose(turned.mesh.crossings, held.mesh.turned(1).crossings)


def columns(widths: np.ndarray) -> Mesh:
    """A mesh whose columns have these widths, cells, all its crossings seen."""
    x = np.concatenate([[0.0], np.cumsum(widths)])
    crossings = np.stack(np.meshgrid(x, np.arange(10.0)), axis=-1) * CELL
    return Mesh(crossings, np.ones((10, 10), np.bool_))


def test_two_columns_taken_for_one_or_one_for_two_are_lost_whichever_way_the_page_lies() -> None:
    """Although every line was seen, and seven of nine columns are right."""
    for place in (0, 3, 8):
        for width in (2.0, 0.5):
            widths = np.ones(9)
            widths[place] = width
            mesh = columns(widths)
            assert settle(mesh, nothing).lost
            assert settle(mesh.turned(1), nothing).lost


def test_a_page_that_bends_away_or_is_seen_at_a_slant_is_not_lost() -> None:
    """The outer half of it by up to 45 degrees, as beside the spine of a book."""
    along = np.maximum(np.arange(9) + 0.5 - 4.5, 0) / 4.5
    for most in (20, 35, 45):
        assert not settle(columns(np.cos(np.radians(most) * along)), nothing).lost
    assert not settle(columns(0.94 ** np.arange(9)), nothing).lost


def test_where_much_is_covered_lines_that_follow_its_edge_do_not_bend_the_sheet() -> None:
    """A thumb over a quarter: the lines beyond it were taken for others, one of them seen so."""
    paper = flat()
    moved, seen = paper.copy(), np.ones((10, 10), np.bool_)
    moved[:3, :5] += np.linspace(0.6, 0.2, 5)[:, None] * (paper[1, 0] - paper[0, 0])
    seen[1:6, :4] = False
    assert off(moved, paper) > 0.5
    held = settle(Mesh(moved, seen), nothing)
    assert off(held.mesh.crossings, paper) < 0.2
    assert not held.mesh.seen[:3, :3].any()
