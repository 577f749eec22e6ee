"""A sample of the bad files that ``bench_bad_files.py`` feeds to the commands."""

from __future__ import annotations

import importlib.util
import sys
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from samples import chosen

from papernudge.vision.failure import Failure

Run = Callable[..., Any]


def beside(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def bench() -> ModuleType:
    return beside("bench_bad_files")


@pytest.fixture(scope="module")
def crafted() -> dict[str, Any]:
    return dict(beside("crafted").CRAFTED)


def one_sentence(text: str) -> bool:
    return text.count("\n") == 1 and text.endswith(".\n") and "Traceback" not in text


@pytest.mark.slow
def test_damaged_files_end_in_a_sentence_and_a_known_code(
    bench: ModuleType, papernudge: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opening is what damaged bytes strain; what opens is taken for a page without a grid."""
    none = Failure("find", "no grid", "No 9×9 grid was found in the photo.")
    monkeypatch.setattr("papernudge.vision.read.read_page", lambda *_, **__: none)
    ends = set()
    for number, (kind, how, data) in enumerate(bench.cases(140, 7)):
        path = tmp_path / f"{number}.jpg"
        path.write_bytes(data)
        ran = papernudge("read", path, "--json")
        assert ran.code in (3, 5), (kind, how, ran.err)
        assert one_sentence(ran.err), (kind, how, ran.err)
        ends.add(ran.code)
    assert ends == {3, 5}


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("TIFF of a row of 4 billion", "damaged"),
        ("JPEG with 2 MB of Exif", "damaged"),
        ("16 × 16,000 pixels", "no grid"),
        ("nothing", "empty"),
    ],
)
def test_a_crafted_file_ends_in_a_sentence(
    papernudge: Run, crafted: dict[str, Any], tmp_path: Path, name: str, reason: str
) -> None:
    ending, make = crafted[name]
    (tmp_path / f"page.{ending}").write_bytes(make())
    ran = papernudge("read", tmp_path / f"page.{ending}")
    assert ran.code == (3 if reason == "no grid" else 5)
    assert one_sentence(ran.err)


SCANS = [
    ("PDF of 50,000 pages in 435 bytes", "says it has 50,000 pages in"),
    ("PDF whose pages are its pages", "says it has 9 pages in"),
    ("TIFF of 30,000 frames", "expected no more than 5,000"),
]


@pytest.mark.parametrize(("name", "told"), chosen(SCANS, SCANS[0]))
def test_a_crafted_scan_is_told_and_the_other_pages_are_read(
    papernudge: Run, crafted: dict[str, Any], shelf: Any, tmp_path: Path, name: str, told: str
) -> None:
    ending, make = crafted[name]
    (tmp_path / f"page.{ending}").write_bytes(make())
    words = (tmp_path / f"page.{ending}", shelf, "--book", tmp_path / "b.book", "--workers", 1)
    ran = papernudge("digitise", *words)
    assert ran.code == 5
    assert told in ran.err
    assert "1 clean puzzle" in ran.out


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One good page."""
    fixture = Path(__file__).resolve().parents[2] / "fixtures" / "clean.jpg"
    path = tmp_path_factory.mktemp("shelf") / "good.jpg"
    path.write_bytes(fixture.read_bytes())
    return path
