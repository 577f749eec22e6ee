"""What stands in the cells of a practised position, and codes on curled paper."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from papernudge.cli.sheets.answers import posterior
from papernudge.cli.sheets.code import Task, decode, encode
from papernudge.cli.sheets.form import forms
from papernudge.cli.sheets.mark import judged
from papernudge.cli.sheets.sheet import pages_of
from papernudge.hints.drilling import Reason
from papernudge.hints.solver import solve
from papernudge.vision.codes.recognise import look_for_code
from papernudge.vision.codes.straighten import straightened

DIGITS = "53..7....6..195....98....6.8...6...34..8.3..17...2...6.6....28....419..5....8..79"
SOLUTION = solve(DIGITS) or ""
ASKED, OTHER = 69, 40
RIGHT = int(SOLUTION[ASKED])
TASK = Task(1, DIGITS, SOLUTION, Reason.parse("hidden single"), 4, (((ASKED, RIGHT),),))


def inked(cell: int, **chances: float) -> Any:
    """Chances of a sheet that is blank but for one cell: nothing=, right=, wrong=."""
    out = np.zeros((81, 10))
    for at, mark in enumerate(DIGITS):
        out[at, int(mark) if mark != "." else 0] = 1.0
    right = int(SOLUTION[cell])
    out[cell] = 0.0
    places = {"nothing": 0, "right": right, "wrong": right % 9 + 1, "other": (right + 1) % 9 + 1}
    for what, chance in chances.items():
        out[cell, places[what]] = chance
    return out


def result(chances: Any) -> str:
    return judged(TASK, posterior(TASK, chances)).result


def test_a_blank_sheet_stays_blank() -> None:
    assert result(inked(ASKED, nothing=1.0)) == "blank"


def test_each_row_of_chances_adds_up_to_one_and_printed_cells_stay_as_they_are() -> None:
    chances = inked(ASKED, right=0.9, wrong=0.1)
    weighed = posterior(TASK, chances)
    assert weighed.sum(axis=1) == pytest.approx(1.0)
    printed = [cell for cell, mark in enumerate(DIGITS) if mark != "."]
    assert (weighed[printed] == chances[printed]).all()


def test_ink_that_looks_like_the_right_digit_most_is_settled_by_what_is_usual() -> None:
    assert judged(TASK, inked(ASKED, right=0.9, wrong=0.1)).result == "unsure"
    assert result(inked(ASKED, right=0.9, wrong=0.1)) == "right"
    assert result(inked(ASKED, right=0.75, wrong=0.25)) == "unsure"


@pytest.mark.parametrize("chance", [0.45, 0.3, 0.2, 0.1])
def test_ink_that_looks_like_another_digit_most_is_never_called_right(chance: float) -> None:
    assert result(inked(ASKED, wrong=1 - chance, right=chance)) == "unsure"


def test_plain_wrong_ink_is_wrong_in_any_cell() -> None:
    for cell in (ASKED, OTHER):
        assert result(inked(cell, wrong=0.9995, right=0.0005)) == "wrong"


def test_a_crease_in_a_cell_that_nobody_asked_about_is_no_digit() -> None:
    crease = {"nothing": 0.9, "wrong": 0.06, "right": 0.04}
    assert result(inked(OTHER, **crease)) == "blank"
    assert result(inked(ASKED, **crease)) == "unsure"
    assert result(inked(OTHER, nothing=0.4, wrong=0.6)) == "unsure"


# ------------------------------------------------------------ codes on curled paper


def symbol(text: str, module: int = 7) -> Any:
    import cv2

    small = cv2.QRCodeEncoder.create().encode(text)
    big = np.kron(small, np.ones((module, module), np.uint8))
    return cv2.copyMakeBorder(big, 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=235)


def curled(picture: Any, depth: float) -> Any:
    """Rolled about a slanting axis: one side is pressed together, the other drawn out."""
    import cv2

    high, wide = picture.shape
    y, x = np.mgrid[0:high, 0:wide].astype(np.float32)
    along = (y + 0.2 * x) / high
    moved = y + depth * high * np.sin(np.pi * along).astype(np.float32)
    return cv2.remap(picture, x, moved, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


@pytest.mark.slow
def test_a_curled_code_that_the_usual_reader_gives_up_on_is_straightened_and_read() -> None:
    import cv2

    (page,) = pages_of([TASK] * 9, 9, "a4")
    text = encode(page)
    bent = curled(symbol(text), 0.045)
    read, corners, _ = cv2.QRCodeDetector().detectAndDecode(bent)
    assert read != text
    symbols = list(straightened(bent, corners.reshape(4, 2)))
    assert any(cv2.QRCodeDetector().detectAndDecode(one)[0] == text for one in symbols)
    assert look_for_code(cv2.cvtColor(bent, cv2.COLOR_GRAY2BGR), [], decode, forms()).page == page


def test_where_there_is_no_code_none_is_made_up() -> None:
    noise = np.random.default_rng(3).integers(0, 255, (400, 400), np.uint8)
    corners = np.array([(60.0, 60), (340, 60), (340, 340), (60, 340)])
    assert list(straightened(noise, corners)) == []
    line = np.array([(60.0, 60)] * 4)
    assert list(straightened(noise, line)) == []
    assert look_for_code(np.full((300, 300, 3), 230, np.uint8), [], decode, forms()).page is None


@pytest.mark.slow
def test_a_code_that_lies_too_flat_for_the_usual_reader_is_drawn_out() -> None:
    import cv2

    (page,) = pages_of([TASK] * 9, 9, "a4")
    upright = symbol(encode(page))
    turned = cv2.warpAffine(
        upright, np.array([[1, 0.25, 0], [0, 0.42, 0]]), (1000, 420), borderValue=235
    )
    readers = (cv2.QRCodeDetector(), cv2.QRCodeDetectorAruco())
    assert all(reader.detectAndDecode(turned)[0] == "" for reader in readers)
    assert look_for_code(cv2.cvtColor(turned, cv2.COLOR_GRAY2BGR), [], decode, forms()).page == page
