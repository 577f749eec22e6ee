"""How finding learns what a plain 9×9 is: lattices that a program rules, and the fit."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from papernudge.digits_model.training import fit_kind
from papernudge.digits_model.training.ruled import SIDE, ruled
from papernudge.vision.flatten import refined


def test_the_same_number_rules_the_same_lattice_and_another_another() -> None:
    one, again, other = ruled(3), ruled(3), ruled(8)
    assert np.array_equal(one.view, again.view)
    assert np.array_equal(one.mesh, again.mesh)
    assert not np.array_equal(one.view, other.view)


@pytest.mark.parametrize("number", [1, 2, 4, 5, 7, 13])
def test_the_mesh_lies_on_the_lines_that_were_ruled(number: int) -> None:
    made = ruled(number)
    assert made.mesh.min() > 0
    assert made.mesh.max() < SIDE - 1
    flat = refined(made.view, [made.mesh])
    assert flat is not None
    cell = np.linalg.norm(made.mesh[9, 9] - made.mesh[0, 0]) / 12.7
    off = np.linalg.norm(flat.mesh.crossings - made.mesh, axis=-1)
    assert np.median(off) < 0.1 * cell


def test_half_of_them_are_plain_and_no_larger_grid_is() -> None:
    plain = [ruled(number).plain for number in range(40)]
    assert plain[0::5] == [True] * 8
    assert plain[1::5] == plain[2::5] == plain[3::5] == [False] * 8
    assert plain[4::5] == [True] * 8


def test_a_mesh_is_plain_on_its_own_puzzle_astray_beside_it_and_other_elsewhere() -> None:
    made = ruled(4).mesh
    puzzle = SimpleNamespace(corners=fit_kind.rim(made), crossings=np.rot90(made))
    cages = SimpleNamespace(corners=fit_kind.rim(made), crossings=None)
    cell = (made[0, 1] - made[0, 0]) * 1.0
    assert fit_kind.is_plain(made, [puzzle]) is True  # type: ignore[list-item]
    assert fit_kind.is_plain(made + cell, [puzzle]) is None  # type: ignore[list-item]
    assert fit_kind.is_plain(made, [cages]) is False  # type: ignore[list-item]
    assert fit_kind.is_plain(made, []) is False


def test_the_fit_finds_what_tells_and_shuns_calling_another_plain() -> None:
    pytest.importorskip("sklearn", reason="training is not installed: pip install -e '.[train]'")
    chance = np.random.default_rng(2)
    columns = chance.normal(0, 1, (4000, 3))
    plain = chance.random(4000) < 1 / (1 + np.exp(-2 * columns[:, 1]))
    start, *slopes = fit_kind.fitted(columns, plain).tolist()
    assert slopes == pytest.approx([0, 2, 0], abs=0.25)
    assert start == pytest.approx(-np.log(fit_kind.COST), abs=0.2)
