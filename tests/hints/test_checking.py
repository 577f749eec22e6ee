"""Checking a paper solve: states, mistakes, roots, and what each depth may say."""

from __future__ import annotations

import dataclasses
import random
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from papernudge.hints import Position, solve
from papernudge.hints.checking import Check, Checked1, Checked2, Checked3, Checked4, State, check
from papernudge.hints.geometry import HOUSE_CELLS, HOUSES_OF

# Puzzles of the Tidewick Lantern, made for these tests.
PUZZLES = [
    ".8.....53..7..5..9....3.2..5....6.9...9...7...7.8....4..6.2....9..7..4..41.....6.",
    "46.5..72...........189....48...1.4....74.21....3.5...83....584...........52..1.76",
    ".3.2..5.9.79..438..........3.27....5..8.3.4..4....26.7..........245..76.9.7..6.5.",
    "6.....8.......8.7..1834..5..2..7.....495.276.....6..2..8..1624..5.9.......4.....9",
    "..1..6..8..71....5.6..7......38..2..62.....19..4..97......4..8.1....86..4..5..3..",
    "8..9...2...6......57......8.618.4.3...82.67...9.3.128.7......12......8...1...7..5",
]
SOLUTIONS = [solve(puzzle) or "" for puzzle in PUZZLES]
EMPTY = "." * 81


def written(puzzle: int, digits: dict[int, int]) -> Position:
    entries = "".join(str(digits.get(c, ".")) for c in range(81))
    return Position.of(PUZZLES[puzzle], entries)


def blanks(puzzle: int) -> list[int]:
    return [c for c in range(81) if PUZZLES[puzzle][c] == "."]


@st.composite
def papers(draw: st.DrawFn) -> tuple[int, dict[int, int], set[int]]:
    """A puzzle, some entries, and which of them are wrong."""
    puzzle = draw(st.integers(0, len(PUZZLES) - 1))
    cells = draw(st.lists(st.sampled_from(blanks(puzzle)), unique=True, max_size=53))
    digits = {c: int(SOLUTIONS[puzzle][c]) for c in cells}
    wrong = set(draw(st.lists(st.sampled_from(cells), unique=True, max_size=6))) if cells else set()
    for c in wrong:
        digits[c] = (digits[c] - 1 + draw(st.integers(1, 8))) % 9 + 1
    return puzzle, digits, wrong


def test_an_untouched_puzzle_is_right_so_far() -> None:
    told = check(Position.of(PUZZLES[0])).at(1)
    assert told.state is State.RIGHT_SO_FAR
    assert (told.filled, told.wrong) == (24, 0)
    assert told.sentence == "Right so far: 24 of 81 cells are filled and nothing is wrong."


def test_an_empty_grid_has_more_than_one_solution_and_that_is_said() -> None:
    told = check(Position.of(EMPTY)).at(4)
    assert told.state is State.NOT_ONE_SOLUTION
    assert "more than one solution" in told.sentence
    assert "misprint" in told.sentence


def test_clashing_givens_are_told_apart_from_givens_without_a_solution() -> None:
    clash = check(Position.of("55" + "." * 79)).at(1)
    assert "two printed digits in one house are the same" in clash.sentence
    none = check(Position.of("12345678." + "........9" + "." * 63)).at(1)
    assert none.state is State.NOT_ONE_SOLUTION
    assert "allow no solution" in none.sentence


def test_a_solved_paper_is_solved_at_every_depth() -> None:
    position = written(1, {c: int(SOLUTIONS[1][c]) for c in blanks(1)})
    for depth in (1, 2, 3, 4):
        told = check(position).at(depth)
        assert told.state is State.SOLVED
        assert told.sentence == "Solved: all 81 digits are right."


def test_many_mistakes_are_told_in_lists() -> None:
    digits = {c: int(SOLUTIONS[1][c]) % 9 + 1 for c in blanks(1)[:12]}
    told = check(written(1, digits)).at(3)
    assert isinstance(told, Checked3)
    assert told.sentence.count(". ") <= 4
    clashing = [m.cell for m in told.mistakes if m.clashes]
    assert len(told.sentence) < 400
    for cell in digits:
        assert f"R{cell // 9 + 1}C{cell % 9 + 1}" in told.sentence
    assert ("repeat a digit of the same row, column or block" in told.sentence) == bool(clashing)


def test_another_depth_is_refused() -> None:
    with pytest.raises(ValueError, match="depth is 1, 2, 3 or 4, not 5"):
        check(Position.of(PUZZLES[0])).at(5)


@given(papers())
@settings(max_examples=120, deadline=None)
def test_exactly_the_wrong_entries_are_found(paper: tuple[int, dict[int, int], set[int]]) -> None:
    puzzle, digits, wrong = paper
    result = check(written(puzzle, digits))
    assert {m.cell for m in result.mistakes} == wrong
    filled = len(digits) + sum(d != "." for d in PUZZLES[puzzle])
    assert result.filled == filled
    if not wrong:
        assert result.state is (State.SOLVED if filled == 81 else State.RIGHT_SO_FAR)
    else:
        assert result.state is State.MISTAKEN
    told = result.at(4)
    assert isinstance(told, Checked4)
    assert [int(SOLUTIONS[puzzle][m.cell]) for m in told.mistakes] == list(told.right)


@given(papers())
@settings(max_examples=60, deadline=None)
def test_clashes_are_all_the_cells_that_repeat_the_digit(
    paper: tuple[int, dict[int, int], set[int]],
) -> None:
    puzzle, digits, _ = paper
    position = written(puzzle, digits)
    for mistake in check(position).mistakes:
        seen = {
            x
            for h in HOUSES_OF[mistake.cell]
            for x in HOUSE_CELLS[h]
            if x != mistake.cell and position.digits[x] == str(mistake.written)
        }
        assert set(mistake.clashes) == seen


@given(papers())
@settings(max_examples=60, deadline=None)
def test_the_houses_named_hold_every_mistake_and_fewer_would_not(
    paper: tuple[int, dict[int, int], set[int]],
) -> None:
    puzzle, digits, wrong = paper
    houses = check(written(puzzle, digits)).houses
    assert wrong <= {c for h in houses for c in HOUSE_CELLS[h]}
    if 0 < len(houses) <= 3:
        for fewer in combinations(range(27), len(houses) - 1):
            assert not wrong <= {c for h in fewer for c in HOUSE_CELLS[h]}
    if not wrong:
        assert houses == ()


@given(papers())
@settings(max_examples=60, deadline=None)
def test_there_is_a_root_wherever_there_is_a_mistake_and_rubbing_it_out_is_priced(
    paper: tuple[int, dict[int, int], set[int]],
) -> None:
    puzzle, digits, wrong = paper
    result = check(written(puzzle, digits))
    roots = {m.cell for m in result.mistakes if m.root}
    assert bool(roots) == bool(wrong)
    if wrong:
        assert result.first_out in roots
        assert 1 <= result.cost <= len(wrong)
        assert result.cost + len(roots) - 1 <= len(wrong)


FIELDS = {
    1: {"depth", "state", "filled", "wrong", "since", "sentence"},
    2: {"houses"},
    3: {"mistakes", "lost_notes", "first_out", "cost", "first_wrong"},
    4: {"right", "right_notes"},
}


@given(papers())
@settings(max_examples=40, deadline=None)
def test_a_depth_holds_its_own_fields_and_no_deeper_ones(
    paper: tuple[int, dict[int, int], set[int]],
) -> None:
    puzzle, digits, wrong = paper
    result = check(written(puzzle, digits))
    allowed: set[str] = set()
    for depth, kind in enumerate((Checked1, Checked2, Checked3, Checked4), start=1):
        told = result.at(depth)
        allowed |= FIELDS[depth]
        assert type(told) is kind
        assert {f.name for f in dataclasses.fields(told)} == allowed
        json = told.to_json()
        assert ("houses" in json) == (depth >= 2)
        assert ("mistakes" in json) == ("lost_notes" in json) == (depth >= 3)
        if depth <= 2:
            assert "R" not in told.sentence.replace("Right", "")
        if depth == 3:
            assert "Right would be" not in told.sentence
            assert all("right" not in m for m in json["mistakes"])  # type: ignore[attr-defined]
        if depth == 4:
            assert all("right" in m for m in json["mistakes"])  # type: ignore[attr-defined]
        if depth == 1 and wrong:
            assert not any(word in told.sentence for word in ("row", "column", "block"))


def test_notes_that_lost_the_right_digit_are_listed_from_depth_3() -> None:
    one, two = blanks(0)[:2]
    right = int(SOLUTIONS[0][one])
    lost = right % 9 + 1
    position = Position.of(PUZZLES[0], EMPTY, {one: [lost], two: [int(SOLUTIONS[0][two])]})
    result = check(position)
    assert result.state is State.RIGHT_SO_FAR
    assert "notes" not in result.at(2).sentence
    assert result.at(2).to_json().get("lost_notes") is None
    three, four = result.at(3), result.at(4)
    assert isinstance(three, Checked3)
    assert isinstance(four, Checked4)
    assert three.lost_notes == (one,)
    assert "has lost its right digit" in three.sentence
    assert f" {right} " not in three.sentence
    assert four.to_json()["right_notes"] == {"R1C1": right}


def test_notes_beside_a_written_digit_are_not_judged() -> None:
    cell = blanks(0)[0]
    digits = {cell: int(SOLUTIONS[0][cell])}
    entries = "".join(str(digits.get(c, ".")) for c in range(81))
    position = Position.of(PUZZLES[0], entries, {cell: [digits[cell] % 9 + 1]})
    assert check(position).lost_notes == ()


def test_the_earlier_photo_tells_what_was_written_since_and_the_first_wrong_one() -> None:
    cells = blanks(2)
    before = {c: int(SOLUTIONS[2][c]) for c in cells[:5]}
    wrong = cells[7]
    after = {**before, **{c: int(SOLUTIONS[2][c]) for c in cells[5:9]}}
    after[wrong] = after[wrong] % 9 + 1
    del after[cells[0]]
    result = check(written(2, after), written(2, before))
    assert result.since is not None
    assert result.since.written == tuple(cells[5:9])
    assert result.since.rubbed_out == (cells[0],)
    assert result.since.wrong == 1
    assert result.first_wrong == wrong
    assert "1 of the 4 written since the earlier photo" in result.at(1).sentence
    assert "first_wrong" not in result.at(2).to_json()
    assert "first_wrong" in result.at(3).to_json()


def test_an_earlier_photo_of_another_puzzle_is_refused() -> None:
    with pytest.raises(ValueError, match="the same givens"):
        check(Position.of(PUZZLES[0]), Position.of(PUZZLES[1]))


# ---------------------------------------------------------------- roots


def candidates(digits: list[int], cell: int) -> set[int]:
    seen = {digits[x] for h in HOUSES_OF[cell] for x in HOUSE_CELLS[h]}
    return set(range(1, 10)) - seen


def singles(digits: list[int]) -> list[tuple[int, int]]:
    """Every digit that a single writes here: found with plain candidate sets."""
    left = {c: candidates(digits, c) for c in range(81) if not digits[c]}
    found = [(c, min(d)) for c, d in left.items() if len(d) == 1]
    for house in HOUSE_CELLS:
        for digit in range(1, 10):
            places = [c for c in house if digit in left.get(c, ())]
            if len(places) == 1 and digit not in [digits[c] for c in house]:
                found.append((places[0], digit))
    return sorted(set(found))


def planted(seed: int) -> tuple[Position, int, set[int]] | None:
    """Some right entries, one wrong digit, then wrong digits that singles force from it."""
    dice = random.Random(seed)
    puzzle = dice.randrange(len(PUZZLES))
    digits = [0 if d == "." else int(d) for d in PUZZLES[puzzle]]
    for _ in range(dice.randrange(0, 25)):
        steps = singles(digits)
        if steps:
            cell, digit = dice.choice(steps)
            digits[cell] = digit
    slips = [
        (c, d)
        for c in range(81)
        if not digits[c]
        for d in candidates(digits, c) - {int(SOLUTIONS[puzzle][c])}
    ]
    if not slips:
        return None
    root, digit = dice.choice(slips)
    digits[root] = digit
    wrong = {root}
    for _ in range(dice.randrange(3, 16)):
        steps = [(c, d) for c, d in singles(digits) if not digits[c]]
        if not steps:
            break
        bad = [s for s in steps if s[1] != int(SOLUTIONS[puzzle][s[0]])]
        cell, digit = dice.choice(bad or steps)
        digits[cell] = digit
        if digit != int(SOLUTIONS[puzzle][cell]):
            wrong.add(cell)
    entries = "".join(
        str(d) if d and g == "." else "." for d, g in zip(digits, PUZZLES[puzzle], strict=True)
    )
    return Position.of(PUZZLES[puzzle], entries), root, wrong


def found_root(result: Check, root: int) -> bool:
    """The planted root itself, or one that stands in its place: the only root named."""
    roots = [m.cell for m in result.mistakes if m.root]
    return root in roots or len(roots) == 1


def test_the_root_of_a_chain_of_forced_mistakes_is_found() -> None:
    plants = [p for p in map(planted, range(120)) if p is not None]
    chains = [(p, r, w) for p, r, w in plants if len(w) >= 3]
    assert len(chains) > 40
    results = [(check(p), r, w) for p, r, w in chains]
    assert all({m.cell for m in result.mistakes} == w for result, _, w in results)
    found = sum(found_root(result, r) for result, r, _ in results)
    named_first = sum(result.first_out == r for result, r, _ in results)
    assert found >= 0.95 * len(results)
    assert named_first >= 0.6 * len(results)


def test_independent_slips_are_all_roots() -> None:
    """Two lonely wrong digits on an otherwise empty paper force nothing of each other."""
    first, second = blanks(4)[0], blanks(4)[-1]
    digits = {c: int(SOLUTIONS[4][c]) % 9 + 1 for c in (first, second)}
    result = check(written(4, digits))
    assert all(m.root for m in result.mistakes)
    assert result.cost == 1
