"""A page's own print says what a strange digit is; handwriting and ghosts are no copies of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest

from papernudge.cli.books.rows import GridRow
from papernudge.cli.books.settle import settle
from papernudge.hints.generate import puzzle
from papernudge.hints.solver import count_solutions
from papernudge.vision.crop import CELL, CROP, MARGIN
from papernudge.vision.typeface import Page

LINES = [puzzle(seed, givens=32) for seed in range(3)]
BLANK = "." * 81


def crop(line: str, dark: Mapping[int, int] = {}, drawn: Mapping[int, Any] = {}) -> bytes:
    """A grid as the book keeps it: digits in one typeface, noise, a little off their places.

    ``dark``: the ink of a cell if it is not 40 on paper of 200; ``drawn``: strokes in its place.
    """
    import cv2

    chance = np.random.default_rng(len(line) + sum(map(ord, line)))
    image = np.full((CROP, CROP), 200, np.uint8)
    for k in range(10):
        at = MARGIN + k * CELL
        cv2.line(image, (at, MARGIN), (at, CROP - MARGIN), 60, 1 + (k % 3 == 0))
        cv2.line(image, (MARGIN, at), (CROP - MARGIN, at), 60, 1 + (k % 3 == 0))
    for cell, mark in enumerate(line):
        row, column = divmod(cell, 9)
        x, y = MARGIN + column * CELL, MARGIN + row * CELL
        if cell in drawn:
            points = np.add(drawn[cell], [x, y]).reshape(-1, 1, 2).astype(np.int32)
            cv2.polylines(image, [points], isClosed=False, color=40, thickness=2)
        elif mark != ".":
            dx, dy = (int(shift) for shift in chance.integers(-1, 2, 2))
            place, ink = (x + 12 + dx, y + 29 + dy), dark.get(cell, 40)
            cv2.putText(image, mark, place, cv2.FONT_HERSHEY_COMPLEX, 0.8, ink, 1, cv2.LINE_AA)
    noisy = cv2.GaussianBlur(image, (3, 3), 0) + chance.normal(0, 2, image.shape)
    return bytes(cv2.imencode(".jpg", np.clip(noisy, 0, 255).astype(np.uint8))[1].tobytes())


def grid(number: int, **fields: Any) -> GridRow:
    line = LINES[number - 1]
    told: dict[str, Any] = {
        "givens": line, "entries": BLANK, "crop": crop(line), "chance_all_right": 0.999
    }  # fmt: skip
    corners = [[0, 0], [9, 0], [9, 9], [0, 9]]
    return GridRow(number, "puzzle", None, corners, **{**told, **fields})


def doubt(cell: int, about: str, read: str, *instead: str) -> dict[str, Any]:
    named = [{"digit": None if d == "." else int(d), "chance": 0.4} for d in instead]
    return {
        "cell": name(cell), "about": about, "read": None if read == "." else int(read),
        "chance": 0.6, "instead": named,
    }  # fmt: skip


def name(cell: int) -> str:
    return f"R{cell // 9 + 1}C{cell % 9 + 1}"


def with_mark(line: str, cell: int, mark: str) -> str:
    return line[:cell] + mark + line[cell + 1 :]


REST = [grid(2), grid(3)]
CELLS = [cell for cell, mark in enumerate(LINES[0]) if mark != "."]


@pytest.mark.parametrize("cell", CELLS[::6])
def test_a_strange_digit_is_known_by_its_likes_on_the_page(cell: int) -> None:
    mark = LINES[0][cell]
    other = "1" if mark == "2" else "2"
    misread = grid(
        1,
        givens=with_mark(LINES[0], cell, other),
        doubts=[doubt(cell, "digit", other, mark)],
    )
    row = settle(misread, page=Page([misread, *REST]))
    assert (row.givens, row.status) == (LINES[0], "clean")
    assert (row.decided, row.doubts) == ([name(cell)], [])
    assert settle(misread, page=Page([misread])).status == "review"


def test_a_printed_digit_that_was_read_as_nothing_or_as_written_is_a_given() -> None:
    first, second = CELLS[3], CELLS[11]
    one, two = LINES[0][first], LINES[0][second]
    misread = grid(
        1,
        givens=with_mark(with_mark(LINES[0], first, "."), second, "."),
        entries=with_mark(BLANK, second, two),
        doubts=[doubt(first, "digit", ".", one), doubt(second, "hand", two)],
    )
    row = settle(misread, page=Page([misread, *REST]))
    assert (row.givens, row.entries, row.status) == (LINES[0], BLANK, "clean")


def test_where_somebody_surely_wrote_shapes_decide_nothing() -> None:
    spare = next(c for c in CELLS if count_solutions(with_mark(LINES[0], c, ".")) == 1)
    asked = grid(1, doubts=[doubt(spare, "hand", LINES[0][spare])])
    begun = grid(2, entries=with_mark(BLANK, LINES[1].index("."), "4"))
    assert settle(asked, page=Page([asked, *REST])).status == "clean"
    row = settle(asked, page=Page([asked, begun, REST[1]]))
    assert (row.status, row.decided) == ("review", [])


def test_a_digit_that_the_reader_did_not_think_of_stays_in_doubt() -> None:
    cell = CELLS[3]
    others = [d for d in "123456789" if d != LINES[0][cell]]
    wrong = grid(
        1,
        givens=with_mark(LINES[0], cell, others[0]),
        doubts=[doubt(cell, "digit", others[0], others[1])],
    )
    assert settle(wrong, page=Page([wrong, *REST])).status == "review"


def test_handwriting_and_pale_ghosts_are_no_copies() -> None:
    line = LINES[0]
    blank, ghost = line.index("."), line.rindex(".")
    shown = with_mark(line, ghost, "5")
    hand = {blank: [(14, 8), (22, 6), (26, 12), (18, 18), (27, 24), (22, 32), (12, 30)]}
    page = Page([grid(1, crop=crop(shown, {ghost: 150}, hand)), *REST])
    assert page.copy_of(1, blank) is None
    assert page.copy_of(1, ghost) is None
    assert Page([grid(1, crop=crop(shown)), *REST]).copy_of(1, ghost) == "5"


def test_where_a_sure_digit_shows_another_one_shapes_prove_nothing() -> None:
    three = LINES[0].index("3")
    other = LINES[0].index("7")
    torn = grid(1, crop=crop(with_mark(LINES[0], three, "8")))
    page = Page([torn, *REST])
    assert page.copy_of(1, other) == "7"
    assert page.copy_of(1, LINES[0].rindex("3")) in (None, "3")
    assert page.copy_of(1, three) == "8"
    third = LINES[1].index("3")
    assert page.copy_of(2, third) is None


def test_a_blank_cell_in_doubt_is_blank_if_it_is_as_pale_as_paper() -> None:
    blank = LINES[0].index(".")
    asked = grid(1, doubts=[doubt(blank, "digit", ".", "1")])
    row = settle(asked, page=Page([asked, *REST]))
    assert (row.status, row.givens, row.decided) == ("clean", LINES[0], [name(blank)])
    shown = crop(with_mark(LINES[0], blank, "1"), {blank: 110})
    inked = grid(1, doubts=asked.doubts, crop=shown)
    assert settle(inked, page=Page([inked, *REST])).decided == []
    assert settle(inked, page=Page([inked, *REST])).status == "review"


def test_a_page_with_too_few_digits_of_a_kind_says_nothing() -> None:
    assert Page([grid(1)]).copy_of(1, CELLS[0]) is None


def test_a_grid_that_was_merely_unsure_is_clean_where_its_weak_cells_are_copies() -> None:
    weak, chances = CELLS[5], np.zeros((81, 11), "<f2")
    for cell, mark in enumerate(LINES[0]):
        chances[cell, [0 if mark == "." else int(mark), 10]] = 1
    chances[weak, int(LINES[0][weak])] = 0.97
    unsure = grid(1, chances=chances.tobytes(), chance_all_right=0.969)
    assert settle(unsure).reason == "not sure enough"
    assert settle(unsure, page=Page([unsure, *REST])).status == "clean"
    spoilt = grid(
        1,
        chances=chances.tobytes(),
        chance_all_right=0.969,
        crop=crop(LINES[0], {weak: 150}),
    )
    assert settle(spoilt, page=Page([spoilt, *REST])).reason == "not sure enough"
