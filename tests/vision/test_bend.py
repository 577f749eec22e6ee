"""Bent symbols of sheet codes."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from samples import chosen

from papernudge.vision.codes.bend import (
    evened,
    known_modules,
    matched,
    modules_of,
    pattern_places,
    terms,
    through,
)
from papernudge.vision.codes.straighten import QUIET, straightened

LETTERS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"


def symbol(version: int, seed: int = 1) -> Any:
    """Which modules are dark, (S, S), of a symbol that OpenCV makes."""
    import cv2

    told = cv2.QRCodeEncoder.Params()
    told.version, told.correction_level = version, cv2.QRCodeEncoder_CORRECT_LEVEL_M
    told.mode = cv2.QRCodeEncoder_MODE_ALPHANUMERIC
    chance = np.random.default_rng(seed)
    text = "".join(LETTERS[k] for k in chance.integers(0, 45, 20 + 5 * version))
    made = cv2.QRCodeEncoder.create(told).encode(text)
    rim = int(np.nonzero(made[:, made.shape[1] // 2] < 128)[0].min())
    side = 17 + 4 * version
    rim = (made.shape[0] - side) // 2
    return made[rim : rim + side, rim : rim + side] < 128


def photo(dark: Any, bend: Any, module: int = 7) -> tuple[Any, Any]:
    """The symbol bent, grey, and where its corners would be if it were flat."""
    import cv2

    side = dark.shape[0]
    quiet = 10
    small = np.pad(np.where(dark, 40, 215).astype(np.uint8), quiet, constant_values=215)
    big = np.kron(small, np.ones((module, module), np.uint8))
    y, x = np.mgrid[0 : big.shape[0], 0 : big.shape[1]].astype(np.float32)
    in_x, in_y = x / module - quiet, y / module - quiet
    move_x, move_y = bend(2 * in_x / side - 1, 2 * in_y / side - 1)
    bent = cv2.remap(
        big, x + np.float32(module) * move_x, y + np.float32(module) * move_y, cv2.INTER_LINEAR,
        borderValue=215,
    )  # fmt: skip
    low, high = quiet * module - 0.5, (quiet + side) * module - 0.5
    corners = np.array([(low, low), (high, low), (high, high), (low, high)])
    return cv2.GaussianBlur(bent, (0, 0), 0.25 * module), corners


@pytest.mark.parametrize("version", [2, 6, 7, 9, 10, 14])
def test_the_known_modules_are_those_of_symbols_that_others_make(version: int) -> None:
    dark = symbol(version)
    places, value = known_modules(version)
    columns, rows = places.astype(int).T
    assert (dark[rows, columns] == (value < 0)).all()
    assert len(set(map(tuple, places))) == len(places) > 200


def s_shaped(x: Any, y: Any) -> tuple[Any, Any]:
    """Up to two modules to either side, nothing at the finders."""
    return (1.5 * (1 - y * y)).astype(np.float32), (4.0 * y * (1 - y * y)).astype(np.float32)


@pytest.mark.parametrize("version", chosen([6, 9], 6))
def test_a_symbol_bent_like_an_s_is_drawn_anew_module_by_module(version: int) -> None:
    dark = symbol(version)
    grey, corners = photo(dark, s_shaped)
    first = next(straightened(grey, corners))
    inner = first[QUIET:-QUIET, QUIET:-QUIET]
    step = inner.shape[0] // dark.shape[0]
    assert inner.shape[0] == step * dark.shape[0]
    read = inner[step // 2 :: step, step // 2 :: step] < 128
    assert (read != dark).mean() < 0.025  # a usual reader mends more
    assert (first[:QUIET] == 255).all()


def test_a_flat_symbol_needs_no_bend_and_matches_wholly() -> None:
    from papernudge.vision.codes.straighten import _flattened

    dark = symbol(7)
    grey, corners = photo(dark, lambda x, y: (0 * x, 0 * y))
    flat = _flattened(grey, corners, dark.shape[0])
    assert flat is not None
    evenly = evened(flat)
    bend, match = matched(evenly, 7, np.zeros((15, 2)))
    places, _ = known_modules(7)
    assert np.abs(terms(places, 7) @ bend).max() < 0.2
    assert match > 0.75
    assert (modules_of(evenly, 7, bend) == dark).all()
    assert matched(evenly, 9, np.zeros((15, 2)))[1] < 0.6


def test_a_bend_passes_through_the_patterns_that_were_found() -> None:
    places = pattern_places(9)
    shifts = np.stack([0.02 * places[:, 1], 0.001 * places[:, 0] ** 2], axis=1)
    trust = np.ones(len(places))
    bend = through(places, shifts, trust, 9)
    assert np.abs(terms(places, 9) @ bend - shifts).max() < 0.15
    assert not through(places, shifts, 0 * trust, 9).any()


def test_a_good_start_is_not_led_away() -> None:
    from papernudge.vision.codes.straighten import _flattened

    dark = symbol(9)

    def waves(x: Any, y: Any) -> tuple[Any, Any]:
        return (0 * x).astype(np.float32), (3.5 * np.sin(np.pi * y)).astype(np.float32)

    flat = _flattened(*photo(dark, waves), dark.shape[0])
    assert flat is not None
    evenly = evened(flat)
    side = dark.shape[0]
    middles = np.stack(np.meshgrid(*[np.arange(side) + 0.5] * 2), axis=-1).reshape(-1, 2)
    lies = middles[:, 1].copy()
    for _ in range(60):  # a place whose shift leads to the module
        lies = middles[:, 1] - 3.5 * np.sin(np.pi * (2 * lies / side - 1))
    shifts = np.stack([0 * lies, lies - middles[:, 1]], axis=1)
    start = np.linalg.lstsq(terms(middles, 9), shifts, rcond=None)[0]
    assert (modules_of(evenly, 9, start) == dark).all()
    bend, _ = matched(evenly, 9, start)
    assert (modules_of(evenly, 9, bend) != dark).mean() < 0.01
