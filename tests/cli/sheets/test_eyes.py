"""Marks of square codes, and how little a page without one may cost."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
import pytest
from samples import chosen

from papernudge.cli.sheets.code import decode
from papernudge.cli.sheets.form import forms
from papernudge.vision.codes import recognise
from papernudge.vision.codes.eyes import is_noise, marks_in
from papernudge.vision.codes.recognise import look_for_code


def coded(text: str, scale: int = 8, turn: float = 0.0) -> Any:
    """A square code, made by OpenCV's encoder, in the middle of a page."""
    symbol = cv2.QRCodeEncoder.create().encode(text)
    large = cv2.resize(symbol, None, fx=scale, fy=scale, interpolation=cv2.INTER_NEAREST)
    page = np.full((900, 700), 225, np.uint8)
    page[300 : 300 + large.shape[0], 200 : 200 + large.shape[1]] = np.maximum(large, 30)
    matrix = cv2.getRotationMatrix2D((350, 450), turn, 1.0)
    return cv2.warpAffine(page, matrix, (700, 900), borderValue=225)


@pytest.mark.parametrize("turn", chosen([0, 7, 31, 90, 200], 31))
def test_the_marks_of_a_code_are_seen_where_they_are(turn: int) -> None:
    page = coded("https://example.org/lantern", turn=turn)
    marks = marks_in(page)
    side = cv2.QRCodeEncoder.create().encode("https://example.org/lantern").shape[0] * 8
    matrix = cv2.getRotationMatrix2D((350, 450), turn, 1.0)
    # ISO/IEC 18004: a finder pattern is seven modules wide; the encoder leaves a quiet zone.
    quiet = next(k for k in range(side) if coded("https://example.org/lantern")[300 + k, 260] < 99)
    near, far = quiet + 28, side - quiet - 28
    for x, y in ((near, near), (far, near), (near, far)):
        place = matrix @ (200 + x, 300 + y, 1)
        assert np.abs(marks - place).sum(axis=1).min() < 6


def test_paper_and_noise_hold_no_marks() -> None:
    rng = np.random.default_rng(2)
    blank = np.clip(230 + rng.normal(0, 3, (800, 600)), 0, 255).astype(np.uint8)
    noise = rng.integers(0, 256, (800, 600), dtype=np.uint8)
    assert len(marks_in(blank)) == len(marks_in(noise)) == 0
    assert is_noise(noise)
    assert not is_noise(blank)


@pytest.mark.slow
def test_a_code_of_something_else_is_seen_as_such() -> None:
    page = cv2.cvtColor(coded("https://example.org/lantern"), cv2.COLOR_GRAY2BGR)
    seen = look_for_code(page, [], decode, forms())
    assert (seen.page, seen.other) == (None, "https://example.org/lantern")


def test_a_page_without_marks_is_left_after_so_many_pixels(monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[int] = []
    true = recognise._read

    def counted(detector: Any, piece: Any) -> Any:
        looked.append(piece.size)
        return true(detector, piece)

    monkeypatch.setattr(recognise, "_read", counted)
    page = np.full((1200, 900, 3), 228, np.uint8)
    grid = np.array([(180, 360), (720, 372), (711, 900), (189, 888)], np.float64)
    assert look_for_code(page, [grid], decode, forms()).page is None
    most = recognise.PATIENCE + 1200 * 900 * recognise._STRETCH
    assert sum(looked) / 2 <= most  # two readers look at each piece
