"""Same seed, same bytes; and each thing varies alone."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from samples import chosen

from papernudge.digits_model.training.pages import (
    MissingSuppliesError,
    Page,
    PageSpec,
    draw,
    preset,
)
from papernudge.digits_model.training.pages.fonts import (
    PackSupplies,
    Supplies,
    SystemSupplies,
    write_pack,
)
from papernudge.digits_model.training.pages.own import OwnSupplies
from papernudge.digits_model.training.pages.preview import contact_sheet, overlaid
from papernudge.digits_model.training.pages.printing import spread
from papernudge.digits_model.training.pages.strokes import samples, writer_split

Make = Callable[..., PageSpec]

# Fields of the camera and the paper: they change pixels, and of the truth at most places.
LOOKS: dict[str, Any] = {
    "given_ink": (60, 60, 200),
    "gain": 0.02,
    "mottle": 0.5,
    "thin_ink": (170, 170, 170),
    "thick_ink": (90, 90, 90),
    "dotted": True,
    "double": True,
    "thin": 0.01,
    "thick": 0.1,
    "outer": 0.0,
    "face": "another.ttf",
    "digit_high": 0.4,
    "digit_x": 0.05,
    "digit_y": -0.05,
    "shade": "blocks",
    "pen": "felt",
    "pen_ink": (20, 20, 200),
    "pen_width": 0.05,
    "pen_cover": 0.6,
    "entry_high": 0.4,
    "entry_vary": 0.02,
    "slant": 15.0,
    "wobble": 0.06,
    "writer": 3,
    "variants": 1.0,
    "crossing": 1.0,
    "note_style": "raster",
    "note_high": 0.2,
    "note_pencil": False,
    "tone": (200, 215, 220),
    "grain": 0.6,
    "through": 0.5,
    "creases": 2,
    "stains": 2,
    "specks": 9,
    "second": 0.5,
    "ring": True,
    "text": 3,
    "focus_blur": 1.5,
    "motion": 5.0,
    "upscaled": 0.6,
    "noise": 4.0,
    "white": 180.0,
    "black": 40.0,
    "gamma": 1.3,
    "cast": (1.0, 0.9, 0.8),
    "cast_drift": 0.2,
    "gradient": 0.4,
    "vignette": 0.4,
    "shadow": 0.5,
    "glare": 0.6,
    "sharpen": 1.0,
    "jpeg": 40,
    "turn": 25.0,
    "tilt": 20.0,
    "fov": 50.0,
    "lens": 0.05,
    "curl": 0.2,
    "share": 0.7,
    "off_x": 0.9,
}


def written(page: Page) -> list[Any]:
    return [
        (c.kind, c.digit, c.notes, c.struck_notes, c.struck_digit)
        for grid in page.truth.grids
        for c in grid.cells
    ]


@pytest.fixture(scope="module")
def base(still: Make) -> PageSpec:
    return still(
        11, fill=0.5, note_share=0.6, titles=True, neighbours=1.0, decoys=("text",), share=0.8,
        width=400, height=400, tilt=4.0, tilt_to=40.0, focus_blur=0.5,
    )  # fmt: skip


@pytest.fixture(scope="module")
def plain(base: PageSpec, own: OwnSupplies) -> Page:
    return draw(base, own)


@pytest.mark.parametrize("name", chosen(["easy", "newspaper", "hard", "cruel"], "newspaper"))
def test_the_same_seed_gives_the_same_bytes(own: OwnSupplies, name: str) -> None:
    one, two = (draw(preset(name, 21, width=500, height=400), own) for _ in range(2))
    assert one.image.tobytes() == two.image.tobytes()
    assert one.truth.as_json() == two.truth.as_json()


@pytest.mark.slow
def test_another_seed_gives_another_page(own: OwnSupplies) -> None:
    prints = {
        hashlib.sha256(draw(preset("easy", k, width=320, height=240), own).image).hexdigest()
        for k in range(6)
    }
    assert len(prints) == 6


@pytest.mark.parametrize("field", chosen(sorted(LOOKS), *sorted(LOOKS)[::4]))
def test_each_look_changes_the_photo_and_nothing_that_is_written(
    base: PageSpec, plain: Page, own: OwnSupplies, field: str
) -> None:
    other = draw(replace(base, **{field: LOOKS[field]}), own)
    assert (plain.image != other.image).any()
    whole = [g for g in plain.truth.grids if g.kind == "puzzle"]
    assert whole
    assert written(plain)[:81] == written(other)[:81]


@pytest.mark.parametrize(
    "field", ["focus_blur", "noise", "grain", "pen", "shadow", "jpeg", "face", "cast", "writer"]
)
def test_looks_move_no_crossing(base: PageSpec, plain: Page, own: OwnSupplies, field: str) -> None:
    other = draw(replace(base, **{field: LOOKS[field]}), own)
    for a, b in zip(plain.truth.grids, other.truth.grids, strict=True):
        assert np.array_equal(a.corners, b.corners)


def test_a_halftone_tint_is_about_as_dark_as_a_solid_one(still: Make, own: OwnSupplies) -> None:
    looks = {"shade": "all", "shade_ink": (190, 190, 190), "givens": 0, "width": 900, "height": 900}
    solid, dots = (draw(still(3, halftone=h, **looks), own).image for h in (0.0, 12.0))
    inside = np.s_[200:700, 200:700]
    assert abs(solid[inside].mean() - dots[inside].mean()) < 8
    assert dots[inside].std() > solid[inside].std()


@pytest.mark.parametrize("gain", [-2.0, -0.6, -0.1, 0.1, 0.6, 2.0])
def test_spread_ink_leaves_bare_paper_bare_and_a_digit_visible(gain: float) -> None:
    mask = np.zeros((60, 60), np.uint8)
    mask[15:45, 27:33] = 255
    moved = spread(mask, gain)
    assert moved[:10].max() == 0
    assert moved[:, :14].max() == 0
    assert moved[30, 30] > 150


def test_more_gain_makes_more_ink() -> None:
    mask = np.zeros((60, 60), np.uint8)
    mask[15:45, 27:33] = 255
    inks = [int(spread(mask, gain).sum()) for gain in (-1.0, -0.4, 0.0, 0.4, 1.0)]
    assert inks == sorted(inks)
    assert inks[0] < inks[-1]


def test_specks_change_no_label(still: Make, own: OwnSupplies) -> None:
    plain, dirty = (draw(still(4, specks=n), own) for n in (0, 14))
    assert (plain.image != dirty.image).any()
    assert plain.truth.as_json() == dirty.truth.as_json()


SIZES = [(640, 480), (333, 517), (1500, 1100)]


@pytest.mark.parametrize(("wide", "high"), chosen(SIZES, SIZES[1]))
def test_size_and_shape_of_the_photo_are_as_asked(own: OwnSupplies, wide: int, high: int) -> None:
    image = draw(preset("easy", 2, width=wide, height=high), own).image
    assert image.shape == (high, wide, 3)
    assert image.dtype == np.uint8


def test_writers_of_the_splits_are_disjoint(own: OwnSupplies) -> None:
    folk = samples(own).writers
    assert not set(folk["train"]) & set(folk["test"])
    assert not set(folk["train"]) & set(folk["calibrate"])
    assert all(writer_split(w) == split for split, ws in folk.items() for w in ws)


def test_the_stroke_file_has_five_test_writers_and_every_digit(system: Supplies) -> None:
    held = samples(system)
    assert [len(held.writers[s]) for s in ("train", "calibrate", "test")] == [20, 5, 5]
    assert all(
        len(held.of(w, d)) > 15 for ws in held.writers.values() for w in ws for d in range(1, 10)
    )


def test_a_typeface_that_is_absent_is_named_with_its_package() -> None:
    with pytest.raises(MissingSuppliesError, match="install"):
        SystemSupplies().digits("NoSuchFace.ttf")


def test_a_pack_draws_the_same_bytes_as_the_machine_it_was_made_on(
    system: Supplies, tmp_path: Path
) -> None:
    size = write_pack(tmp_path / "pack.npz")
    packed = PackSupplies(tmp_path / "pack.npz")
    assert size <= 12 * 2**20
    for name in ("newspaper", "hard"):
        spec = preset(name, 8, width=600, height=500)
        assert draw(spec, system).image.tobytes() == draw(spec, packed).image.tobytes()


@pytest.mark.slow
def test_the_preview_lays_truth_over_every_page(own: OwnSupplies) -> None:
    pages = [draw(preset("hard", k, width=400, height=300), own) for k in range(4)]
    assert overlaid(pages[0]).shape == pages[0].image.shape
    assert (overlaid(pages[0]) != pages[0].image).any()
    sheet = contact_sheet(pages, columns=3, side=200)
    assert sheet.shape == (2 * 222, 600, 3)
