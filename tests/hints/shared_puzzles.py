"""Where the shared puzzles lie, for benchmarks run by hand. Nothing of them is copied."""

from __future__ import annotations

import csv
import gzip
import json
import os
from pathlib import Path
from typing import Any


def folder() -> Path:
    """``PAPERNUDGE_DATA``, or shared/data beside the checkout."""
    beside = Path(__file__).resolve().parents[3] / "shared" / "data"
    return Path(os.environ.get("PAPERNUDGE_DATA", beside)) / "puzzles"


def clues17() -> list[str]:
    with gzip.open(folder() / "clues17.txt.gz", "rt") as file:
        return file.read().split()


def euler96() -> list[tuple[str, str]]:
    with (folder() / "euler96.csv").open() as file:
        return [(row["puzzle"], row["solution"]) for row in csv.DictReader(file)]


def human_times() -> list[str]:
    with (folder() / "human_times.csv").open() as file:
        return [row["puzzle"] for row in csv.DictReader(file)]


def check_values() -> dict[str, dict[str, Any]]:
    with (folder() / "check_values.json").open() as file:
        return {entry["id"]: entry for entry in json.load(file)}


HARD = ("inkala-2010", "inkala-2012", "ai-escargot", "platinum-blond")
"""The published hard ones of check_values.json."""


def hard_ones() -> list[str]:
    values = check_values()
    return [values[name]["puzzle"] for name in HARD]
