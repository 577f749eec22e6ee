"""A sample of the damaged files that ``bench_bad_files.py`` feeds to the command."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

from papernudge.vision.failure import Failure


@pytest.fixture(scope="module")
def bench() -> ModuleType:
    path = Path(__file__).with_name("bench_bad_files.py")
    spec = importlib.util.spec_from_file_location("bench_bad_files", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def test_damaged_files_end_in_a_sentence_and_a_known_code(
    bench: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Opening is what damaged bytes strain; what opens is taken for a page without a grid."""
    none = Failure("find", "no grid", "No 9×9 grid was found in the photo.")
    monkeypatch.setattr("papernudge.vision.read.read_page", lambda *_, **__: none)
    ends = set()
    for number, (kind, how, data) in enumerate(bench.cases(140, 7)):
        path = tmp_path / f"{number}.jpg"
        path.write_bytes(data)
        code, fault, _ = bench.judge(path)
        assert fault == "", (kind, how, fault)
        ends.add(code)
    assert ends == {3, 5}
