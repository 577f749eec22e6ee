"""One registry of reasons, from which search, drills, grades, filters and sheet codes derive."""

from __future__ import annotations

import pytest

from papernudge.hints.position import Position
from papernudge.hints.registry import FAMILIES, KNOWN, PRACTISED, USED, spelt
from papernudge.hints.walk import walk
from papernudge.hints.words import ENGLISH, named

# As sheets that are printed already count them: a number is never given to another reason.
PRINTED = (
    *("last blank of a house", "several cells of a house", "hidden single", "naked single"),
    *("locked candidates", "naked pair", "hidden pair", "naked triple", "hidden triple"),
    *("naked quad", "hidden quad", "X-wing", "swordfish", "jellyfish", "XY-wing", "XYZ-wing"),
    *("W-wing", "remote pairs", "colouring", "alternating chain", "almost-locked sets"),
    *("finned X-wing", "finned swordfish", "skyscraper", "two-string kite", "turbot fish"),
    "empty rectangle",
)


def test_numbers_on_sheets_stay_what_they_are() -> None:
    assert PRACTISED[: len(PRINTED)] == PRINTED
    numbers = [n for one in FAMILIES for _, n in one.numbers if n is not None]
    assert sorted(numbers) == list(range(len(PRACTISED)))


def test_no_name_stands_twice() -> None:
    assert len(set(KNOWN)) == len(KNOWN)
    assert set(USED) <= set(KNOWN)


@pytest.mark.parametrize("name", KNOWN)
def test_each_reason_is_found_by_its_name_and_has_words(name: str) -> None:
    assert spelt(f"  {name.upper()} ") == name
    assert "{" not in named(name, ENGLISH)


def test_whatever_a_walk_uses_is_registered() -> None:
    # Published: sudoku 11 of Project Euler's problem 96, and a 17-clue grid that needs patterns.
    for givens in (
        "..3.2.6..9..3.5..1..18.64....81.29..7.......8..67.82....26.95..8..2.3..9..5.1.3..",
        "...8.1..........435............7.8........1...2..3....6......75..34........2..6..",
    ):
        used = {step.technique for line in walk(Position.of(givens)).lines for step in line.steps}
        assert used <= set(USED)
