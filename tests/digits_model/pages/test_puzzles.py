"""The page maker's own puzzles."""

from __future__ import annotations

from itertools import pairwise

import pytest

from papernudge.digits_model.training.pages.puzzles import banked, puzzle, solve

# Project Euler 96, grid 01, source read: https://projecteuler.net/problem=96
EULER = "003020600900305001001806400008102900700000008006708200002609500800203009005010300"
EULER_SOLVED = "483921657967345821251876493548132976729564138136798245372689514814253769695417382"


def test_a_grid_that_breaks_a_rule_has_no_solution() -> None:
    assert solve([5, 5] + [0] * 79, 2) == []


def test_an_empty_grid_has_more_than_one_solution() -> None:
    assert len(solve([0] * 81, 2)) == 2


def test_a_published_puzzle_has_its_published_solution() -> None:
    found = solve([int(d) for d in EULER], 2)
    assert found == [[int(d) for d in EULER_SOLVED]]


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("split", ["train", "calibrate", "test"])
def test_every_puzzle_has_exactly_the_solution_it_comes_with(split: str, seed: int) -> None:
    givens, solution, _ = puzzle(split, seed, 0, 28)
    assert solve(givens, 2) == [solution]


@pytest.mark.parametrize("wanted", [10, 24, 30, 45])
def test_givens_are_as_many_as_asked_or_the_fewest_that_stay_proper(wanted: int) -> None:
    for seed in range(5):
        givens, _, bank = puzzle("test", seed, 0, wanted)
        fewest = sum(1 for d in banked(bank)[1] if d)
        assert sum(1 for d in givens if d) == max(wanted, fewest)


def test_splits_share_no_puzzle_of_the_bank() -> None:
    used = {s: {puzzle(s, k, 0, 28)[2] for k in range(6)} for s in ("train", "calibrate", "test")}
    assert all(not used[a] & used[b] for a, b in pairwise(used))


def test_the_same_seed_gives_the_same_puzzle_and_another_one_another() -> None:
    assert puzzle("test", 3, 0, 28) == puzzle("test", 3, 0, 28)
    assert puzzle("test", 3, 0, 28)[0] != puzzle("test", 4, 0, 28)[0]
