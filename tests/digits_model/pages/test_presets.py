"""Presets: what they fix, and how hard their pages are at least."""

from __future__ import annotations

import json
from collections import Counter

import pytest

from papernudge.digits_model.training.pages import FLOORS, PRESETS, hardships, preset
from papernudge.digits_model.training.pages.fonts import designs, table
from papernudge.digits_model.training.pages.legible import (
    LIMITS,
    blur,
    darkest,
    least_cell,
    signal,
    smallest_note,
    upright_cell,
)
from papernudge.digits_model.training.pages.presets import LEAST_CELL
from papernudge.digits_model.training.pages.spec import SPLITS, from_json

pytestmark = pytest.mark.slow

SEEDS = range(80)


def test_an_unknown_preset_is_refused_with_the_known_names() -> None:
    with pytest.raises(ValueError, match="newspaper"):
        preset("lunar", 1)


@pytest.mark.parametrize("name", sorted(PRESETS))
def test_every_page_shows_as_many_hardships_as_its_preset_promises(name: str) -> None:
    counts = [len(hardships(preset(name, seed))) for seed in SEEDS]
    assert min(counts) >= FLOORS[name]


def test_presets_are_ordered_by_hardness() -> None:
    means = [
        sum(len(hardships(preset(name, seed))) for seed in SEEDS)
        for name in ("easy", "newspaper", "hard", "cruel")
    ]
    assert means == sorted(means)


@pytest.mark.parametrize("name", sorted(PRESETS))
def test_cells_are_never_smaller_than_the_preset_says(name: str) -> None:
    for seed in SEEDS:
        spec = preset(name, seed)
        cell = upright_cell(spec)
        grown_to_the_limit = max(spec.width, spec.height) > 2.5 * 1152
        assert cell > 0.98 * LEAST_CELL[name] or grown_to_the_limit


@pytest.mark.parametrize("name", sorted(PRESETS))
def test_no_digit_of_a_preset_is_blurred_or_noisy_beyond_reading(name: str) -> None:
    limits = LIMITS[name]
    for seed in SEEDS:
        spec = preset(name, seed)
        cell = least_cell(spec)
        assert spec.digit_high * cell > 0.98 * limits.digit * blur(spec) or blur(spec) < 0.75
        if spec.note_share:
            note = smallest_note(spec) * cell
            assert note > 0.98 * limits.note_px
            assert note > 0.98 * limits.note * blur(spec) or blur(spec) < 0.75
        assert signal(spec) > 0.98 * limits.signal * spec.noise or spec.noise <= 0.4
        assert darkest(spec) > 0.9 * limits.light


def test_fields_that_are_asked_for_are_kept_even_if_nobody_can_read_the_page() -> None:
    spec = preset("easy", 1, focus_blur=9.0, noise=60.0)
    assert (spec.focus_blur, spec.noise) == (9.0, 60.0)


def test_hard_pages_reach_the_tilt_the_curl_and_the_counts_that_tests_quote() -> None:
    specs = [preset("hard", seed) for seed in range(600)]
    assert max(s.tilt for s in specs) > 40
    assert max(s.curl for s in specs) > 0.45
    assert {s.grids for s in specs} == set(range(1, 9))
    assert sum(s.turn % 360 > 45 for s in specs) > 200


def test_an_override_leaves_all_other_fields_as_they_were() -> None:
    for seed in range(20):
        plain = preset("easy", seed).as_json()
        other = preset("easy", seed, tilt=7.0).as_json()
        assert {k for k in plain if plain[k] != other[k]} == {"tilt"}


def test_a_spec_survives_json() -> None:
    spec = preset("cruel", 5)
    assert from_json(json.loads(json.dumps(spec.as_json()))) == spec


@pytest.mark.parametrize("split", SPLITS)
def test_a_page_prints_only_typefaces_of_its_split(split: str) -> None:
    of = {face.file: face.split for face in table()}
    assert {of[preset("newspaper", k, split=split).face] for k in range(60)} == {split}


def test_no_design_family_is_in_two_splits() -> None:
    seen = Counter(design for split in SPLITS for design in designs(split))
    assert max(seen.values()) == 1


def test_every_typeface_names_its_package_and_a_licence() -> None:
    assert all(face.package and face.licence for face in table())
    assert len({face.file for face in table()}) == len(table())
