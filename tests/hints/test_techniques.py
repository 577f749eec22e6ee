"""Techniques: drawn examples, length, published deductions, and proof by SAT."""

from __future__ import annotations

import ast
import doctest
import importlib
import inspect
import pkgutil
import random
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest
import shared_puzzles
from judging import (
    is_forced,
    leaves_two,
    lines_along,
    sent_right,
    sparse_boards_of,
    steps_along,
    verdict,
)
from patterns import fault
from samples import sized
from sat import Judge

import papernudge.hints
import papernudge.hints.techniques
from papernudge.hints import Position, solve
from papernudge.hints.board import Board
from papernudge.hints.deduction import evidence_of
from papernudge.hints.drawing import drawn, marked
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import candidate_pairs, cell_of
from papernudge.hints.line import Step
from papernudge.hints.search import TECHNIQUES, UNIQUENESS
from papernudge.hints.techniques.nets import nets
from papernudge.hints.techniques.singles import hidden_singles, naked_singles, singles


def modules(package: ModuleType) -> list[ModuleType]:
    names = [m.name for m in pkgutil.iter_modules(package.__path__) if not m.ispkg]
    return [importlib.import_module(f"{package.__name__}.{name}") for name in names]


EVERYTHING = modules(papernudge.hints) + modules(papernudge.hints.techniques)


@pytest.fixture(scope="module")
def judge() -> Iterator[Judge]:
    judge = Judge()
    yield judge
    judge.close()


@pytest.mark.parametrize("module", EVERYTHING, ids=lambda m: m.__name__.rpartition(".")[2])
def test_every_example_in_a_docstring_holds(module: ModuleType) -> None:
    assert doctest.testmod(module).failed == 0


@pytest.mark.parametrize("technique", [t for t, _ in (*TECHNIQUES, *UNIQUENESS)] + [nets])
def test_every_technique_has_a_drawn_example_and_at_most_sixty_lines(technique: object) -> None:
    source = inspect.getsource(technique)  # type: ignore[arg-type]
    assert ">>>" in source
    assert "    ..." in source
    assert len(source.splitlines()) <= 60


def test_no_function_of_the_room_is_longer_than_sixty_lines() -> None:
    for module in EVERYTHING:
        assert module.__file__ is not None
        tree = ast.parse(Path(module.__file__).read_text())
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef):
                assert node.end_lineno is not None
                length = node.end_lineno - node.lineno + 1
                assert length <= 60, f"{module.__name__}.{node.name} has {length} lines"


def test_an_empty_grid_yields_nothing() -> None:
    board = Board.of(Position("." * 81))
    assert singles(board) == []
    for technique, _ in (*TECHNIQUES, *UNIQUENESS):
        assert technique(board, 99) == []


def test_a_full_grid_yields_nothing() -> None:
    solution = solve(puzzle(1))
    assert solution is not None
    board = Board.of(Position(solution))
    assert singles(board) == []
    for technique, _ in (*TECHNIQUES, *UNIQUENESS):
        assert technique(board, 99) == []


def test_a_published_hidden_single_is_found_in_every_form_the_text_allows() -> None:
    """Arnold, Chapman & Rupert, "How Do YOU Solve Sudoku?" (read): row 1 reads 7 6 . 8 1 . . 4 5,
    column 3 and the top-right block hold a 3, so 3 goes to row 1, column 6.
    """
    row = "76.81..45"
    for block_cell in ("R3C7", "R3C8", "R3C9"):
        for column_cell in [f"R{r}C3" for r in range(4, 10)]:
            line = list(row + "." * 72)
            line[cell_of(block_cell)] = line[cell_of(column_cell)] = "3"
            found = hidden_singles(drawn("".join(line)))
            (single,) = (d for d in found if d.reads[0].house == 0)
            assert single.places == ((cell_of("R1C6"), 3),)
            assert single.looks == 4


def test_a_published_naked_single_is_found() -> None:
    """Arnold, Chapman & Rupert (read): row has 5, 6, 8, column 3, 9, block 1, 2, 7: 4 at R2C2."""
    rows = [
        "1 . .  . . .  . . .",
        ". . .  5 6 8  . . .",
        "2 7 .  . . .  . . .",
        ". 3 .  . . .  . . .",
        ". 9 .  . . .  . . .",
    ]
    board = drawn("\n".join(rows))
    (single,) = (d for d in naked_singles(board) if d.places[0][0] == cell_of("R2C2"))
    assert single.places == ((cell_of("R2C2"), 4),)
    evidence = evidence_of(board, single)
    assert evidence.cells.bit_count() == 8


def test_cross_hatching_of_a_well_known_puzzle_places_its_five(data_dir: Path) -> None:
    """An encyclopedia's caption (read), its puzzle (from memory): 5 at row 3, column 7."""
    line = shared_puzzles.check_values()["wikipedia-crosshatch"]["puzzle"]
    found = [d.places[0] for d in hidden_singles(Board.of(Position.of(line)))]
    assert (cell_of("R3C7"), 5) in found


@sized("many", 8, 24)
def test_told_steps_are_forced_and_as_named_with_nothing_idle(judge: Judge, many: int) -> None:
    rng, verdicts = random.Random(3), Counter[str]()
    lines = [puzzle(seed) for seed in range(many)]
    for line in lines:
        for step in steps_along(line, rng):
            assert verdict(judge, step) == "as named", (line, step)
            verdicts[step.technique] += 1
    assert verdicts.total() > 5 * many
    assert len(verdicts) >= 6


def test_told_steps_of_seventeen_givens_are_forced_too(data_dir: Path, judge: Judge) -> None:
    rng, count = random.Random(4), 0
    for line in rng.sample(shared_puzzles.clues17(), 12):
        for step in steps_along(line, rng):
            assert verdict(judge, step) == "as named", (line, step)
            count += 1
    assert count > 50


@sized("many", 5, 10)
def test_depth_one_sends_to_where_the_first_pattern_lies(many: int) -> None:
    rng, sent = random.Random(6), Counter[str]()
    for line in [puzzle(seed) for seed in range(40, 40 + many)]:
        for one, position in lines_along(line, rng):
            assert sent_right(one, position), (line, one)
            sent[one.steps[0].technique] += 1
    assert len(sent) >= 6


@sized("many", 8, 22)
def test_whatever_a_technique_finds_is_forced(judge: Judge, many: int) -> None:
    rng, found = random.Random(5), Counter[str]()
    for board in sparse_boards_of((puzzle(seed) for seed in range(many)), rng):
        for technique, _ in (*TECHNIQUES, *UNIQUENESS):
            some = technique(board, 22)
            for deduction in rng.sample(some, min(4, len(some))):
                assert is_forced(judge, board, deduction), deduction
                assert fault(Step.on(board, deduction)) is None
                found[deduction.technique] += 1
    assert found.total() > 200
    assert len(found) >= 10


def test_the_judge_can_say_no(judge: Judge) -> None:
    """A deduction with a witness too few, or a false claim, must be caught."""
    board = drawn("1 2 .  4 5 6  7 8 .\n" + ". . 9  . . .  . . .")
    (single,) = (d for d in naked_singles(board) if d.places == ((2, 3),))
    evidence = evidence_of(board, single)
    assert judge.verdict(board, single, evidence) == "sound and minimal"
    less = type(evidence)(evidence.cells & (evidence.cells - 1))
    assert judge.verdict(board, single, less) == "not forced"
    more = type(evidence)(board.filled)
    assert judge.verdict(board, single, more) in ("idle evidence", "sound and minimal")
    idle = drawn("1 2 .  4 5 6  7 8 .\n" + ". . 9  . . .  . . .\n" + "5 . .  . . .  . . .")
    assert judge.verdict(idle, single, type(evidence)(idle.filled)) == "idle evidence"


def test_a_rectangle_of_one_pair_is_two_solutions(judge: Judge) -> None:
    rows = "12 . . 12 . . . . .\n" + "12 . . 123 . . . . ."
    board = marked(rows)
    (deduction,) = UNIQUENESS[0][0](board, 9)
    assert candidate_pairs(deduction.ruled_out) == ((12, 1), (12, 2))
    assert leaves_two(judge, board, deduction, evidence_of(board, deduction))
    assert not judge.forces([], [-c for c in (1,)])


def test_a_rectangle_over_four_blocks_says_nothing() -> None:
    rows = ["12 . . 12 . . . . ."] + [". . . . . . . . ."] * 2 + ["12 . . 123 . . . . ."]
    assert UNIQUENESS[0][0](marked("\n".join(rows)), 9) == []
