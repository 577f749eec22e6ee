"""Benchmarks write down what they print, and tables are made of it."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest
from tables import BLOCK, TABLES, filled

ROOT = Path(__file__).resolve().parent.parent
BENCHES = sorted((ROOT / "tests").rglob("bench_*.py"))


def test_a_benchmark_writes_its_result_as_json(tmp_path: Path) -> None:
    bench = ROOT / "tests/digits_model/pages/bench_truth.py"
    to = tmp_path / "truth.json"
    words = [sys.executable, str(bench), "--json", str(to), "--help"]
    ran = subprocess.run(words, capture_output=True, text=True, check=False, timeout=60)
    assert ran.returncode == 0, ran.stderr
    told = json.loads(to.read_text("utf-8"))
    assert told["benchmark"] == "bench_truth"
    assert told["arguments"] == ["--help"]
    assert [row["text"] for row in told["rows"]] == [
        line for line in ran.stdout.splitlines() if line.strip()
    ]


@pytest.mark.parametrize("bench", BENCHES, ids=lambda path: path.stem)
def test_every_benchmark_can(bench: Path) -> None:
    ends = bench.read_text("utf-8").split('if __name__ == "__main__":')[-1]
    assert "with recorded():" in ends


def test_lines_are_told_by_columns_and_numbers() -> None:
    from figures import row

    told = row("mixed   137 photos, 1,234 cells: 99.5 % in 0.3 s")
    assert told["columns"] == ["mixed", "137 photos, 1,234 cells", "99.5 % in 0.3 s"]
    assert told["numbers"] == [137, 1234, 99.5, 0.3]


def test_tables_are_made_between_their_marks_and_nothing_else_changes() -> None:
    text = "a\n<!-- table: shrink -->\nold\n<!-- end of table -->\nb\n"
    row = {"table": "shrink", "set": "s", "way": "half", "grids": 1000, "right": 9, "unread": 1}
    result = {"noted": [{**row, "silent": 0, "doubts": 2}]}
    made, done = filled(text, [result])
    assert done == ["shrink"]
    assert made == (
        "a\n<!-- table: shrink -->\n"
        "| set | sent | grids | right | unread | silent cells | doubts |\n"
        "| --- | --- | --- | --- | --- | --- | --- |\n"
        "| s | half | 1,000 | 9 | 1 | 0 | 2 |\n"
        "<!-- end of table -->\nb\n"
    )
    assert filled(made, [result]) == (made, ["shrink"])
    assert filled(made, [{"noted": []}]) == (made, [])


def test_every_table_of_the_developers_page_is_known() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    names = [found["name"] for found in BLOCK.finditer(text)]
    assert sorted(names) == sorted(TABLES)
    assert len(re.findall("<!-- table: ", text)) == len(names)
