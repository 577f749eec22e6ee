"""One form for all the symmetric pictures of a puzzle, and for nothing else."""

from __future__ import annotations

import random
from itertools import combinations

import pytest

from papernudge.hints.canonical import canonical

PUZZLE = ".3.2..5.9.79..438..........3.27....5..8.3.4..4....26.7..........245..76.9.7..6.5."
BOX = "123456789456789123789123456231564897564897231897231564312645978645978312978312645"


def shuffled(line: str, rng: random.Random) -> str:
    """A random one of the 9! × 2 × 6⁸ pictures of a puzzle."""

    def order() -> list[int]:
        return [3 * b + i for b in rng.sample(range(3), 3) for i in rng.sample(range(3), 3)]

    rows, columns = order(), order()
    names = dict(zip("123456789", rng.sample("123456789", 9), strict=True)) | {".": "."}
    grid = [[names[line[9 * r + c]] for c in columns] for r in rows]
    if rng.random() < 0.5:
        grid = [list(column) for column in zip(*grid, strict=True)]
    return "".join(map("".join, grid))


def thinned(line: str, keep: int, rng: random.Random) -> str:
    kept = set(rng.sample(range(81), keep))
    return "".join(mark if cell in kept else "." for cell, mark in enumerate(line))


def test_the_empty_grid_is_its_own_form() -> None:
    assert canonical("." * 81) == canonical("0" * 81) == "." * 81


@pytest.mark.parametrize("line", ["", "." * 80, "." * 80 + "x", "." * 82])
def test_anything_but_81_marks_is_refused(line: str) -> None:
    with pytest.raises(ValueError, match="expected 81 characters, 1 to 9 or"):
        canonical(line)


def test_random_symmetries_collapse_to_one_form() -> None:
    rng = random.Random(5)
    solution = shuffled(BOX, rng)
    for keep in (1, 2, 3, 5, 9, 17, 24, 30, 45):
        line = thinned(solution, keep, rng)
        forms = {canonical(shuffled(line, rng)) for _ in range(8)}
        assert forms == {canonical(line)}, keep


def test_the_form_is_itself_a_picture_of_the_puzzle() -> None:
    form = canonical(PUZZLE)
    assert canonical(form) == form
    assert sorted(map(form.count, "123456789")) == sorted(map(PUZZLE.count, "123456789"))


def test_puzzles_that_differ_in_one_digit_stay_apart() -> None:
    rng = random.Random(7)
    taken = rng.sample([c for c in range(81) if PUZZLE[c] != "."], 12)
    others = [PUZZLE, *(PUZZLE[:cell] + "." + PUZZLE[cell + 1 :] for cell in taken)]
    forms = [canonical(shuffled(line, rng)) for line in others]
    assert all(a != b for a, b in combinations(forms, 2))


def test_exchanging_rows_across_bands_makes_another_puzzle() -> None:
    rows = [PUZZLE[9 * r : 9 * r + 9] for r in range(9)]
    rows[0], rows[4] = rows[4], rows[0]
    assert canonical("".join(rows)) != canonical(PUZZLE)


def test_a_puzzle_with_symmetries_of_its_own_collapses_too() -> None:
    rng = random.Random(9)
    diagonal = "".join(str(r + 1) if r == c else "." for r in range(9) for c in range(9))
    assert len({canonical(shuffled(diagonal, rng)) for _ in range(2)}) == 1
