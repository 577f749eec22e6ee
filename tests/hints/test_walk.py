"""Whole walks and grades."""

from __future__ import annotations

import json
from math import log

import pytest
import shared_puzzles
from samples import tried
from strategies import Symmetry, puzzles, symmetries

from papernudge.hints import Position, grade, solve, walk
from papernudge.hints.board import Board
from papernudge.hints.generate import full_grid, puzzle
from papernudge.hints.grade import TRIED, WEIGHTS, features
from papernudge.hints.looks import Scan
from papernudge.hints.search import LEAST_LINE
from papernudge.hints.techniques.singles import ALL_SINGLES, singles


def test_an_empty_and_a_broken_grid_are_not_walked() -> None:
    for line in ("." * 81, "11" + "." * 79):
        walked = walk(Position.of(line))
        assert not walked.solved
        assert walked.lines == ()
        assert walked.looks == 0
        assert walked.sentences() == []


def test_a_solved_grid_needs_no_walk() -> None:
    walked = walk(Position.of(full_grid(1)))
    assert walked.solved
    assert walked.lines == ()


@tried(5, 40, puzzles())
def test_a_walk_writes_the_solution_each_cell_once(line: str) -> None:
    walked = walk(Position.of(line))
    assert walked.solved
    written = [place for one in walked.lines for place in one.places]
    solution = solve(line)
    assert solution is not None
    assert sorted(c for c, _ in written) == [c for c in range(81) if line[c] == "."]
    assert all(solution[c] == str(d) for c, d in written)


@tried(6, 30, puzzles())
def test_totals_switches_and_links_add_up(line: str) -> None:
    walked = walk(Position.of(line))
    total, asked, written = 0, None, 0
    for step in walked.steps:
        total += step.line.looks
        assert step.total == total
        by_digit = isinstance(step.line.last.deduction.reads[0], Scan)
        assert step.asks == ("digit" if by_digit else "cell")
        assert step.switch == (asked is not None and asked != step.asks)
        asked = step.asks
        used = 0
        for part in step.line.steps:
            used |= part.evidence.cells
        assert sum(1 << c for c in step.linked) == used & written
        for cell, _ in step.line.places:
            written |= 1 << cell
    assert walked.looks == total
    assert len(walked.sentences()) == len(walked.lines)


def test_a_walk_is_plain_data() -> None:
    walked = walk(Position.of(puzzle(9)))
    told = walked.to_json()
    assert json.loads(json.dumps(told)) == told
    assert told["solved"] is True
    assert told["lines"][-1]["total"] == told["looks"] == walked.looks


def test_a_sample_of_every_shared_set_is_carried_to_its_end(data_dir: object) -> None:
    """All of them in bench_completeness.py."""
    lines = shared_puzzles.clues17()[::1500] + shared_puzzles.human_times()[::40]
    lines += [line for line, _ in shared_puzzles.euler96()][::5]
    for line in lines:
        walked = walk(Position.of(line))
        assert walked.solved, line


def test_eliminations_come_only_where_no_single_stands(
    data_dir: object,
) -> None:
    for line, _ in shared_puzzles.euler96()[:10]:
        position = Position.of(line)
        for one in walk(position).lines:
            assert one.last.technique in ALL_SINGLES
            if len(one.steps) > 1:
                assert one.price >= LEAST_LINE
                assert not singles(Board.of(position))
            for cell, digit in one.places:
                position = position.with_digit(cell, digit)


def test_a_grade_needs_exactly_one_solution() -> None:
    with pytest.raises(ValueError, match=r"expected givens with exactly one solution .* several"):
        grade("." * 81)
    with pytest.raises(ValueError, match=r"expected givens with exactly one solution .* none"):
        grade("11" + "." * 79)
    with pytest.raises(ValueError, match="expected 81 characters of givens"):
        grade("1")


def test_a_grade_has_minutes_inside_their_range_and_what_the_walk_says() -> None:
    line = puzzle(12, givens=26)
    walked, graded = walk(Position.of(line)), grade(line)
    low, high = graded.minutes_range
    assert 0 < low < graded.minutes < high < 120
    assert graded.looks == walked.looks
    assert graded.steps == len(walked.lines)
    assert graded.hardest in {one.technique for one in walked.lines}
    told = graded.to_json()
    assert set(told) == {"minutes", "minutes_range", "looks", "hardest", "steps", "needs"}
    used = {step.technique for one in walked.lines for step in one.steps}
    assert set(told["needs"]) == used


def test_a_full_grid_has_a_grade_too() -> None:
    assert grade(full_grid(2)).steps == 0


@tried(4, 12, puzzles(), symmetries())
def test_expected_minutes_do_not_depend_on_how_the_grid_lies(line: str, way: Symmetry) -> None:
    here = features(Position.of(line))
    assert set(here) == set(WEIGHTS)
    assert here == pytest.approx(features(Position.of(way.line(line))))


@pytest.mark.slow
@tried(2, 4, symmetries())
def test_nor_where_no_line_is_cheap_enough_and_people_would_try(way: Symmetry) -> None:
    line = puzzle(199)  # its walk casts nets
    here = features(Position.of(line))
    assert here["reasoning"] > log(1 + TRIED)
    assert here == pytest.approx(features(Position.of(way.line(line))))


@pytest.mark.slow
def test_a_puzzle_with_less_in_sight_takes_longer() -> None:
    """Of puzzles of our own, those with more givens are graded quicker on the whole."""
    generous = [grade(puzzle(seed, givens=36)).minutes for seed in range(12)]
    sparse = [grade(puzzle(seed)).minutes for seed in range(12)]
    assert sum(generous) < sum(sparse)


def test_own_puzzles_are_proper_repeatable_and_as_symmetric_as_asked() -> None:
    for seed in range(6):
        line = puzzle(seed, givens=30, symmetric=True)
        assert line == puzzle(seed, givens=30, symmetric=True)
        assert solve(line) is not None
        pattern = [mark == "." for mark in line]
        assert pattern == pattern[::-1]
    assert len({puzzle(seed) for seed in range(6)}) == 6
    minimal = puzzle(3)
    for cell in (c for c in range(81) if minimal[c] != "."):
        assert solve(minimal[:cell] + "." + minimal[cell + 1 :]) is None
