"""The cheapest lines: nothing cheaper, the same under every symmetry, needed steps only."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from functools import cache

import shared_puzzles
from plainly import cheapest
from samples import sized, tried
from strategies import SAME, Symmetry, positions, symmetries, symmetry

from papernudge.hints import Position, solve, walk
from papernudge.hints.board import Board
from papernudge.hints.choice import following
from papernudge.hints.deduction import exclusions
from papernudge.hints.dominance import demand
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import HOUSES_OF, candidate, candidate_pairs
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.line import Line
from papernudge.hints.looks import PATTERN
from papernudge.hints.search import LEAST_LINE, TECHNIQUES, Search, cheapest_lines, nearest
from papernudge.hints.techniques.singles import hidden_singles, last_blanks, naked_singles

FEW, MORE = (1, 5), (2, 6)
"""Puzzles of our own whose walks need five lines with eliminations."""


def hard_positions(lines: Iterable[str]) -> list[Position]:
    """Positions along walks where the cheapest line has an elimination."""
    return [position for line in lines for position in along(line)]


@cache
def along(line: str) -> list[Position]:
    """The same of one walk, gone once a run."""
    found, position = [], Position.of(line)
    while position.blank:
        best = cheapest_lines(Board.of(position))
        if len(best[0].steps) > 1:
            found.append(position)
        for cell, digit in best[0].places:
            position = position.with_digit(cell, digit)
    return found


def own(seeds: Iterable[int]) -> list[Position]:
    """Those of puzzles of our own."""
    return hard_positions(puzzle(seed) for seed in seeds)


def same_lines(position: Position, way: Symmetry) -> bool:
    here = {way.key(line) for line in cheapest_lines(Board.of(position))}
    turned = Board.of(Position.of(way.line(position.digits)))
    return here == {SAME.key(line) for line in cheapest_lines(turned)}


def test_a_full_grid_has_no_line() -> None:
    solution = solve(puzzle(2))
    assert solution is not None
    assert cheapest_lines(Board.of(Position(solution))) == []
    assert nearest([], [3]) is None


@tried(15, 40, positions(), symmetries())
def test_a_turned_mirrored_relabelled_grid_has_the_same_cheapest_lines(
    position: Position, way: Symmetry
) -> None:
    assert same_lines(position, way)


@sized("seeds", FEW, range(12))
def test_so_has_one_that_needs_eliminations(seeds: Sequence[int]) -> None:
    found = own(seeds)
    assert len(found) >= len(seeds) // 2
    rng = random.Random(6)
    for position in found[: len(seeds)]:
        assert same_lines(position, symmetry(rng))


def test_so_have_puzzles_of_seventeen_givens(data_dir: object) -> None:
    rng = random.Random(7)
    for position in hard_positions(rng.sample(shared_puzzles.clues17(), 12)):
        assert same_lines(position, symmetry(rng))


@sized("seeds", FEW, range(8))
def test_no_line_of_one_elimination_is_cheaper_than_the_cheapest(seeds: Sequence[int]) -> None:
    """By trying every deduction of every technique, with every single that it opens."""
    for position in own(seeds):
        board = Board.of(position)
        lines = cheapest_lines(board)
        least, names = cheapest(board, lines[0].price)
        assert least == lines[0].price or all(len(line.steps) > 2 for line in lines)
        if any(len(line.steps) == 2 for line in lines):
            assert names == {line.technique for line in lines if len(line.steps) == 2}


def test_one_naked_pair_opens_what_a_pair_and_a_triple_did() -> None:
    """A case seen in an audit: the pair R1C4, R3C4 opens R2C4."""
    seen = ".25..1...3.1..94....9..851...8..423..43....5..17....4..346.7125..62.5394..24.3876"
    line = nearest(cheapest_lines(Board.of(Position.of(seen))), ())
    assert line is not None
    first, last = line.steps
    assert first.technique == "naked pair"
    assert first.deduction.held == 1 << 3 | 1 << 21
    assert last.places == ((12, 5),)


@sized("seeds", range(3), range(12))
def test_no_pattern_is_told_where_a_plain_single_stands_however_dear(seeds: Sequence[int]) -> None:
    for seed in seeds:
        position = Position.of(puzzle(seed))
        for line in walk(position).lines:
            board = Board.of(position)
            plain = [*last_blanks(board), *hidden_singles(board), *naked_singles(board)]
            assert (len(line.steps) == 1) == bool(plain)
            for cell, digit in line.places:
                position = position.with_digit(cell, digit)


@sized("seeds", FEW, (*FEW, *MORE, *range(30, 32)))
def test_nothing_dearer_than_asked_is_looked_for(seeds: Sequence[int]) -> None:
    for position in own(seeds):
        board = Board.of(position)
        lines = cheapest_lines(board)
        price = lines[0].price
        assert cheapest_lines(board, most=price - 1) == []
        bounded = cheapest_lines(board, most=price)
        assert {line.key for line in bounded} == {line.key for line in lines}


@sized("seeds", FEW, (*FEW, *MORE, *range(50, 52)))
def test_no_pattern_is_cheaper_than_its_declared_least(seeds: Sequence[int]) -> None:
    assert PATTERN + 1 + min(least for _, least in TECHNIQUES) == LEAST_LINE
    for position in own(seeds):
        for technique, least in TECHNIQUES:
            assert all(d.looks >= least for d in technique(Board.of(position), 30))


@sized("seeds", FEW, (*FEW, *MORE, *range(60, 62)))
def test_every_technique_keeps_to_its_budget(seeds: Sequence[int]) -> None:
    for position in own(seeds):
        board = Board.of(position)
        for technique, _ in TECHNIQUES:
            few, many = technique(board, 12), technique(board, 20)
            assert all(d.looks <= 12 for d in few)
            cheap = {(d.reads, d.ruled_out) for d in many if d.looks <= 12}
            assert {(d.reads, d.ruled_out) for d in few} >= cheap


@sized("seeds", FEW, (*FEW, *MORE, *range(70, 73)))
def test_a_line_holds_nothing_but_what_its_last_step_needs(seeds: Sequence[int]) -> None:
    for position in own(seeds):
        for line in cheapest_lines(Board.of(position))[:3]:
            told = line.settled()
            needed = 0
            for step in reversed(told.steps):
                assert step.places or step.ruled_out & needed == step.ruled_out != 0
                needed |= step.evidence.earlier


@sized("seeds", FEW, (*FEW, *MORE, *range(90, 92)))
def test_what_a_step_builds_on_was_ruled_out_before_it(seeds: Sequence[int]) -> None:
    for position in own(seeds):
        for line in cheapest_lines(Board.of(position))[:3]:
            out = 0
            for step in line.settled().steps:
                assert step.evidence.earlier & ~out == 0
                asked = {candidate(c, d) for c, d in exclusions(NEWSPAPER, step.deduction.reads)}
                earlier = candidate_pairs(step.evidence.earlier)
                assert all(candidate(c, d) in asked for c, d in earlier)
                out |= step.ruled_out


@tried(20, 40, positions())
def test_nothing_contradicts_the_solution(position: Position) -> None:
    solution = position.solution
    assert solution is not None
    for line in cheapest_lines(Board.of(position)):
        for step in line.steps:
            assert all(solution[c] == str(d) for c, d in step.places)
            assert all(solution[c] != str(d) for c, d in candidate_pairs(step.ruled_out))


def test_ties_go_to_where_more_follows_then_fewer_blanks_then_blocks_then_what_is_near() -> None:
    """Common practice, no source; reading order decides last of all."""
    near = 0
    for seed in range(30):
        board = Board.of(Position.of(puzzle(seed, givens=32)))
        lines = cheapest_lines(board)
        for cell in range(0, 81, 8):
            chosen = nearest(lines, [cell])
            assert chosen is not None
            for line in lines:
                before, after = _wish(chosen), _wish(line)
                assert before <= after
                if before == after and _touches(line, cell):
                    assert _touches(chosen, cell)
                    near += 1
    assert near > 30


def _wish(line: Line) -> tuple[int, int, int]:
    asked = demand(line.last.board, line.last.deduction.reads)
    return -following(line), asked.blanks, asked.kind


def _touches(line: Line, cell: int) -> bool:
    return any(
        step.evidence.cells >> cell & 1 or set(step.houses) & set(HOUSES_OF[cell])
        for step in line.steps
    )


def test_hard_published_puzzles_begin_with_a_named_reason(data_dir: object) -> None:
    """Recalled from memory, see check_values.json; whole walks in bench_completeness.py."""
    for line in shared_puzzles.hard_ones()[:1]:
        found = Search(Board.of(Position.of(line))).run()
        assert found
        solution = solve(line)
        assert solution is not None
        assert all(solution[c] == str(d) for f in found for c, d in f.deduction.places)
