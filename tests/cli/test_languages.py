"""Another language is another catalogue: nothing that is said comes from anywhere else."""

from __future__ import annotations

import ast
import json
import pickle
import random
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from string import Formatter

import pytest
from babel import Locale
from samples import chosen

import papernudge
from papernudge.cli.app import run
from papernudge.cli.said import ENGLISH, TABLES, speaking
from papernudge.cli.said.phone import SAID as PHONE
from papernudge.cli.session.doubting import how_to_answer, questions
from papernudge.hints import Position, solve, walk
from papernudge.hints.catalogue import All, Words, counted, message
from papernudge.hints.checking import check
from papernudge.hints.generate import puzzle
from papernudge.hints.registry import KNOWN
from papernudge.vision.hidden import Hidden
from papernudge.vision.reading import Doubt

ROOT = Path(__file__).resolve().parents[2]
_PLACE = re.compile(r"(\{[^}]*\})")


def foreign(template: str) -> str:
    """The same with every letter outside the places for data made a Greek one."""
    parts = _PLACE.split(template)
    return "".join(p if p.startswith("{") else re.sub(r"[A-Za-z]", "λ", p) for p in parts)


TYPED = ("cell",)
"""What stands in sentences as it is typed."""
GREEK = Words(
    "el",
    {code: text if code in TYPED else foreign(text) for code, text in ENGLISH.said.items()}
    | {f"technique, {name}": "λλλ" for name in KNOWN},
    lambda count: "other",  # as of a language that knows no plural: forms that it lacks go unmissed
)
LATIN = re.compile(r"[A-Za-z]+")


def english_in(sentence: str) -> list[str]:
    """Words that no catalogue but the English one can have put there; names of cells and what is
    typed after an option are the same in all.
    """
    typed = re.sub(r"R\dC\d(=(given:|entry:|notes:)?[\d.]*)?", "", sentence)
    return LATIN.findall(typed)


def test_every_number_has_both_forms() -> None:
    counted = {code.rsplit(".", 1)[0] for code in ENGLISH.said if code.endswith((".one", ".other"))}
    for code in counted:
        assert {f"{code}.one", f"{code}.other"} <= ENGLISH.said.keys(), code


def test_numbers_take_the_plural_forms_of_cldr() -> None:
    english = Locale("en").plural_form
    assert [ENGLISH.plural(n) for n in range(200)] == [english(n) for n in range(200)]


def test_no_code_stands_for_two_sentences() -> None:
    assert len(ENGLISH.said) == sum(len(table) for table in TABLES.tables)


def test_numbers_and_lists_take_the_marks_of_the_language() -> None:
    marks = {"decimal mark": ",", "thousands mark": ".", "all, two": "{first} und {last}"}
    german = replace(ENGLISH, said={**ENGLISH.said, **marks, "x": "{a:,}, {b:.1f}: {c}"})
    assert german.say("x", a=12345, b=2.5, c=All(("1.5", 2))) == "12.345, 2,5: 1.5 und 2"


def test_a_message_is_told_in_any_language_also_from_another_process() -> None:
    inner = counted("so many looks", 2)
    sent = pickle.loads(pickle.dumps(message("or an answer, why", digits="R1C1=2", why=inner)))
    assert ENGLISH.tell(sent) == "or R1C1=2: 2 looks"
    assert GREEK.tell(sent) == "λλ R1C1=2: 2 λλλλλ"
    assert ENGLISH.tell("as it is") == "as it is"


def test_what_goes_wrong_is_told_in_the_language_that_is_spoken() -> None:
    with pytest.raises(papernudge.WordsError) as refused:
        papernudge.read_lines("12")
    wrong = refused.value
    assert wrong.sentence == "The givens are 81 digits, and . for nothing; got '12'."
    with speaking(GREEK):
        assert not english_in(wrong.sentence)
    assert str(wrong) == wrong.sentence


def calls() -> Iterator[tuple[str, ast.Call, str]]:
    """Every place in what ships that names a sentence: the file, the call, the code."""
    names = {"message", "in_words", "in_words_of", "counted", "say", "bad_words", "given_up"}
    for path in sorted(
        p for room in ("vision", "hints", "cli") for p in (ROOT / room).rglob("*.py")
    ):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            named = getattr(node.func, "id", getattr(node.func, "attr", ""))
            args = [a for a in node.args if isinstance(a, ast.Constant) and " " in str(a.value)]
            if named in names and args:
                yield path.name, node, str(args[0].value)


def test_every_sentence_that_is_named_is_in_the_catalogue_with_the_data_it_takes() -> None:
    found = 0
    for where, call, code in calls():
        assert {code, f"{code}.other"} & ENGLISH.said.keys(), (where, code)
        given = {word.arg for word in call.keywords}
        template = ENGLISH.said.get(code) or ENGLISH.said[f"{code}.other"]
        wanted = {name for _, name, _, _ in Formatter().parse(template) if name}
        found += 1
        if None not in given:  # what is passed on with ** is seen where it is said
            assert wanted <= given | {"count", "called", "page"}, (where, code)
    assert found > 300


def test_sentences_of_pages_hold_no_mark_of_html() -> None:
    for template in PHONE.values():
        assert not set(template) & set('<>&"'), template


def test_a_page_says_nothing_in_english_where_greek_is_spoken() -> None:
    from papernudge.cli.phone.speech import clock_runs, listed, say, script

    with speaking(GREEK):
        for code in (code for code in PHONE if code.startswith(("page,", "home,", "nudge,"))):
            names = [name for _, name, _, _ in Formatter().parse(PHONE[code]) if name]
            assert not english_in(say(code, **dict.fromkeys(names, 1)))
        assert listed(["1", "2"]) == "1, 2"
        assert not english_in(re.sub("<[^>]*>", "", clock_runs(61)))
        assert not any(english_in(text.replace("#m", "").replace("#s", ""))
                       for text in json.loads(script()).values())  # fmt: skip
    assert say("book, head", name="<b>") == "Pages into &lt;b&gt;"


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


@pytest.mark.parametrize("depth", chosen([1, 2, 3, 4], 3))
def test_a_walk_says_nothing_in_english_where_greek_was_asked_for(depth: int) -> None:
    hard = "...8.1..........435............7.8........1...2..3....6......75..34........2..6.."
    for givens in (puzzle(1), puzzle(5), hard):
        found = walk(Position.of(givens))
        for sentence in found.sentences(depth, GREEK):
            assert not english_in(sentence), sentence
        lines = found.to_json(depth, GREEK)["lines"]
        assert not [one["sentence"] for one in lines if english_in(one["sentence"])]


@pytest.mark.slow
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


@pytest.mark.slow
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


GIVENS = puzzle(1)
FIXTURES = ROOT / "fixtures"
COMMANDS = (
    ("read", "--given-line", GIVENS),
    ("read", "--given-line", GIVENS, "--sentences"),
    ("read", str(FIXTURES / "two-grids.jpg")),
    ("hint", "--given-line", GIVENS, "--walk", "--tell", "3"),
    ("hint", "--given-line", GIVENS, "--tell", "3", "--picture", "drawn.svg"),
    ("check", "--given-line", GIVENS, "--entry-line", GIVENS.replace("1", "2"), "--tell", "4"),
    ("hint", "--given-line", "12"),
    ("hint", "--given-line", GIVENS, "--grid", "7"),
    ("hint", "--given-line", GIVENS, "--assume", "0=1"),
    ("hint", "none.jpg"),
    ("check", "none.jpg", "none.jpg", "--since", "none.jpg"),
    ("digitise", str(FIXTURES / "two-grids.jpg"), "none.jpg", "--book", "a.book"),
    ("digitise", "--book", "a.book", "--assume", "12"),
    ("digitise", "--book", "a.book", "--review", "sheet.html"),
    ("export", "a.book", "--to", "a.csv"),
    ("export", "a.book", "--to", "a.csv"),
    ("export", "a.book", "--to", "b.pdf", "--hardest", "naked pair"),
    ("drill", "--reason", "hidden single in a block", "--positions", "1", "--out", "s.pdf"),
    ("drill", "--reason", "jellyfish", "--out", "s.pdf"),
    ("mark", "none.jpg"),
    ("progress", "none.log"),
)
_NAMES = re.compile(
    "|".join(re.escape(name) for name in sorted(KNOWN, key=len, reverse=True)) + "|"  # typed
    r"\S*\.(jpg|csv|pdf|svg|book|log|html)\b|\b[A-Z0-9]{2,9}\b|[0-9a-f]{16}\S*|\x1b\[[01]m|--[a-z-]+"
)
"""What stays as it is in any language: files, numbers of sheets and of rows, options."""


def test_no_command_says_anything_in_english_where_greek_is_spoken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    for words in COMMANDS:
        with speaking(GREEK):
            code = run(list(words))
        told = capsys.readouterr()
        assert code != 70, told.err
        assert told.out + told.err, words
        left = english_in(_NAMES.sub("", told.out + told.err).replace("\\x", ""))
        assert not left, (words, told)
    for drawn in ("drawn.svg", "sheet.html"):
        text = (tmp_path / drawn).read_text("utf-8")
        text = re.sub(
            r"<(style|script|pre)>.*?</\1>|<code>.*?</code>|<[^>]*>", "", text, flags=re.S
        )
        assert not english_in(_NAMES.sub("", text)), text


@pytest.mark.parametrize(
    "page", sorted((ROOT / "cli/phone/page").glob("*.html")), ids=lambda p: p.stem
)
def test_a_template_holds_no_words_of_its_own(page: Path) -> None:
    text = re.sub(r"{{.*?}}|{%.*?%}", "", page.read_text("utf-8"), flags=re.DOTALL)
    text = text.replace(' class="nudge"', "")
    said = re.findall(r'(?:alt|aria-label|title|placeholder)="([^"]*)"', text)
    assert not LATIN.findall(re.sub(r"<[^>]*>", "", text) + " ".join(said))
