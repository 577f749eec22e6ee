"""Another language is another catalogue: nothing that is said comes from anywhere else."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator, Mapping
from dataclasses import fields, replace
from typing import Any

import pytest

import papernudge
from papernudge.cli.session.doubting import how_to_answer, questions
from papernudge.hints import Position, solve, walk
from papernudge.hints.checking import check
from papernudge.hints.generate import puzzle
from papernudge.hints.registry import KNOWN
from papernudge.hints.said import SAID, plural
from papernudge.hints.words import ENGLISH, Words
from papernudge.vision.hidden import Hidden
from papernudge.vision.reading import Doubt

_PLACE = re.compile(r"(\{[^}]*\})")


def foreign(value: Any) -> Any:
    """The same with every letter outside the places for data made a Greek one."""
    if isinstance(value, str):
        parts = _PLACE.split(value)
        return "".join(p if p.startswith("{") else re.sub(r"[A-Za-z]", "λ", p) for p in parts)
    if isinstance(value, Mapping):
        return {key: foreign(one) for key, one in value.items()}
    if isinstance(value, tuple):
        return tuple(map(foreign, value))
    return value


GREEK = replace(
    Words(**{field.name: foreign(getattr(ENGLISH, field.name)) for field in fields(Words)}),
    titles=dict.fromkeys(KNOWN, "λλλ"),
)
LATIN = re.compile(r"[A-Za-z]+")


def english_in(sentence: str) -> list[str]:
    """Words that no catalogue but the English one can have put there; names of cells and what is
    typed after an option are the same in all.
    """
    typed = re.sub(r"R\dC\d(=(given:|entry:|notes:)?[\d.]*)?", "", sentence)
    return LATIN.findall(typed)


def test_every_number_has_both_forms() -> None:
    counted = {code.rsplit(".", 1)[0] for code in SAID if code.endswith((".one", ".many"))}
    for code in counted:
        assert {f"{code}.one", f"{code}.many"} <= SAID.keys(), code
    assert [plural(n) for n in (0, 1, 2, 21)] == ["many", "one", "many", "many"]


def papers() -> Iterator[tuple[Position, Position]]:
    """Papers with mistakes, misprints and notes, and the same as they were before."""
    for seed in range(40):
        dice = random.Random(seed)
        givens = list(puzzle(seed % 8, givens=28))
        solution = solve("".join(givens)) or ""
        blanks = [c for c in range(81) if givens[c] == "."]
        if seed % 4 == 3:
            givens[dice.choice([c for c in range(81) if givens[c] != "."])] = dice.choice(
                "123456789"
            )
        entries = ["."] * 81
        for cell in dice.sample(blanks, dice.randint(0, len(blanks))):
            entries[cell] = solution[cell]
        before = "".join(entries)
        for cell in dice.sample(blanks, dice.choice((0, 1, 2, 3, 9))):
            entries[cell] = dice.choice("123456789")
        open_ = [c for c in blanks if entries[c] == "."]
        notes = {c: dice.sample(range(1, 10), 2) for c in open_[:5]}
        text = "".join(givens)
        yield Position.of(text, "".join(entries), notes), Position.of(text, before)


def test_a_check_says_nothing_in_english_where_greek_was_asked_for() -> None:
    said = set()
    for now, before in papers():
        for earlier in (None, before):
            found = check(now, earlier)
            for depth in (1, 2, 3, 4):
                told = found.at(depth, GREEK)
                assert not english_in(told.sentence), told.sentence
                said.add(re.sub(r"\d+", "", told.sentence))
    assert len(said) > 100


@pytest.mark.parametrize("depth", [1, 2, 3, 4])
def test_a_walk_says_nothing_in_english_where_greek_was_asked_for(depth: int) -> None:
    hard = "...8.1..........435............7.8........1...2..3....6......75..34........2..6.."
    for givens in (puzzle(1), puzzle(5), hard):
        found = walk(Position.of(givens))
        for sentence in found.sentences(depth, GREEK):
            assert not english_in(sentence), sentence
        lines = found.to_json(depth, GREEK)["lines"]
        assert not [one["sentence"] for one in lines if english_in(one["sentence"])]


def test_a_sitting_says_nothing_in_english_where_greek_was_asked_for() -> None:
    for now, _ in papers():
        if now.faults and now.solution is not None:
            continue
        sheet = papernudge.read_lines(now.givens, now.entries).sheet()
        for ask in (papernudge.nudge, papernudge.check):
            answer = ask(sheet, 3, words=GREEK)
            assert not english_in(answer.sentence), answer.sentence
            nudge = answer.document().get("nudge") or {"sentence": ""}
            assert not english_in(nudge["sentence"])
            assert english_in(ask(sheet, 3).sentence)


def test_a_route_says_nothing_in_english_where_greek_was_asked_for() -> None:
    sheet = papernudge.read_lines(puzzle(1)).sheet()
    assert not english_in(papernudge.walk(sheet, route=True, words=GREEK).sentence)


def test_doubts_are_asked_in_the_language_that_was_asked_for() -> None:
    grid = papernudge.read_lines(puzzle(1)).sheet().grid
    kinds = [
        Doubt(0, "digit", 8, 0.6, ((3, 0.3), (None, 0.1))),
        Doubt(0, "digit", None, 0.6, ((3, 0.3),)),
        Doubt(0, "digit", 4, 0.6),
        Doubt(0, "digit", 4, 0.6, ((None, 0.2),)),
        Doubt(0, "digit", None, 0.6),
        Doubt(0, "hand", 4, 0.6),
        Doubt(0, "notes", None, 0.6, ((3, 0.3),)),
        Doubt(0, "notes", None, 0.6),
        *(Doubt(0, "seen", None, 0.1, (), why) for why in (None, *Hidden)),
    ]
    for doubt in kinds:
        for question, how in questions(grid, [doubt], GREEK):
            assert not english_in(question), question
            assert not english_in(how.replace("--λλλλλλ", "")), how
        assert not english_in(how_to_answer(grid, doubt, GREEK))
    many = [Doubt(cell, "seen", None, 0.1, (), Hidden.COVERED) for cell in (0, 1, 9, 10, 20)]
    for question, how in questions(grid, many, GREEK):
        assert not english_in(question + how)
