"""Puzzles of our own that take a wanted time or ask for a wanted reason."""

from __future__ import annotations

from itertools import islice

import pytest

from papernudge.hints import Position, count_solutions, grade, walk
from papernudge.hints.drilling import Reason
from papernudge.hints.wanted import Wanted, wanted_puzzles


def test_no_tries_are_refused() -> None:
    with pytest.raises(ValueError, match="from 1, got 0"):
        list(wanted_puzzles(Wanted(), tries=0))


def test_what_no_puzzle_is_like_is_not_found() -> None:
    assert not list(wanted_puzzles(Wanted(minutes=(0.0, 0.01)), tries=3))


def test_puzzles_take_the_time_that_is_wanted() -> None:
    found = list(islice(wanted_puzzles(Wanted(minutes=(6, 12), givens=28), tries=60), 3))
    assert len(found) == 3
    for line in found:
        assert count_solutions(line) == 1
        assert 6 <= grade(line).minutes <= 12


@pytest.mark.slow
def test_puzzles_ask_for_the_reason_that_is_wanted() -> None:
    reason = Reason.parse("locked candidates")
    line = next(wanted_puzzles(Wanted(reason=reason), seed=22, tries=30))
    assert "locked candidates" in {one.technique for one in walk(Position.of(line)).lines}


def test_symmetric_ones_look_the_same_upside_down() -> None:
    line = next(wanted_puzzles(Wanted(symmetric=True, givens=30)))
    assert [mark == "." for mark in line] == [mark == "." for mark in line[::-1]]


def test_the_same_words_give_the_same_puzzles() -> None:
    one, other = (list(wanted_puzzles(Wanted(givens=32), 9, 2)) for _ in range(2))
    assert one == other
    assert len(one) == 2
