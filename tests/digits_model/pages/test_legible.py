"""What presets keep so that a careful person could still read the page."""

from __future__ import annotations

import pytest

from papernudge.digits_model.training.pages import draw, preset
from papernudge.digits_model.training.pages.legible import (
    LIMITS,
    far_cell,
    least_cell,
    narrowest_cell,
    room_for_notes,
)
from papernudge.digits_model.training.pages.own import OwnSupplies

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


@pytest.mark.slow
@pytest.mark.parametrize("name", ["newspaper", "hard"])
def test_notes_are_drawn_as_high_as_their_preset_says(name: str, own: OwnSupplies) -> None:
    sides = []
    for seed in range(40):
        spec = preset(name, 60 + seed, split="test", grids=1, fill=0.4)
        if spec.note_share == 0:
            continue
        cells = (c for g in draw(spec, own).truth.grids if g.kind == "puzzle" for c in g.cells)
        for cell in cells:
            if cell.ink is not None and len(cell.notes + cell.struck_notes) == 1 and not cell.digit:
                left, top, right, bottom = cell.ink
                sides.append(max(right - left, bottom - top))
    assert len(sides) > 80
    # The ink is a pen's width higher than the note, which a hand varies by 7 %.
    assert min(sides) > 1.2 * LIMITS[name].note_px


def test_a_page_with_notes_gets_the_pixels_that_they_need() -> None:
    bare = preset("hard", 5, split="test", grids=1, note_share=0.0, tilt=0.0, curl=0.0)
    noted = preset("hard", 5, split="test", grids=1, note_share=0.6, tilt=0.0, curl=0.0)
    assert noted.width * noted.height > bare.width * bare.height
    assert least_cell(noted) > 0.98 * room_for_notes(noted) > least_cell(bare)
