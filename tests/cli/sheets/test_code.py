"""The sheet code: what goes in comes out, and nothing else does."""

from __future__ import annotations

import pytest
from hypothesis import strategies as st
from samples import tried

from papernudge.cli.sheets.code import LETTERS, SheetPage, Task, decode, encode
from papernudge.hints.drilling import Reason
from papernudge.hints.generate import full_grid
from papernudge.hints.registry import PRACTISED

FULL = [full_grid(seed) for seed in range(3)]


@st.composite
def tasks(draw: st.DrawFn) -> Task:
    solution = draw(st.sampled_from(FULL))
    blank = draw(st.sets(st.integers(0, 80), min_size=1))
    digits = "".join("." if c in blank else d for c, d in enumerate(solution))
    reason, answers = None, ()
    if draw(st.booleans()):
        kind = draw(st.sampled_from([None, "row", "column", "line", "block"]))
        blanks = draw(st.sampled_from([None, 2, 3, 9]))
        reason = Reason(draw(st.sampled_from(PRACTISED)), kind, blanks)
        lines = draw(st.lists(st.lists(st.integers(0, 80), min_size=1, max_size=4), max_size=6))
        answers = tuple(tuple((c, int(solution[c])) for c in cells) for cells in lines)
    number, looks = draw(st.integers(0, 9999)), draw(st.integers(0, 199))
    return Task(number, digits, solution, reason, looks, answers)


PAGES = st.builds(
    SheetPage,
    sheet=st.integers(0, (1 << 30) - 1),
    page=st.integers(1, 999),
    paper=st.sampled_from(["a4", "letter"]),
    each=st.integers(1, 9),
    minutes=st.integers(0, 60),
    tasks=st.lists(tasks(), max_size=9).map(tuple),
)


@pytest.mark.parametrize("text", ["", "PN1:", "PN1:0", "https://example.org", "PN1:pn", "PN1:7*A"])
def test_any_other_symbol_is_no_sheet(text: str) -> None:
    assert decode(text) is None


@tried(20, 120, PAGES)
def test_a_page_comes_back_from_its_code(page: SheetPage) -> None:
    text = encode(page)
    assert decode(text) == page
    assert set(text) <= set(LETTERS)


@tried(20, 120, PAGES, st.data())
def test_a_misread_letter_is_noticed(page: SheetPage, data: st.DataObject) -> None:
    text = encode(page)
    at = data.draw(st.integers(4, len(text) - 1))
    letter = data.draw(st.sampled_from([c for c in LETTERS if c != text[at]]))
    wrong = text[:at] + letter + text[at + 1 :]
    assert decode(wrong) in (None, page)  # a last letter 0 more or less is the same number


def test_a_number_beyond_the_code_is_refused() -> None:
    with pytest.raises(ValueError, match="from 0 to 999 in a sheet code, got 1000"):
        encode(SheetPage(1, 1000, "a4", 4, 0, ()))


def test_nine_positions_fit_a_symbol_that_a_phone_can_read() -> None:
    digits = "." * 40 + FULL[0][40:]
    task = Task(1, digits, FULL[0], Reason("naked single"), 7, (((0, int(FULL[0][0])),),))
    assert len(encode(SheetPage(5, 1, "a4", 9, 0, (task,) * 9))) < 366  # version 11, quality M
