"""Sets as integers: of cells a bit for each, of digits bit ``d - 1`` for digit d."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

Cell = int
Digit = int
House = int
Cells = int
"""A set of cells, a bit for each."""
Digits = int
"""A set of digits."""
Candidates = int
"""A set of pairs of cell and digit: digit by digit, as many bits for each as there are cells."""

SYMBOLS = "123456789ABCDEFG"
"""How digits stand in lines: those of base 36 (10 is A), as many as a board may have."""
VALUES = {".": 0, "0": 0, **{mark: digit for digit, mark in enumerate(SYMBOLS, start=1)}}
"""The digit of each mark, 0 for nothing."""


def members(mask: int) -> Iterator[int]:
    """The bits that are set, lowest first: the cells of a set of cells."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def cells_mask(cells: Iterable[Cell]) -> Cells:
    """The set of these cells."""
    mask = 0
    for cell in cells:
        mask |= 1 << cell
    return mask


DIGITS_IN: list[tuple[Digit, ...]] = [()]
"""The digits of each set of digits, lowest first; as far as the boards at hand have digits."""


def know_digits(many: int) -> None:
    """Let ``DIGITS_IN`` know all sets of so many digits: 512 of nine, 65,536 of sixteen."""
    while len(DIGITS_IN) < 1 << many:
        digit = len(DIGITS_IN).bit_length()
        DIGITS_IN.extend([(*digits, digit) for digits in DIGITS_IN])


def digits_in(mask: Digits) -> tuple[Digit, ...]:
    """The digits of a set of digits, lowest first."""
    return DIGITS_IN[mask]
