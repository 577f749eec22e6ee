"""The exact solver: broken input, published counts and puzzles, and a SAT solver beside it.

Outside values are read from ``check_values.json`` in the data folder, which names for each its
source and whether the source was seen, known second-hand or recalled.
"""

from __future__ import annotations

import gzip
import json
from collections.abc import Iterator
from itertools import combinations
from math import factorial
from pathlib import Path
from random import Random
from typing import Any

import pytest
import shared_puzzles
from hypothesis import strategies as st
from samples import tried
from sat import Judge
from strategies import positions, puzzles

from papernudge.hints import count_solutions, solve
from papernudge.hints.generate import full_grid, puzzle
from papernudge.hints.geometry import ALL_CANDIDATES, HOUSES, PEERS
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.solver import (
    OutOfPatience,
    candidates_after,
    is_possible,
    models,
    propagated,
    solutions,
)

EMPTY = "." * 81


@pytest.fixture(scope="module")
def judge() -> Iterator[Judge]:
    judge = Judge()
    yield judge
    judge.close()


@pytest.fixture(scope="module")
def values(data_dir: Path) -> dict[str, dict[str, Any]]:
    text = (data_dir / "puzzles" / "check_values.json").read_text()
    return {entry["id"]: entry for entry in json.loads(text)}


def test_an_empty_grid_has_as_many_solutions_as_one_cares_to_count() -> None:
    assert count_solutions(EMPTY, limit=0) == 0
    assert count_solutions(EMPTY, limit=1) == 1
    assert count_solutions(EMPTY, limit=5) == 5
    assert solve(EMPTY) is None


def test_a_line_of_another_length_is_refused_with_a_sentence() -> None:
    with pytest.raises(ValueError, match="expected 81 characters, one for each cell, got 80"):
        count_solutions("." * 80)


def test_clashing_digits_leave_no_solution_even_in_a_full_grid() -> None:
    assert count_solutions("11" + "." * 79) == 0
    grid = full_grid(3)
    swapped = grid[1] + grid[0] + grid[2:]
    assert count_solutions(grid) == 1
    assert count_solutions(swapped) == 0


def test_a_grid_with_no_clash_and_no_solution_has_none() -> None:
    assert count_solutions("12345678." + "........9" + "." * 63) == 0


def test_zero_means_blank() -> None:
    line = puzzle(5)
    assert solve(line.replace(".", "0")) == solve(line)


def test_writing_a_digit_strikes_exactly_its_rivals() -> None:
    for bit in range(0, 729, 7):
        digit, cell = divmod(bit, 81)
        gone = ALL_CANDIDATES & ~NEWSPAPER.keep[bit]
        assert gone.bit_count() == 28
        assert gone >> 81 * digit & ((1 << 81) - 1) == PEERS[cell]


def test_several_solutions_come_each_once_and_obey_the_rules() -> None:
    line = list(puzzle(11))
    for cell in [c for c in range(81) if line[c] != "."][:3]:
        line[cell] = "."
    found = list(solutions("".join(line)))
    assert len(found) == len(set(found)) > 1
    for grid in found:
        for house in HOUSES:
            assert {grid[c] for c in range(81) if house >> c & 1} == set("123456789")


def test_patience_runs_out_with_an_error_and_not_with_an_answer() -> None:
    with pytest.raises(OutOfPatience, match="expected an answer within 2 branches"):
        list(models(ALL_CANDIDATES, patience=2))


@tried(13, 80, puzzles())
def test_the_solution_is_the_sat_solvers(line: str) -> None:
    judge = Judge()
    assert solve(line) == judge.solution(line)
    judge.close()


@tried(10, 60, positions(), st.integers(0, 2**32))
def test_whether_a_candidate_is_possible_is_what_the_sat_solver_says(
    position: Any, seed: int
) -> None:
    """With givens rubbed out at random, so that both answers occur."""
    judge, random = Judge(), Random(seed)
    digits = "".join(d if random.random() < 0.8 else "." for d in position.digits)
    state = candidates_after(digits)
    bit = random.choice([b for b in range(729) if state >> b & 1])
    line = digits[: bit % 81] + str(bit // 81 + 1) + digits[bit % 81 + 1 :]
    assert is_possible(state & NEWSPAPER.keep[bit]) == (judge.solution(line) is not None)
    judge.close()


def test_there_are_288_grids_of_four_by_four_and_28200960_of_six_by_six(
    values: dict[str, Any],
) -> None:
    """OEIS A107739(2) and A109252 (read); the 6×6 count from an encyclopedia (from memory)."""
    assert (
        count_solutions("." * 16, 10_000, Layout.of_blocks(2, 2))
        == values["count-4x4-grids"]["value"]
    )
    first_row_fixed = count_solutions("123456" + "." * 30, 100_000, Layout.of_blocks(2, 3))
    assert first_row_fixed * 720 == values["count-6x6-grids"]["value"]


def test_three_blocks_side_by_side_can_be_filled_as_often_as_published(
    values: dict[str, Any],
) -> None:
    """Felgenhauer & Jarvis (2006): 9! × 2612736 bands; the factor is recalled in the file.

    With the first block written in order, the solver is asked which three digits each row of the
    second block may hold; the third block's rows are then settled. Digits of a row of either
    block stand in any order: 3! six times over, and the first block's in 9! ways.
    """
    ways = 0
    for top in combinations(range(1, 10), 3):
        rest = [d for d in range(1, 10) if d not in top]
        for middle in combinations(rest, 3):
            low = tuple(d for d in rest if d not in middle)
            rows = zip(("123", "456", "789"), (top, middle, low), strict=True)
            line = "".join(first + "".join(map(str, row)) + "..." for first, row in rows)
            ways += count_solutions(line + "." * 54, 1)
    assert ways == 56
    assert ways * factorial(3) ** 6 * factorial(9) == values["count-band"]["value"]


def test_published_puzzles_of_four_by_four_have_their_published_solutions(
    values: dict[str, Any],
) -> None:
    """OEIS A109252's example and one of SciPy 2010 (both read)."""
    for name in ("oeis-A109252-example", "scipy2010-shidoku"):
        entry = values[name]
        assert solve(entry["puzzle"], Layout.of_blocks(2, 2)) == entry["solution"]


def test_full_four_by_four_grids_less_one_digit_are_as_many_as_published(
    values: dict[str, Any],
) -> None:
    """OEIS A109252 (read): the terms for 16, 15 and 14 givens, counted out."""
    shape = Layout.of_blocks(2, 2)
    grids = list(solutions("." * 16, shape))
    fair = values["oeis-A109252"]["values"]
    assert len(grids) == fair[16]
    one_off = {g[:i] + "." + g[i + 1 :] for g in grids for i in range(16)}
    assert sum(count_solutions(p, 2, shape) == 1 for p in one_off) == fair[15]
    two_off = {p[:i] + "." + p[i + 1 :] for p in one_off for i in range(16) if p[i] != "."}
    assert sum(count_solutions(p, 2, shape) == 1 for p in two_off) == fair[14]


def test_published_puzzles_with_one_solution_have_it(values: dict[str, Any]) -> None:
    """Project Euler 96's first grid and SciPy 2010's (read), the others recalled from memory."""
    checked = 0
    for entry in values.values():
        if "solution" in entry and len(entry.get("puzzle", "")) == 81:
            assert solve(entry["puzzle"]) == entry["solution"], entry["id"]
            checked += 1
    assert checked >= 10


def test_seventy_seven_givens_can_leave_two_solutions(values: dict[str, Any]) -> None:
    """Delahaye, Scientific American 294(6), 2006 (second-hand); the example was read."""
    entry = values["two-solutions-77"]
    assert len(entry["puzzle"].replace(".", "")) == values["max-clues-nonunique"]["value"]
    assert count_solutions(entry["puzzle"], limit=10) == 2
    assert sorted(solutions(entry["puzzle"])) == sorted(entry["solutions"])


def test_a_published_puzzle_of_fifteen_givens_has_many(values: dict[str, Any]) -> None:
    """Davis, Henderson & Smith, SciPy 2010 (read)."""
    entry = values["scipy2010-random15"]
    assert count_solutions(entry["puzzle"]) == 2
    assert count_solutions(entry["printed_completion"]) == 1


def test_a_digit_more_makes_a_published_puzzle_impossible(values: dict[str, Any]) -> None:
    """No source gives a puzzle without a solution: made from one with exactly one (read)."""
    entry = values["project-euler-96-grid01"]
    wrong = "1" if entry["solution"][0] != "1" else "2"
    assert count_solutions(wrong + entry["puzzle"][1:]) == 0


def test_project_euler_96_adds_up_to_24702(data_dir: Path, values: dict[str, Any]) -> None:
    """Project Euler, Problem 96 (read)."""
    total = 0
    for line, printed in shared_puzzles.euler96():
        found = solve(line)
        assert found == printed
        total += int(found[:3])
    assert total == values["project-euler-96"]["value"] == 24702


def test_singles_alone_finish_21905_of_the_49151_and_40_of_euler96(data_dir: Path) -> None:
    """Counts recomputed for these files; the first agrees with Lynce & Ouaknine, AIMATH 2006
    (second-hand)."""

    def by_singles(line: str) -> bool:
        outcome = propagated(candidates_after(line))
        return outcome is not None and outcome[0].bit_count() == 81

    with gzip.open(data_dir / "puzzles" / "clues17.txt.gz", "rt") as file:
        lines = file.read().split()
    assert len(lines) == 49151
    assert sum(map(by_singles, lines)) == 21905
    assert sum(by_singles(line) for line, _ in shared_puzzles.euler96()) == 40


def test_puzzles_of_seventeen_givens_have_one_solution(data_dir: Path, judge: Judge) -> None:
    """G. Royle's list (read): a sample here, all of them in bench_speed.py."""
    for line in shared_puzzles.clues17()[::500]:
        assert solve(line) == judge.solution(line)
