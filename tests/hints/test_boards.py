"""Every board is reasoned on alike: a SAT solver that knows the rules by itself is the judge."""

from __future__ import annotations

import random
from collections.abc import Iterator
from itertools import permutations
from math import factorial

import pytest
from boards import boards
from samples import chosen, sized
from sat import Judge, claims_of, premises_of

from papernudge.hints import Position, count_solutions, next_nudge, solve, walk
from papernudge.hints.board import Board
from papernudge.hints.checking import State, check
from papernudge.hints.deduction import evidence_of
from papernudge.hints.drawing import drawn, marked, told
from papernudge.hints.generate import puzzle
from papernudge.hints.glances import glances_of
from papernudge.hints.grade import effort, grade
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.line import Line
from papernudge.hints.masks import SYMBOLS, members
from papernudge.hints.search import cheapest_lines
from papernudge.hints.shapes import board_of
from papernudge.hints.techniques.hunt import EVERY
from papernudge.hints.techniques.leftovers import leftovers
from papernudge.hints.techniques.locked import locked_candidates
from papernudge.hints.techniques.uniqueness import unique_rectangles
from papernudge.hints.walk import cheapest_solve

NAMES = [name for name in boards() if name != "9x9"]
SMALLER = [name for name, layout in boards().items() if layout.side < 12]
"""Those of which a puzzle is made in little time."""
GIVENS = {"16x16": 130}
"""Of how many givens a puzzle is made, where as few as possible would take long."""


def made(name: str, seed: int = 1) -> tuple[Layout, str]:
    """A board and a puzzle on it."""
    layout = boards()[name]
    few = layout.many * 3 // 8 if layout.side < 12 else layout.many // 2
    return layout, puzzle(seed, GIVENS.get(name, few), layout=layout)


@pytest.mark.parametrize("name", chosen(NAMES, *SMALLER[::3]))
def test_a_puzzle_of_any_board_has_the_sat_solvers_solution_and_no_other(name: str) -> None:
    layout, line = made(name)
    judge = Judge(layout)
    solution = solve(line, layout)
    assert solution is not None
    assert solution == judge.solution(line)
    assert judge.is_the_only_one(line, solution)
    # With a given less than it needs, there are as many as the judge says.
    given = [c for c, mark in enumerate(line) if mark != "."]
    for cell in random.Random(3).sample(given, 3):
        fewer = line[:cell] + "." + line[cell + 1 :]
        assert (count_solutions(fewer, layout=layout) == 1) == judge.is_the_only_one(
            fewer, solution
        )
    judge.close()


@sized("many", 6, 40)
@pytest.mark.parametrize("name", chosen(NAMES, *SMALLER[1::3]))
def test_every_step_of_a_walk_follows_from_its_evidence_alone(name: str, many: int) -> None:
    layout, line = made(name)
    judge, steps = Judge(layout), 0
    for one in _first_lines(Position.of(line, layout=layout), many):
        for step in one.steps:
            premises = premises_of(step.board, step.evidence)
            claims = claims_of(step.deduction, layout)
            assert judge.forces(premises, claims), (step.technique, step.deduction)
            steps += 1
    assert steps >= 5
    judge.close()


def _first_lines(position: Position, many: int) -> Iterator[Line]:
    for number, line in enumerate(cheapest_solve(position)):
        if number == many:
            return
        yield line


@pytest.mark.parametrize("name", ["4x4", "6x6, 2x3", "6x6 with diagonals", "5x5 of any blocks"])
def test_a_walk_ends_with_the_solution(name: str) -> None:
    layout, line = made(name)
    walked = walk(Position.of(line, layout=layout))
    assert walked.solved
    written = dict(place for one in walked.lines for place in one.places)
    solution = solve(line, layout)
    assert solution is not None
    assert all(SYMBOLS[digit - 1] == solution[cell] for cell, digit in written.items())
    assert len(walked.sentences(3)) == len(walked.lines)


def test_effort_is_told_of_every_board_and_is_part_of_a_grade() -> None:
    layout, line = made("6x6, 2x3")
    walked = walk(Position.of(line, layout=layout))
    told = effort(line, layout)
    assert (told.looks, told.steps, told.solved) == (walked.looks, len(walked.steps), True)
    line = puzzle(3, 30)
    graded, told = grade(line), effort(line)
    assert (graded.looks, graded.hardest, graded.steps, graded.needs) == (
        *(told.looks, told.hardest, told.steps, told.needs),
    )
    with pytest.raises(ValueError, match="exactly one solution to grade, got givens with several"):
        effort(layout.blank, layout)


WRONGED = ["6x6, 3x2", "10x10, 2x5", "9x9 of any blocks, diagonals"]


@pytest.mark.parametrize("name", chosen(WRONGED, WRONGED[0]))
def test_a_wrong_digit_is_found_and_the_right_one_told(name: str) -> None:
    layout, line = made(name)
    solution = solve(line, layout)
    assert solution is not None
    cell = line.index(".")
    wrong = next(mark for mark in layout.symbols if mark != solution[cell])
    entries = layout.blank[:cell] + wrong + layout.blank[cell + 1 :]
    told = check(Position.of(line, entries, layout=layout)).at(4).to_json()
    assert told["state"] == State.MISTAKEN
    (mistake,) = told["mistakes"]  # type: ignore[misc]
    assert mistake["cell"] == layout.name(cell)
    assert SYMBOLS[mistake["right"] - 1] == solution[cell]
    right = Position.of(line, solution_without(line, solution), layout=layout)
    assert check(right).state is State.SOLVED
    assert next_nudge(right) is None


def solution_without(line: str, solution: str) -> str:
    """What is left to write."""
    pairs = zip(line, solution, strict=True)
    return "".join("." if given != "." else digit for given, digit in pairs)


@pytest.mark.slow
def test_eight_by_eight_bands_are_as_many_as_two_rows_allow() -> None:
    """Two blocks of 2×4 side by side: the first row any of 8! ways; below each half stand the four
    digits of the other half, in 4! ways each. That each of those bands, and none with a digit below
    its own half, can be gone on from is asked of the solver.
    """
    layout = board_of("2x4")
    top = "12345678"
    ways = sum(
        count_solutions(top + "".join((*left, *right)) + "." * 48, 1, layout)
        for left in permutations("5678")
        for right in permutations("1234")
    )
    assert ways == factorial(4) ** 2
    for cell in range(8):
        for digit in top[:4] if cell < 4 else top[4:]:
            below = ["."] * 8
            below[cell] = digit
            assert count_solutions(top + "".join(below) + "." * 48, 1, layout) == 0


def test_houses_are_read_in_the_glances_that_they_take() -> None:
    """A block at one, a line in as many as it crosses blocks; a window that is no larger than a
    block at one too.
    """
    parts = glances_of(NEWSPAPER).parts
    assert [len(parts[h]) for h in (0, 9, 18)] == [3, 3, 1]
    parts = glances_of(board_of("2x3")).parts
    assert [len(parts[h]) for h in (0, 6, 12)] == [2, 3, 1]
    parts = glances_of(board_of("4x4")).parts
    assert [len(parts[h]) for h in (0, 16, 32)] == [4, 4, 1]
    windows = boards()["9x9 with diagonals and windows"]
    assert [len(glances_of(windows).parts[h]) for h in (27, 28, 29)] == [3, 3, 1]
    for layout in boards().values():
        for house, some in zip(layout.masks, glances_of(layout).parts, strict=True):
            assert sum(some) == house  # no cell twice, none left out


# ------------------------------------------------------------ reasons that shapes bring


def test_a_digit_is_locked_where_a_block_meets_a_diagonal() -> None:
    board = drawn(
        """
        . 1 2  . . .  . . .
        3 . 4  . . .  . . .
        5 6 .  . . .  . . .""",
        board_of(diagonals=True),
    )
    found = [d for d in locked_candidates(board, 30) if d.reads[0].digit == 7]
    struck = told(found, board.layout)
    assert "no 7 in R4C4, R5C5, R6C6, R7C7, R8C8, R9C9" in struck
    plain = [d for d in locked_candidates(drawn("", NEWSPAPER), 30) if d.ruled_out]
    assert plain == []


@pytest.mark.slow
def test_what_is_left_over_of_blocks_and_lines_is_seen_where_blocks_have_any_form() -> None:
    found, even = 0, 0
    for seed in range(6):
        layout = boards()["9x9 of any blocks"]
        line = puzzle(seed, 30, layout=layout)
        board, judge = Board.of(Position.of(line, layout=layout)), Judge(layout)
        for deduction in leftovers(board, EVERY):
            premises = premises_of(board, evidence_of(board, deduction))
            assert judge.forces(premises, claims_of(deduction, layout))
            found += 1
        judge.close()
        even += len(leftovers(Board.of(Position.of(puzzle(seed, 30))), EVERY))
    assert found > 20
    assert even == 0


def test_two_digits_are_not_said_to_change_places_where_a_diagonal_forbids_it() -> None:
    """A rectangle of two digits leaves two solutions only if no house holds one corner alone."""
    text = """
        12 . .  12 . .  . . .
        12 . .  .  . .  . . ."""
    plain = marked(text)
    assert len(unique_rectangles(plain, EVERY)) == 1
    assert unique_rectangles(marked(text, board_of(diagonals=True)), EVERY) == []


# ------------------------------------------------------------ symmetries


def _turned(layout: Layout, how: str) -> list[int]:
    """For each cell the cell where it comes to lie."""
    last = layout.side - 1
    moves = {
        "upside down": lambda r, c: (last - r, last - c),
        "mirrored": lambda r, c: (r, last - c),
        "transposed": lambda r, c: (c, r),
    }
    return [layout.at(*moves[how](*layout.place(cell))) for cell in layout.cells]


def _keeps(layout: Layout, moved: list[int]) -> bool:
    """Whether every house comes to lie on one of its kind."""
    kinds = {(house.kind, frozenset(house.cells)) for house in layout.houses}
    swapped = {"row": "column", "column": "row"}

    def lands(kind: str, cells: frozenset[int]) -> bool:
        return (kind, cells) in kinds or (swapped.get(kind), cells) in kinds

    return all(lands(h.kind, frozenset(moved[c] for c in h.cells)) for h in layout.houses)


SYMMETRIES = [
    (name, how)
    for name, layout in boards().items()
    for how in ("upside down", "mirrored", "transposed")
    if layout.side <= 10 and _keeps(layout, _turned(layout, how))
]


@pytest.mark.parametrize(("name", "how"), chosen(SYMMETRIES, *SYMMETRIES[::5]))
def test_a_turned_and_relabelled_board_has_the_same_cheapest_lines(name: str, how: str) -> None:
    layout, line = made(name, seed=7)
    moved = _turned(layout, how)
    digits = [*layout.digits]
    random.Random(5).shuffle(digits)
    marks = dict(zip(layout.symbols, (SYMBOLS[d - 1] for d in digits), strict=True))
    other = ["."] * layout.many
    for cell, mark in enumerate(line):
        other[moved[cell]] = marks.get(mark, ".")
    here = _written_next(layout, line)
    there = _written_next(layout, "".join(other))
    assert {
        (price, frozenset((moved[c], digits[d - 1]) for c, d in places)) for price, places in here
    } == there


def _written_next(layout: Layout, line: str) -> set[tuple[int, frozenset[tuple[int, int]]]]:
    lines = cheapest_lines(Board.of(Position.of(line, layout=layout)))
    return {(one.price, frozenset(one.places)) for one in lines}


def test_there_are_symmetries_of_every_kind_of_board() -> None:
    names = {name for name, _ in SYMMETRIES}
    assert {"4x4", "6x6, 2x3", "9x9 with diagonals and windows", "9x9"} <= names
    assert len(SYMMETRIES) >= 25


def test_cells_see_each_other_alike_on_every_board() -> None:
    for name, layout in boards().items():
        for cell in layout.cells:
            for other in members(layout.peer_masks[cell]):
                assert layout.peer_masks[other] >> cell & 1, name
        assert {len(house.cells) for house in layout.houses} == {layout.side}, name


@pytest.mark.parametrize(
    "name", chosen(["4x4", "6x6, 3x2", "10x10, 2x5", "9x9 with windows"], "6x6, 3x2")
)
def test_a_seed_makes_one_puzzle_of_a_board_and_symmetric_ones_look_the_same_upside_down(
    name: str,
) -> None:
    layout = boards()[name]
    assert puzzle(7, layout=layout) == puzzle(7, layout=layout)
    assert puzzle(7, layout=layout) != puzzle(8, layout=layout)
    line = puzzle(7, symmetric=True, layout=layout)
    given = [mark != "." for mark in line]
    assert given == given[::-1]
    assert count_solutions(line, layout=layout) == 1
    some = puzzle(7, layout.many // 2, layout=layout)
    assert layout.many - some.count(".") == layout.many // 2
