"""A sample of the real photos, the whole road; ``bench_photos.py`` runs them all."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest


@pytest.fixture(scope="module")
def bench() -> ModuleType:
    path = Path(__file__).with_name("bench_photos.py")
    spec = importlib.util.spec_from_file_location("bench_photos", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_judge_of_digits_can_say_no(bench: ModuleType) -> None:
    givens = [0] * 81
    givens[1:9] = [1, 2, 3, 4, 5, 6, 7, 8]
    assert bench.only_digit(givens, 0, 9)
    assert not bench.only_digit(givens, 0, 1)
    assert not bench.only_digit(givens, 40, 5)


def test_hints_on_real_photos_are_right_and_tell_no_more_than_asked(
    bench: ModuleType, data_dir: Path
) -> None:
    photos = sorted((data_dir / "photos" / "printed").glob("*.jpg"))[::12]
    results = {photo.name: bench.judge(photo) for photo in photos}
    assert {name: fault for name, (_, fault) in results.items() if fault} == {}
    opened = sum(state == "open" for state, _ in results.values())
    assert opened >= 0.85 * len(photos)
