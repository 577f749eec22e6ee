"""Four depths: each tells its own and nothing deeper."""

from __future__ import annotations

import dataclasses
import json
import re
import subprocess
import sys
from itertools import pairwise

import pytest
from samples import tried
from strategies import positions

from papernudge.hints import Nudge, Position, Told1, Told2, Told3, Told4, next_nudge, solve, walk
from papernudge.hints import words as words_module
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import cell_name, members
from papernudge.hints.nudge import DigitFocus, HouseFocus
from papernudge.hints.said import SAID


def nudges() -> list[tuple[Position, Nudge]]:
    """All nudges of a few walks."""
    found = []
    for seed in (0, 3, 8, 14, 21, 33):
        position = Position.of(puzzle(seed))
        for step in walk(position).steps:
            found.append((position, step.nudge))
            for cell, digit in step.line.places:
                position = position.with_digit(cell, digit)
    return found


NUDGES = nudges()


def test_an_empty_a_clashing_a_hopeless_and_a_solved_grid_get_no_nudge() -> None:
    solved = solve(puzzle(1))
    assert solved is not None
    for line in ("." * 81, "11" + "." * 79, "12345678." + "........9" + "." * 63, solved):
        assert next_nudge(Position.of(line)) is None


def test_a_mistaken_entry_gets_no_nudge() -> None:
    line = puzzle(6)
    position = Position.of(line)
    assert position.solution is not None
    cell = line.index(".")
    wrong = next(
        d
        for d in range(1, 10)
        if position.candidates[d] >> cell & 1 and str(d) != position.solution[cell]
    )
    assert next_nudge(position.with_digit(cell, wrong)) is None


@pytest.mark.parametrize("depth", [0, 5, -1])
def test_another_depth_is_refused(depth: int) -> None:
    nudge = next_nudge(Position.of(puzzle(1)))
    assert nudge is not None
    with pytest.raises(ValueError, match="expected a depth from 1 to 4"):
        nudge.at(depth)


def fields(kind: type) -> set[str]:
    return {field.name for field in dataclasses.fields(kind)}


def test_each_depth_is_a_type_with_its_own_fields_and_no_deeper_ones() -> None:
    assert fields(Told1) == {"focus", "layout"}
    assert fields(Told2) - fields(Told1) == {"technique"}
    deeper = {"opened", "houses", "evidence", "looks", "line", "noted", "builds_on", "pattern"}
    assert fields(Told3) - fields(Told2) == deeper
    assert fields(Told4) - fields(Told3) == {"places", "follow"}
    _, nudge = NUDGES[0]
    assert [type(nudge.at(d)) for d in (1, 2, 3, 4)] == [Told1, Told2, Told3, Told4]
    assert [nudge.at(d).depth for d in (1, 2, 3, 4)] == [1, 2, 3, 4]


def test_the_focus_is_one_house_or_one_digit_never_both() -> None:
    kinds = set()
    for _, nudge in NUDGES:
        focus = nudge.at(1).focus
        assert (focus.digit is None) != (focus.house is None)
        assert len(nudge.at(1).to_json()["focus"]) == 1
        kinds.add(type(focus))
    assert kinds == {DigitFocus, HouseFocus}


def test_a_digit_in_focus_points_at_where_it_is_written() -> None:
    for position, nudge in NUDGES:
        if isinstance(nudge.focus, DigitFocus):
            written = [c for c in range(81) if position.digits[c] == str(nudge.focus.digit)]
            assert list(nudge.focus.cells) == written


def test_json_of_a_depth_holds_the_shallower_ones_and_nothing_deeper() -> None:
    for _, nudge in NUDGES:
        told = [nudge.at(d).to_json() for d in (1, 2, 3, 4)]
        assert set(told[0]) == {"focus", "sentence"}
        assert set(told[1]) == {"focus", "technique", "sentence"}
        third = {"focus", "technique", "houses", "evidence", "looks", "line", "pattern", "sentence"}
        if len(nudge.line.steps) > 1:
            third = third | {"builds_on"}
        assert set(told[2]) == third
        follow = {"follow"} if len(nudge.line.places) > 1 else set()
        assert set(told[3]) == third | {"places"} | follow
        assert len(told[3]["places"]) == 1
        for shallow, deep in pairwise(told):
            assert all(deep[k] == v for k, v in shallow.items() if k != "sentence")
        assert json.loads(json.dumps(told)) == told


def test_no_sentence_above_depth_four_names_a_cell_to_write_with_its_digit() -> None:
    for _, nudge in NUDGES:
        for depth in (1, 2):
            assert not re.search(r"R\dC\d", nudge.at(depth).sentence)
        for cell, digit in nudge.line.places:
            assert f"{digit} in {cell_name(cell)}" not in nudge.at(3).sentence
            if len(nudge.line.steps) == 1:
                assert cell_name(cell) not in nudge.at(3).sentence
        (cell, digit), *others = nudge.line.places
        assert f"Write {digit} in {cell_name(cell)}." in nudge.at(4).sentence
        assert not any(f"{d} in" in nudge.at(4).sentence for _, d in others if d != digit)
        assert all(cell_name(c) in nudge.at(4).sentence for c, _ in others)


def test_depth_one_says_nothing_but_where() -> None:
    for _, nudge in NUDGES:
        assert re.fullmatch(
            r"Follow the [1-9]s\.|Look at (row|column|block) [1-9]\.", nudge.at(1).sentence
        )


def test_evidence_at_depth_three_is_what_the_sat_judge_saw() -> None:
    for _, nudge in NUDGES:
        told = nudge.at(3)
        assert isinstance(told, Told3)
        assert told.evidence == tuple(members(nudge.line.last.evidence.cells))
        assert told.looks == nudge.line.looks
        assert len(told.line) == len(nudge.line.steps) - 1


def test_every_technique_met_has_words_at_every_depth() -> None:
    for _, nudge in NUDGES:
        for depth in (1, 2, 3, 4):
            sentence = nudge.at(depth).sentence
            assert sentence[0].isupper()
            assert sentence[-1] in ".?"
            assert "{" not in sentence
            assert "  " not in sentence


@tried(10, 60, positions())
def test_the_same_position_gets_the_same_nudge_and_a_true_one(position: Position) -> None:
    again = Position.of(position.givens, position.entries)
    one, other = next_nudge(position), next_nudge(again)
    assert (one is None) == (other is None) == (position.blank == 0)
    if one is not None and other is not None:
        assert one.at(4).to_json() == other.at(4).to_json()
        solution = position.solution
        assert solution is not None
        assert all(solution[c] == str(d) for c, d in one.line.places)


def test_words_join_as_people_do() -> None:
    listed = words_module.ENGLISH.all_of
    assert listed([]) == ""
    assert listed(["a"]) == "a"
    assert listed(["a", "b"]) == "a and b"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert words_module.ENGLISH.either([1, 2, 3]) == "1, 2 or 3"


def test_eight_takes_its_own_article() -> None:
    asked = [words_module.question(d, None, "hidden single") for d in (7, 8)]
    assert asked == [
        "In which house is just one place left for a 7?",
        "In which house is just one place left for an 8?",
    ]


def test_words_of_another_language_need_no_other_code() -> None:
    french = {
        "follow digit": "Suis les {digit}.",
        "all, two": "{first} et {last}",
        "write": "Écris {places}.",
        "digit in": "{digit} en {cell}",
    }
    english = words_module.ENGLISH
    other = dataclasses.replace(english, language="fr", said={**english.said, **french})
    assert words_module.where(7, None, other) == "Suis les 7."
    assert words_module.writing([(0, 1), (1, 2)], other) == "Écris 1 en R1C1 et 2 en R1C2."


def test_a_net_sends_to_a_house_and_not_to_a_digit() -> None:
    from papernudge.hints.board import Board
    from papernudge.hints.line import Line, Step
    from papernudge.hints.nudge import focus_of
    from papernudge.hints.techniques.nets import nets
    from papernudge.hints.techniques.singles import hidden_singles

    position = Position.of(puzzle(2))
    board = Board.of(position)
    steps = (Step.on(board, nets(board, 0)[0]), Step.on(board, hidden_singles(board)[0]))
    assert isinstance(focus_of(Line(steps, 9, 9), position), HouseFocus)


def test_exact_words_of_each_depth_for_one_known_position() -> None:
    """The first hint for a puzzle of our own."""
    rows = [
        "1 2 3  4 5 6  . . .",
        ". . .  . . .  . . .",
        ". . .  . . .  . . .",
        ". . .  . . .  7 . .",
        ". . .  . . .  8 . .",
        ". . .  . . .  . 7 .",
    ]
    from papernudge.hints.board import Board
    from papernudge.hints.nudge import focus_of
    from papernudge.hints.search import cheapest_lines, nearest

    position = Position.of("".join("".join(rows).split()).ljust(81, "."))
    line = nearest(cheapest_lines(Board.of(position)), ())
    assert line is not None
    nudge = Nudge(line, focus_of(line, position))
    assert [nudge.at(d).sentence for d in (1, 2, 3, 4)] == [
        "Look at row 1.",
        "Which digits are missing in row 1, and which of them has one place only? "
        "The rest follows.",
        "With R4C7, R5C7 and R6C8, the missing digits of row 1 fall into place one after the "
        "other.",
        "Write 7 in R1C9. R1C8 and R1C7 follow.",
    ]


READ_WRONG = re.compile(
    r"where (row|column|block) \d meet\b|\bno \d and \d in\b|\bof the 0\b|so it costs one digit"
    r"|comes to nothing|\b1 digits\b|\ba 8\b|  "
)


def test_what_once_read_wrong_is_said_otherwise_everywhere() -> None:
    """Templates read aloud: each of these stood in one."""
    catalogue = list(SAID.values())
    walks = [walk(Position.of(puzzle(seed))) for seed in range(4)]
    told = [s for one in walks for depth in (1, 2, 3, 4) for s in one.sentences(depth)]
    assert len(told) > 500
    assert [s for s in (*catalogue, *told) if READ_WRONG.search(s)] == []
    assert READ_WRONG.search("So there is no 2 and 6 in R1C1.")
    assert READ_WRONG.search("a blank where row 5 meet column 6")


def test_the_room_imports_without_numpy_and_without_any_other_room() -> None:
    code = (
        "import sys, papernudge.hints, papernudge.hints.generate, papernudge.hints.checking\n"
        "print(sorted(m for m in sys.modules if m.split('.')[0] in "
        "('numpy', 'cv2', 'onnxruntime', 'skimage', 'PIL', 'typer') "
        "or m.startswith('papernudge.') and not m.startswith('papernudge.hints')))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
