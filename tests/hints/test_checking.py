"""Checking a paper solve: states, mistakes, roots, and what each depth may say."""

from __future__ import annotations

import dataclasses
import random
import re
from itertools import combinations

import pytest
from hypothesis import example
from hypothesis import strategies as st
from samples import tried

from papernudge.hints import Position, solve
from papernudge.hints.checking import Checked1, Checked2, Checked3, Checked4, State, check
from papernudge.hints.geometry import HOUSES_OF
from papernudge.hints.layout import NEWSPAPER

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

HOUSE_CELLS = [house.cells for house in NEWSPAPER.houses]


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
    assert told.sentence == "Right so far: you've filled 0 of 57 and nothing is wrong."


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


@tried(20, 240, papers())
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


@tried(10, 120, papers())
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


@tried(10, 120, papers())
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


@tried(10, 120, papers())
@example((0, {52: 4, 70: 3, 0: 2, 2: 4, 3: 9, 4: 1, 44: 6, 45: 6, 60: 3, 43: 2}, {43, 52, 70}))
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
        # The other groups keep at least one wrong digit each; who stands in one group may well
        # fall with the root that is rubbed out.
        assert result.cost + len(result.roots) - 1 <= len(wrong)
        assert roots == {cell for group in result.roots for cell in group}
        firsts = {group[0] for group in result.roots}
        costs = {
            group: len(wrong - reached(puzzle, digits, wrong, firsts - {group[0]}))
            for group in result.roots
        }
        assert result.cost == max(costs.values())
        assert result.cost == next(n for group, n in costs.items() if result.first_out in group)


def reached(puzzle: int, digits: dict[int, int], wrong: set[int], kept: set[int]) -> set[int]:
    """The wrong entries that singles write, step by step, from the right digits and those kept.
    What repeats a given is written by nobody who looks.
    """
    givens = {c: int(mark) for c, mark in enumerate(PUZZLES[puzzle]) if mark != "."}
    there = (
        givens | {c: d for c, d in digits.items() if c not in wrong} | {c: digits[c] for c in kept}
    )
    grown = set(kept)
    while True:
        more = {
            c
            for c in wrong - grown
            if digits[c] not in {givens.get(x) for x in seen_by(c)}
            and is_single(there, c, digits[c])
        }
        if not more:
            return grown
        grown |= more
        there |= {c: digits[c] for c in more}


def seen_by(cell: int) -> set[int]:
    return {x for h in HOUSES_OF[cell] for x in HOUSE_CELLS[h]} - {cell}


def is_single(there: dict[int, int], cell: int, digit: int) -> bool:
    """Whether the cell's houses show all other digits, or no other cell of one can take it."""
    if {there[x] for x in seen_by(cell) if x in there} >= set(range(1, 10)) - {digit}:
        return True
    return any(
        all(
            there.get(x, digit) != digit or digit in {there.get(y) for y in seen_by(x) - {cell}}
            for x in HOUSE_CELLS[house]
            if x != cell
        )
        for house in HOUSES_OF[cell]
    )


FIELDS = {
    1: {"depth", "state", "filled", "wrong", "since", "misprint", "misprinted", "sentence"},
    2: {"houses"},
    3: {
        "mistakes",
        "lost_notes",
        "stale_notes",
        "roots",
        "first_out",
        "first_or",
        "cost",
        "first_wrong",
        "misprinted_cells",
    },
    4: {"right", "right_notes", "printed_instead"},
}


@tried(13, 80, papers())
def test_a_depth_holds_its_own_fields_and_no_deeper_ones(
    paper: tuple[int, dict[int, int], set[int]],
) -> None:
    puzzle, digits, wrong = paper
    result = check(written(puzzle, digits))
    allowed = {"layout"}
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
    assert "The small notes in R1C1 have lost the right digit." in three.sentence
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
    assert "can't be right: one of the 4 written since" in result.at(1).sentence
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


def test_the_planted_root_of_forced_mistakes_is_always_among_those_named() -> None:
    """Whatever follows by singles follows from the planted digit, so nothing explains more."""
    plants = [p for p in map(planted, range(120)) if p is not None]
    chains = [(p, r, w) for p, r, w in plants if len(w) >= 3]
    assert len(chains) > 40
    named = []
    for position, root, wrong in chains:
        result = check(position)
        roots = {m.cell for m in result.mistakes if m.root}
        assert root in roots
        assert {m.cell for m in result.mistakes} == wrong
        assert result.roots == (tuple(sorted(roots)),)
        assert result.cost == len(wrong)
        assert {result.first_out, *result.first_or} == roots
        assert all(m.choice == (m.root and len(roots) > 1) for m in result.mistakes)
        named.append(len(roots))
    assert sorted(named)[len(named) // 2] <= 3


def test_roots_that_explain_each_other_are_all_named_and_called_a_choice() -> None:
    found = [c for c in (check(p[0]) for p in map(planted, range(40)) if p) if c.first_or]
    two = next(c for c in found if len(c.first_or) == 1 and len(c.mistakes) > 2)
    names = [f"R{c // 9 + 1}C{c % 9 + 1}" for c in (two.first_out or 0, *two.first_or)]
    assert f"{names[0]} or {names[1]} came first: either explains" in two.at(3).sentence
    told = two.at(3).to_json()
    chosen = [m for m in told["mistakes"] if m.get("choice")]  # type: ignore[attr-defined]
    assert sorted(m["cell"] for m in chosen) == sorted(names)
    assert all(m["root"] for m in chosen)
    assert "roots" not in two.at(2).to_json()
    assert "came first" not in two.at(2).sentence


def test_an_earlier_photo_decides_which_of_them_came_first() -> None:
    position, _, _ = next(p for p in map(planted, range(40)) if p and check(p[0]).first_or)
    named = [m.cell for m in check(position).mistakes if m.root]
    entries = "".join(e if c == named[-1] else "." for c, e in enumerate(position.entries))
    told = check(position, Position.of(position.givens, entries))
    assert [m.cell for m in told.mistakes if m.root] == [named[-1]]
    assert not any(m.choice for m in told.mistakes)


def test_what_repeats_a_given_follows_from_nothing() -> None:
    """The given was there to be seen: nobody was forced to write beside it."""
    for seed in range(60):
        plant = planted(seed)
        if plant is not None:
            position = plant[0]
            for mistake in check(position).mistakes:
                if any(position.givens[x] != "." for x in mistake.clashes):
                    assert mistake.root


def test_independent_slips_are_all_roots() -> None:
    """Two lonely wrong digits on an otherwise empty paper force nothing of each other."""
    first, second = blanks(4)[0], blanks(4)[-1]
    digits = {c: int(SOLUTIONS[4][c]) % 9 + 1 for c in (first, second)}
    result = check(written(4, digits))
    assert all(m.root for m in result.mistakes)
    assert result.cost == 1
    assert "Neither follows from the other." in result.at(3).sentence


# ---------------------------------------------------------------- words since an earlier photo


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        (True, True, "One digit you wrote can't be right: it stood in the earlier photo already."),
        (False, True, "One digit you wrote can't be right: the one written since the earlier"
         " photo."),
        (False, False, "Right so far: you've filled 0 of 53 and nothing is wrong."),
    ],
)  # fmt: skip
def test_sentences_about_what_was_written_since(before: bool, after: bool, said: str) -> None:
    """Where nothing was written since, nothing is counted."""
    wrong = {blanks(1)[0]: int(SOLUTIONS[1][blanks(1)[0]]) % 9 + 1}
    early = written(1, wrong if before else {})
    late = written(1, wrong if after else {})
    assert check(late, early).at(1).sentence == said


# ---------------------------------------------------------------- notes


def test_notes_that_a_written_digit_has_overtaken_are_told_from_depth_3() -> None:
    given = int(PUZZLES[0][1])  # the 8 in R1C2 stands in sight of R1C1
    right = int(SOLUTIONS[0][0])
    result = check(Position.of(PUZZLES[0], EMPTY, {0: [right, given]}))
    assert result.stale_notes == ((0, (given,)),)
    assert "stale_notes" not in result.at(2).to_json()
    assert result.at(3).to_json()["stale_notes"] == {"R1C1": [given]}
    assert f"Among the small notes, {given} in R1C1 stands in sight already." in (
        result.at(3).sentence
    )


def test_a_wrong_digit_overtakes_no_note() -> None:
    cell, noted = blanks(0)[0], blanks(0)[1]
    digits = [0 if d == "." else int(d) for d in PUZZLES[0]]
    free = candidates(digits, cell) & candidates(digits, noted) - {int(SOLUTIONS[0][cell])}
    wrong = min(free)
    entries = "".join(str(wrong) if c == cell else "." for c in range(81))
    position = Position.of(PUZZLES[0], entries, {noted: [wrong]})
    assert all(wrong not in digits for _, digits in check(position).stale_notes)


# ---------------------------------------------------------------- misprints


def test_clashing_givens_are_counted_then_housed_then_named_then_mended() -> None:
    line = PUZZLES[0]
    twice = line[:8] + "8" + line[9:]  # R1C9 is blank in truth; R1C2 holds an 8
    told = [check(Position.of(twice)).at(d) for d in (1, 2, 3, 4)]
    assert "two printed digits in one house are the same" in told[0].sentence
    assert "row 1" not in told[0].sentence
    assert "Look at row 1." in told[1].sentence
    assert "R1C2" not in told[1].sentence
    assert "The 8s in R1C2 and R1C9 can't both stand." in told[2].sentence
    misprints = [t.to_json().get("misprint") for t in told]
    assert misprints[0] == {"kind": "clash", "count": 2}
    assert misprints[1] == {"kind": "clash", "count": 2, "houses": ["row 1"]}
    assert misprints[2] == {**misprints[1], "cells": ["R1C2", "R1C9"]}
    assert set(misprints[3]) == {"kind", "count", "houses", "cells", "instead"}


def one_changed(seed: int) -> tuple[str, int, int] | None:
    """A puzzle with one given printed wrong, without a clash: line, cell and right digit."""
    dice = random.Random(seed)
    line = dice.choice(PUZZLES)
    cell = dice.choice([c for c in range(81) if line[c] != "."])
    free = candidates([0 if d == "." else int(d) for d in line], cell) - {int(line[cell])}
    if not free:
        return None
    return line[:cell] + str(dice.choice(sorted(free))) + line[cell + 1 :], cell, int(line[cell])


@pytest.mark.slow
def test_the_one_given_that_would_mend_the_puzzle_is_told_by_the_depths() -> None:
    """Against plain trying of all givens and digits with another solver's count."""
    located = 0
    for seed in range(60):
        changed = one_changed(seed)
        if changed is None or solve(changed[0]):
            continue
        line, cell, right = changed
        mends = {
            c
            for c in range(81)
            for d in range(1, 10)
            if line[c] not in (".", str(d)) and solve(line[:c] + str(d) + line[c + 1 :])
        }
        result = check(Position.of(line))
        assert (result.misprint.kind == "one given") == (len(mends) == 1)
        if len(mends) == 1:
            located += 1
            four = result.at(4)
            assert isinstance(four, Checked4)
            assert four.misprinted_cells == (cell,)
            assert [c for c, _ in four.printed_instead] == [cell]
            assert right in four.printed_instead[0][1]
            name = f"R{cell // 9 + 1}C{cell % 9 + 1}"
            said = [result.at(d).sentence for d in (1, 2, 3, 4)]
            assert "If one of them were another digit" in said[0]
            assert "block" not in said[0]
            assert "Look at block" in said[1]
            assert name not in said[1]
            assert f"If the {line[cell]} in {name} were another digit" in said[2]
            assert f"{right} in {name}" not in said[2]
            assert re.search(rf"\b{right}\b.* in {name}", said[3])
            assert not any("R" in s.replace("Right", "") for s in said[:2])
    assert located >= 5


def test_where_several_givens_could_be_at_fault_none_is_blamed() -> None:
    result = check(Position.of(EMPTY[:80] + "1"))
    assert result.misprint.kind == ""
    assert result.deepest == 1
    assert "misprint" not in result.at(4).to_json()
