"""One form for all the symmetric pictures of a puzzle, and for nothing else."""

from __future__ import annotations

import random
from itertools import combinations

import pytest

from papernudge.hints.canonical import canonical, turns_of
from papernudge.hints.generate import any_blocks, full_grid
from papernudge.hints.layout import Layout
from papernudge.hints.shapes import board_of
from papernudge.hints.solver import count_solutions

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


@pytest.mark.slow
def test_a_puzzle_with_symmetries_of_its_own_collapses_too() -> None:
    rng = random.Random(9)
    diagonal = "".join(str(r + 1) if r == c else "." for r in range(9) for c in range(9))
    assert len({canonical(shuffled(diagonal, rng)) for _ in range(2)}) == 1


# ---------------------------------------------------------------- other boards


def boards_of_even_blocks() -> list[Layout]:
    return [board_of(words) for words in ("2x2", "2x3", "3x2", "2x4", "2x5", "3x4", "4x4")]


def shuffled_on(layout: Layout, line: str, rng: random.Random) -> str:
    """A random picture that keeps a board of even blocks alone."""
    assert layout.even is not None
    high, wide = layout.even

    def order(deep: int) -> list[int]:
        chutes = rng.sample(range(layout.side // deep), layout.side // deep)
        return [deep * b + i for b in chutes for i in rng.sample(range(deep), deep)]

    rows, columns = order(high), order(wide)
    grid = [[line[layout.at(r, c)] for c in columns] for r in rows]
    if high == wide and rng.random() < 0.5:
        grid = [list(column) for column in zip(*grid, strict=True)]
    return renamed("".join(map("".join, grid)), layout, rng)


def renamed(line: str, layout: Layout, rng: random.Random) -> str:
    marks = rng.sample(layout.symbols, layout.side)
    names = dict(zip(layout.symbols, marks, strict=True)) | {".": "."}
    return "".join(map(names.__getitem__, line))


@pytest.mark.parametrize("layout", boards_of_even_blocks(), ids=lambda one: str(one.even))
def test_pictures_that_keep_even_blocks_collapse_and_others_do_not(layout: Layout) -> None:
    rng = random.Random(layout.side)
    full = full_grid(3, layout)
    kept = set(rng.sample(layout.cells, layout.many // 2))
    line = "".join(mark if cell in kept else "." for cell, mark in enumerate(full))
    forms = {canonical(shuffled_on(layout, line, rng), layout) for _ in range(6)}
    assert forms == {canonical(line, layout)}
    others = [line[:cell] + "." + line[cell + 1 :] for cell in rng.sample(sorted(kept), 3)]
    apart = {canonical(shuffled_on(layout, other, rng), layout) for other in others}
    assert not apart & forms
    assert position_is_possible(layout, forms.pop())


def position_is_possible(layout: Layout, line: str) -> bool:
    """A picture of a puzzle with a solution has one too."""
    return count_solutions(line, 1, layout=layout) == 1


def test_a_board_of_blocks_that_are_not_square_is_not_the_same_transposed() -> None:
    """Rows and columns are not alike there: two rows a block, three columns."""
    layout = board_of("2x3")
    rng = random.Random(4)
    line = thinned_on(layout, full_grid(5, layout), 20, rng)
    transposed = "".join(line[6 * c + r] for r in range(6) for c in range(6))
    assert canonical(transposed, layout) != canonical(line, layout)
    # The same picture is one of the board whose blocks lie the other way.
    assert count_solutions(transposed, 1, layout=board_of("3x2")) == 1


def thinned_on(layout: Layout, line: str, keep: int, rng: random.Random) -> str:
    kept = set(rng.sample(layout.cells, keep))
    return "".join(mark if cell in kept else "." for cell, mark in enumerate(line))


WINDOWS = "........." + ".AAA.BBB." * 3 + "........." + ".CCC.DDD." * 3 + "........."
TURNS = {
    "both diagonals": (board_of(diagonals=True), 8),
    "windows": (board_of(extra=[WINDOWS]), 8),
    "one corner tinted": (board_of("2x2", extra=["AA..A.....A....."]), 2),
    "6x6 with diagonals": (board_of("2x3", diagonals=True), 4),
    "blocks of any form": (any_blocks(5, 9), 1),
}


@pytest.mark.parametrize(("layout", "many"), TURNS.values(), ids=TURNS)
def test_a_board_has_the_turns_that_bring_its_houses_onto_its_houses(
    layout: Layout, many: int
) -> None:
    """Counted by hand for these boards: all eight, those about one diagonal, those about the
    middle lines, and the board as it is.
    """
    turns = turns_of(layout)
    assert len(set(turns)) == len(turns) == many
    rng = random.Random(many)
    line = thinned_on(layout, full_grid(2, layout), layout.many // 3, rng)
    forms = {
        canonical(renamed("".join(line[c] for c in cells), layout, rng), layout) for cells in turns
    }
    assert forms == {canonical(line, layout)}
    cell = next(c for c, mark in enumerate(line) if mark != ".")
    assert canonical(line[:cell] + "." + line[cell + 1 :], layout) not in forms


def test_a_turn_that_a_board_has_not_makes_another_puzzle() -> None:
    layout = any_blocks(5, 9)
    line = thinned_on(layout, full_grid(2, layout), 30, random.Random(1))
    assert canonical(line[::-1], layout) != canonical(line, layout)
