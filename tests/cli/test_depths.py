"""Golden text and JSON of each depth. A depth never shows what a deeper one would."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from functools import lru_cache
from importlib import resources
from typing import Any

import pytest
from hypothesis import strategies as st
from jsonschema import Draft202012Validator
from samples import tried

from papernudge.cli.session.answers import HintWishes, check_answer, hint_answer
from papernudge.cli.session.pages import Sheet
from papernudge.cli.terminal.outcome import code_of_answer
from papernudge.cli.terminal.sources import Source, open_page
from papernudge.hints import next_nudge, solve

Run = Callable[..., Any]

PUZZLE = ".3.2..5.9.79..438..........3.27....5..8.3.4..4....26.7..........245..76.9.7..6.5."
SOLUTION = solve(PUZZLE) or ""
EMPTY = "." * 81


@lru_cache(maxsize=1)
def schema() -> Draft202012Validator:
    text = resources.files("papernudge.cli").joinpath("schema.json").read_text("utf-8")
    Draft202012Validator.check_schema(json.loads(text))
    return Draft202012Validator(json.loads(text))


def sheet(entries: str = EMPTY, givens: str = PUZZLE) -> Sheet:
    return Sheet(open_page(Source(None, givens, entries)), 1)


def mistaken() -> str:
    """A 2 beside no other 2, one beside another, and one that is right."""
    entries = list(EMPTY)
    entries[0], entries[2], entries[80] = "2", "4", SOLUTION[80]
    return "".join(entries)


CHECKED = {
    1: "2 of the digits you wrote can't be right.",
    2: "2 of the digits you wrote can't be right. Look again at row 1.",
    3: "2 of the digits you wrote can't be right. The 2 in R1C1 repeats the 2 in R1C4."
    " The 4 in R1C3 repeats the 4 in R8C3. Neither follows from the other.",
    4: "2 of the digits you wrote can't be right. The 2 in R1C1 repeats the 2 in R1C4."
    " The 4 in R1C3 repeats the 4 in R8C3. Neither follows from the other."
    " Right would be 8 in R1C1 and 1 in R1C3.",
}

CHECKED_JSON: dict[int, dict[str, Any]] = {
    1: {"wrong": 2},
    2: {"houses": ["row 1"]},
    3: {
        "mistakes": [
            {"cell": "R1C1", "written": 2, "clashes": ["R1C4"], "root": True},
            {"cell": "R1C3", "written": 4, "clashes": ["R8C3"], "root": True},
        ],
        "lost_notes": [],
        "roots": [["R1C1"], ["R1C3"]],
        "first_out": {"cell": "R1C1", "cost": 1},
    },
    4: {
        "mistakes": [
            {"cell": "R1C1", "written": 2, "clashes": ["R1C4"], "root": True, "right": 8},
            {"cell": "R1C3", "written": 4, "clashes": ["R8C3"], "root": True, "right": 1},
        ],
    },
}


@pytest.mark.parametrize("depth", [1, 2, 3, 4])
def test_check_says_at_each_depth_just_this(papernudge: Run, depth: int) -> None:
    words = ["check", "--given-line", PUZZLE, "--entry-line", mistaken(), "--tell", depth]
    assert papernudge(*words).out == CHECKED[depth] + "\n"
    told = json.loads(papernudge(*words, "--json").out)
    expected = {
        "format": 1,
        "photo": None,
        "grid": 1,
        "state": "mistaken",
        "depth": depth,
        "filled": 32,
        "sentence": CHECKED[depth],
    }
    for shallower in range(1, depth + 1):
        expected |= CHECKED_JSON[shallower]
    assert told == expected
    schema().validate(told)


HINT_KEYS = {
    1: {"focus"},
    2: {"technique"},
    3: {"houses", "evidence", "looks", "line", "pattern"},
    4: {"places"},
}


@pytest.mark.parametrize("depth", [1, 2, 3, 4])
def test_hint_gives_at_each_depth_just_these_fields(papernudge: Run, depth: int) -> None:
    words = ["hint", "--given-line", PUZZLE, "--tell", depth]
    text = papernudge(*words).out
    told = json.loads(papernudge(*words, "--json").out)
    schema().validate(told)
    allowed = {"sentence"}.union(*(HINT_KEYS[d] for d in range(1, depth + 1)))
    assert set(told) == {"format", "photo", "grid", "state", "depth", "sentence", "nudge"}
    assert (told["state"], told["depth"]) == ("open", depth)
    assert set(told["nudge"]) == allowed
    assert set(told["nudge"]["focus"]) in ({"digit"}, {"house"})
    assert text == told["nudge"]["sentence"] + "\n" == told["sentence"] + "\n"
    deepest = json.loads(papernudge("hint", "--given-line", PUZZLE, "--tell", 4, "--json").out)
    for field in allowed - {"sentence"}:
        assert told["nudge"][field] == deepest["nudge"][field]


def test_the_hint_at_depth_4_is_the_solutions_digit(papernudge: Run) -> None:
    told = json.loads(papernudge("hint", "--given-line", PUZZLE, "--tell", 4, "--json").out)
    for place in told["nudge"]["places"]:
        row, column = int(place["cell"][1]), int(place["cell"][3])
        assert SOLUTION[9 * row + column - 10] == str(place["digit"])


@tried(8, 50, st.lists(st.integers(0, 80), max_size=60))
def test_words_of_a_depth_are_made_of_its_own_fields(cells: list[int]) -> None:
    """No cell is named before depth 3, no technique before depth 2, no digit or cell that is to be
    written, but the digit that a scan is about.
    """
    entries = "".join(SOLUTION[c] if c in cells and PUZZLE[c] == "." else "." for c in range(81))
    paper = sheet(entries)
    for depth in (1, 2, 3, 4):
        answer = hint_answer(paper, depth, HintWishes())
        schema().validate(answer.document())
        if answer.state != "open":
            assert answer.state == "solved"
            return
        nudge = next_nudge(paper.position)
        assert nudge is not None
        if depth < 3:
            assert not re.search(r"R\dC\d", answer.sentence)
        if depth == 1:
            focus = nudge.focus.to_json()
            numbers = set(re.findall(r"\d", answer.sentence))
            assert numbers == {str(focus.get("digit", str(focus.get("house"))[-1]))}
            assert answer.document()["nudge"]["focus"] == focus
        if depth == 3:
            placed = {d for _, d in nudge.line.places}
            said = re.sub(r"R\dC\d|(rows?|columns?|blocks?) [\d, and]+", "", answer.sentence)
            named = {int(d) for d in re.findall(r"\d", said)}
            told = nudge.at(3)
            patterns = [told.pattern, *(s.pattern for s in told.line)]  # type: ignore[attr-defined]
            seen = {d for pattern in patterns for d in pattern.to_json()["digits"]}
            assert not (placed & named) - seen
            for cell, digit in nudge.line.places:
                assert f"{digit} in R{cell // 9 + 1}C{cell % 9 + 1}" not in answer.sentence
            # A scan is told by its digit; what a cell or a nearly full house takes is not told.
            if len(nudge.line.steps) == 1 and nudge.line.last.technique != "hidden single":
                assert not placed & named


@tried(8, 50, st.lists(st.integers(0, 80), max_size=40), st.lists(st.integers(0, 80), max_size=3))
def test_every_check_document_fits_the_schema(right: list[int], wrong: list[int]) -> None:
    entries = list(EMPTY)
    for c in right:
        entries[c] = SOLUTION[c] if PUZZLE[c] == "." else "."
    for c in wrong:
        entries[c] = str(int(SOLUTION[c]) % 9 + 1) if PUZZLE[c] == "." else "."
    for depth in (1, 2, 3, 4):
        answer = check_answer(sheet("".join(entries)), depth, None)
        schema().validate(answer.document())


def test_the_schema_refuses_a_depth_that_tells_too_much(papernudge: Run) -> None:
    deep = json.loads(papernudge("hint", "--given-line", PUZZLE, "--tell", 4, "--json").out)
    assert schema().is_valid(deep)
    for depth in (1, 2, 3):
        assert not schema().is_valid({**deep, "depth": depth})
    words = ["check", "--given-line", PUZZLE, "--entry-line", mistaken(), "--tell", 4, "--json"]
    deep = json.loads(papernudge(*words).out)
    assert schema().is_valid(deep)
    for depth in (1, 2, 3):
        assert not schema().is_valid({**deep, "depth": depth})
    assert not schema().is_valid({**deep, "format": 2})


def test_read_documents_and_failures_fit_the_schema(
    papernudge: Run, desk: Any, grid_says: Any
) -> None:
    photo = desk.says("breakfast.jpg", grid_says(PUZZLE, mistaken()))
    ran = papernudge("read", photo, desk.folder / "none.jpg", "--json")
    documents = json.loads(ran.out)
    schema().validate(documents)
    assert "grids" in documents[0]
    assert "error" in documents[1]
    lines = json.loads(papernudge("read", "--given-line", PUZZLE, "--json").out)
    schema().validate(lines)
    assert lines["photo"] is lines["size"] is lines["grids"][0]["corners"] is None


def test_the_walk_is_one_document_and_ends_with_the_solution(papernudge: Run) -> None:
    told = json.loads(papernudge("hint", "--given-line", PUZZLE, "--walk", "--json").out)
    schema().validate(told)
    digits = list(PUZZLE)
    for line in told["walk"]["lines"]:
        for place in line["places"]:
            row, column = int(place["cell"][1]), int(place["cell"][3])
            digits[9 * row + column - 10] = str(place["digit"])
    if told["walk"]["solved"]:
        assert "".join(digits) == SOLUTION
    text = papernudge("hint", "--given-line", PUZZLE, "--walk").out
    assert text.startswith("1. ")


@pytest.mark.parametrize("depth", [1, 2, 3])
def test_a_walk_short_of_depth_4_holds_no_digit_that_it_writes(papernudge: Run, depth: int) -> None:
    """Nor may a later reason name a cell of an earlier line beside its digit."""
    words = ["hint", "--given-line", PUZZLE, "--walk", "--tell", depth]
    told = json.loads(papernudge(*words, "--json").out)
    schema().validate(told)
    whole = json.loads(papernudge("hint", "--given-line", PUZZLE, "--walk", "--json").out)
    lines = told["walk"]["lines"]
    assert len(lines) == len(whole["walk"]["lines"])
    deeper = set().union(*(HINT_KEYS[d] for d in range(depth + 1, 5)))
    assert not any(deeper & set(line) for line in lines)
    written: set[str] = set()
    for line, full in zip(lines, whole["walk"]["lines"], strict=True):
        named = set(re.findall(r"R\dC\d", line["sentence"]))
        assert not named & written
        assert not named or depth == 3
        assert not set(line.get("evidence", ())) & written
        written |= {place["cell"] for place in full["places"]}
    text = papernudge(*words).out
    assert "Write" not in text
    assert len(text.splitlines()) == len(lines)
    if depth < 3:
        assert not re.search(r"R\dC\d", text)
    assert not schema().is_valid({**whole, "depth": depth})


@tried(8, 50, st.lists(st.integers(0, 80), max_size=40), st.integers(0, 80), st.integers(1, 9))
def test_a_misprint_and_what_came_first_are_told_by_the_depths(
    right: list[int], cell: int, digit: int
) -> None:
    """Whatever is printed or written in one cell: no house before depth 2, no cell before 3, no
    digit that would be right before 4, in words and in JSON.
    """
    entries = [SOLUTION[c] if c in right and PUZZLE[c] == "." else "." for c in range(81)]
    givens = list(PUZZLE)
    if PUZZLE[cell] == ".":
        entries[cell] = str(digit)
    else:
        givens[cell] = str(digit)
    entries = [e if g == "." else "." for g, e in zip(givens, entries, strict=True)]
    for depth in (1, 2, 3, 4):
        answer = check_answer(sheet("".join(entries), "".join(givens)), depth, None)
        document = answer.document()
        schema().validate(document)
        said = json.dumps({k: v for k, v in document.items() if k != "photo"})
        if depth < 2:
            assert not re.search(r"(row|column|block) \d", said)
        if depth < 3:
            assert not re.search(r"R\dC\d", said)
            assert not {"roots", "first_out", "stale_notes"} & set(document)
        if depth < 4:
            assert "With a" not in answer.sentence
            assert "instead" not in document.get("misprint", {})
            assert not any(
                schema().is_valid({**document, "misprint": {**m, "instead": {"R1C1": [1]}}})
                for m in [document.get("misprint")]
                if m
            )


def test_a_solved_paper_has_no_hint_and_says_so(papernudge: Run) -> None:
    entries = "".join("." if g != "." else s for g, s in zip(PUZZLE, SOLUTION, strict=True))
    ran = papernudge("hint", "--given-line", PUZZLE, "--entry-line", entries, "--json")
    told = json.loads(ran.out)
    assert (ran.code, told["state"], told["nudge"]) == (0, "solved", None)
    checked = papernudge("check", "--given-line", PUZZLE, "--entry-line", entries)
    assert (checked.code, checked.out) == (0, "Solved: all 81 digits are right.\n")


def test_an_unsure_answer_holds_the_doubts_and_no_nudge(
    papernudge: Run, desk: Any, grid_says: Any
) -> None:
    from papernudge.vision.reading import Doubt

    doubts = Doubt(1, "digit", 3, 0.6, ((8, 0.3), (None, 0.1))), Doubt(3, "hand", 2, 0.7)
    photo = desk.says("breakfast.jpg", grid_says(PUZZLE, doubts=doubts))
    for command in ("hint", "check"):
        ran = papernudge(command, photo, "--json")
        told = json.loads(ran.out)
        schema().validate(told)
        assert (ran.code, told["state"]) == (6, "unsure")
        assert told["doubts"][0] == {
            "cell": "R1C2",
            "about": "digit",
            "read": 3,
            "chance": 0.6,
            "instead": [{"digit": 8, "chance": 0.3}, {"digit": None, "chance": 0.1}],
        }
        assert told.get("nudge") is None
        assert "wrong" not in told
        assert ran.err.count("\n") == len(told["doubts"])


def test_a_doubt_that_stands_alone_without_effect_may_matter_with_another(
    grid_says: Any,
) -> None:
    from papernudge.cli.session.doubting import doubts_that_matter
    from papernudge.vision.reading import Doubt

    doubts = tuple(Doubt(c, "digit", None, 0.6, ((d, 0.4),)) for c, d in ((0, 8), (2, 1), (4, 7)))
    grid = grid_says(PUZZLE, doubts=doubts)

    def both(one: Any) -> object:
        return one.cells[0].digit == 8 and one.cells[2].digit == 1

    assert [d.cell for d in doubts_that_matter(grid, both)] == [0, 2]
    assert doubts_that_matter(grid, lambda _: 0) == ()
    assert len(doubts_that_matter(grid, lambda one: one.cells[4].digit)) == 1


def test_no_step_is_said_where_none_is_known(monkeypatch: pytest.MonkeyPatch) -> None:
    import papernudge.hints

    monkeypatch.setattr(papernudge.hints, "next_nudge", lambda *_, **__: None)
    answer = hint_answer(sheet(), 1, HintWishes())
    assert (answer.state, code_of_answer(answer), answer.document()["nudge"]) == (
        "no step",
        0,
        None,
    )
    assert "No step that this tool knows" in answer.sentence
    schema().validate(answer.document())


def test_givens_without_one_solution_are_not_called_a_misprint_while_doubts_stand(
    papernudge: Run, desk: Any, grid_says: Any
) -> None:
    """Two misread givens: no answer to one question alone mends them."""
    from papernudge.vision.reading import Doubt

    broken = ".8.8..5.9" + PUZZLE[9:]
    doubts = Doubt(1, "digit", 8, 0.6, ((3, 0.4),)), Doubt(3, "digit", 8, 0.6, ((2, 0.4),))
    photo = desk.says("breakfast.jpg", grid_says(broken, doubts=doubts))
    for command in ("hint", "check"):
        ran = papernudge(command, photo)
        assert ran.code == 6
        assert "R1C2" in ran.err
        assert "R1C4" in ran.err
        mended = papernudge(command, photo, "--assume", "R1C2=3", "--assume", "R1C4=2")
        assert mended.code == 0


def test_a_doubt_that_names_no_other_reading_still_counts(
    papernudge: Run, desk: Any, grid_says: Any
) -> None:
    from papernudge.vision.reading import CellKind, CellReading, Doubt

    right = int(SOLUTION[0])
    chances = [0.0] * 10
    chances[right], chances[right % 9 + 1] = 0.98, 0.02
    for known in (tuple(chances), ()):
        cell = CellReading(CellKind.ENTRY, right, 0.98, known)
        entries = f"{right}{'.' * 80}"
        doubts = (Doubt(0, "digit", right, 0.98),)
        grid = grid_says(PUZZLE, entries, doubts=doubts, changed={0: cell})
        ran = papernudge("check", desk.says(f"photo{len(known)}.jpg", grid))
        assert ran.code == 6
        assert f"Is the digit in R1C1 {'an' if right == 8 else 'a'} {right}?" in ran.err
        assert f"--assume R1C1={right} or whatever it holds." in ran.err
