"""Makes the tables of DEVELOPERS.md from what benchmarks wrote with ``--json``:

    python tests/tables.py RESULT.json [more] [--into DEVELOPERS.md]

A table stands between ``<!-- table: NAME -->`` and ``<!-- end of table -->``. One that results have
figures for is made anew, whole, with a row for each of theirs in the order of the results: name all
that belong into it. A table that no result is about stays as it is. Prints which were made.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

Noted = Mapping[str, Any]
BLOCK = re.compile(
    r"(<!-- table: (?P<name>[\w-]+) -->\n)(?P<table>.*?)(<!-- end of table -->)", re.S
)


def share(part: int, whole: int) -> str:
    """``136 (99.3 %)``"""
    return f"{part:,} ({100 * part / whole:.3g} %)" if whole else f"{part:,}"


def _reading(row: Noted) -> list[str]:
    prior = "" if row["prior"] is None else f", prior on right entries {row['prior']:g} (`--right`)"
    return [
        f"{row['set']}{prior}",
        f"{row['photos']:,}",
        share(row["right"], row["photos"]),
        f"{row['wrong']:,} of {row['cells']:,}",
        f"{row['silent']:,} (< {100 * row['upper']:.2g} %)",
        f"{row['doubts'] / max(1, row['photos']):.2g}",
    ]


def _shrink(row: Noted) -> list[str]:
    counts = [f"{row[key]:,}" for key in ("grids", "right", "unread", "silent", "doubts")]
    return [row["set"], row["way"], *counts]


TABLES: dict[str, tuple[tuple[str, ...], Callable[[Noted], list[str]]]] = {
    "reading": (
        ("set", "photos", "fully right", "cells wrong", "unflagged", "doubts a photo"),
        _reading,
    ),
    "shrink": (("set", "sent", "grids", "right", "unread", "silent cells", "doubts"), _shrink),
}
"""Each table's columns, and how a noted row fills them."""


def made(name: str, rows: Iterable[Noted]) -> str:
    """A table in Markdown."""
    heads, cells = TABLES[name]
    lines = [heads, ("---",) * len(heads), *map(cells, rows)]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def filled(text: str, results: Iterable[Mapping[str, Any]]) -> tuple[str, list[str]]:
    """The text with its tables made anew, and the names of those that were."""
    rows: dict[str, list[Noted]] = {}
    for result in results:
        for row in result["noted"]:
            rows.setdefault(row["table"], []).append(row)
    done: list[str] = []

    def block(found: re.Match[str]) -> str:
        name = found["name"]
        if name not in rows:
            return found[0]
        done.append(name)
        return f"{found[1]}{made(name, rows[name])}{found[4]}"

    return BLOCK.sub(block, text), done


def main() -> int:
    """Fills the file."""
    words = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    words.add_argument("results", nargs="+", type=Path)
    words.add_argument("--into", type=Path, default=Path("DEVELOPERS.md"))
    given = words.parse_args()
    results = [json.loads(path.read_text("utf-8")) for path in given.results]
    text, done = filled(given.into.read_text("utf-8"), results)
    given.into.write_text(text, "utf-8")
    print(", ".join(done) or "No table is about these results.")
    return 0 if done else 1


if __name__ == "__main__":
    sys.exit(main())
