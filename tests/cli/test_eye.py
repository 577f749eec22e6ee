"""``hint --walk --route``: the eye's way through a solve."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from papernudge.cli.pictures.eye import route_scene
from papernudge.hints import Position
from papernudge.hints.generate import full_grid
from papernudge.hints.route import route

Run = Callable[..., Any]
FULL = full_grid(4)
NEARLY = "".join("." if c in (0, 1, 30, 40, 44, 80, 62) else d for c, d in enumerate(FULL))


def test_a_route_without_a_walk_is_refused(papernudge: Run) -> None:
    ran = papernudge("hint", "--given-line", NEARLY, "--route")
    assert ran.code == 2
    assert "add --walk" in ran.err


def test_a_route_of_a_puzzle_with_many_solutions_says_so(papernudge: Run) -> None:
    ran = papernudge("hint", "--given-line", "." * 81, "--walk", "--route")
    assert ran.code == 4


def test_the_route_writes_the_solution_and_is_compared(papernudge: Run) -> None:
    told = json.loads(papernudge("hint", "--given-line", NEARLY, "--walk", "--route", "--json").out)
    digits = list(NEARLY)
    for line in told["walk"]["lines"]:
        for place in line["places"]:
            row, column = int(place["cell"][1]), int(place["cell"][3])
            digits[9 * row + column - 10] = str(place["digit"])
    assert "".join(digits) == FULL
    way = told["route"]
    assert len(way["stops"]) == len(told["walk"]["lines"])
    assert way["looks"] == told["walk"]["looks"]
    plain = way["compared"]["reading order"]
    assert way["travel"] <= plain["travel"]
    assert way["looks"] <= plain["looks"]
    text = papernudge("hint", "--given-line", NEARLY, "--walk", "--route").out
    assert "In comparison, digit by digit:" in text


@pytest.mark.parametrize("ending", [".png", ".svg"])
def test_the_route_is_drawn(papernudge: Run, tmp_path: Path, ending: str) -> None:
    out = tmp_path / f"way{ending}"
    words = ["hint", "--given-line", NEARLY, "--walk", "--route", "--picture", out]
    assert papernudge(*words).code == 0
    assert out.stat().st_size > 2000


def test_every_written_cell_holds_its_number_and_is_linked_to_the_next() -> None:
    way = route(Position.of(NEARLY))
    scene = route_scene(way)
    assert len(scene.strokes) == 6  # a link from each to the next
    marked = {(int(slip.y), int(slip.x)) for slip in scene.slips}
    assert marked == {divmod(c, 9) for c, mark in enumerate(NEARLY) if mark == "."}
    lines = range(1, len(way.walk.lines) + 1)
    assert list(dict.fromkeys(slip.text for slip in scene.slips)) == [str(n) for n in lines]
