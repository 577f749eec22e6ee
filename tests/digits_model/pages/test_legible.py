"""What presets keep so that a careful person could still read the page."""

from __future__ import annotations

import pytest

from papernudge.digits_model.training.pages import preset
from papernudge.digits_model.training.pages.legible import LIMITS, far_cell, narrowest_cell

ROLLED = 190251
"""Seed of a hard page on which a far grid would roll away to cells of four pixels."""


def test_a_roll_leaves_the_narrowest_cell_enough_pixels() -> None:
    steep = preset("hard", ROLLED, split="test", curl=0.35, curl_kind="roll")
    assert narrowest_cell(steep) < LIMITS["hard"].narrow < far_cell(steep)  # a field named stays
    spec = preset("hard", ROLLED, split="test")
    assert 0 < spec.curl < steep.curl
    assert narrowest_cell(spec) >= LIMITS["hard"].narrow


@pytest.mark.parametrize("seed", range(3))
def test_cells_of_a_flat_page_are_as_narrow_as_the_tilt_makes_them(seed: int) -> None:
    level = preset("newspaper", seed, split="test", curl=0.0, tilt=0.0)
    tilted = preset("newspaper", seed, split="test", curl=0.0, tilt=30.0)
    assert narrowest_cell(tilted) < narrowest_cell(level)
