"""What stands on the paper: givens, entries, notes. A broken position can be held and described."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from enum import Flag
from functools import cached_property

from papernudge.hints.geometry import (
    ALL_CELLS,
    HOUSES,
    PEERS,
    Cell,
    Cells,
    Digit,
    Digits,
    cell_name,
    grid_picture,
)
from papernudge.hints.layout import NEWSPAPER
from papernudge.hints.solver import count_solutions, solve


class Fault(Flag):
    """What is wrong with a set of digits. All that hold are set at once; none is falsy."""

    NONE = 0
    CLASH = 1
    """A digit stands twice in a house."""
    NO_CANDIDATE = 2
    """A blank cell can take no digit, or a house has no place left for one."""
    NO_SOLUTION = 4
    MANY_SOLUTIONS = 8


@dataclass(frozen=True)
class Position:
    """Givens, entries and notes of one grid.

    ``givens`` and ``entries``: 81 characters, row by row, ``.`` for nothing; no cell has both.
    ``notes``: for each noted cell the set of its digits. Make one with ``Position.of``, which
    checks the form. Whether the digits make sense is another question: see ``faults``.
    """

    givens: str
    entries: str = "." * 81
    notes: Mapping[Cell, Digits] = field(default_factory=dict)

    @classmethod
    def of(
        cls,
        givens: str,
        entries: str = "." * 81,
        notes: Mapping[Cell, Collection[Digit]] | None = None,
    ) -> Position:
        """A position from two lines of 81 characters (``.`` or ``0`` for nothing) and notes.

        Raises ValueError, saying what was expected, if a line, a cell or a digit is malformed.
        """
        printed, written = _checked(givens, "givens"), _checked(entries, "entries")
        for cell in NEWSPAPER.cells:
            if printed[cell] != "." and written[cell] != ".":
                raise ValueError(
                    f"expected a given or an entry in {cell_name(cell)}, got both: given "
                    f"{printed[cell]}, entry {written[cell]}; leave one of them out"
                )
        return cls(printed, written, _checked_notes(notes or {}))

    @cached_property
    def digits(self) -> str:
        """Givens and entries together."""
        return "".join(e if g == "." else g for g, e in zip(self.givens, self.entries, strict=True))

    @cached_property
    def filled(self) -> Cells:
        """The cells that hold a digit."""
        return sum(1 << c for c, mark in enumerate(self.digits) if mark != ".")

    @property
    def blank(self) -> Cells:
        """The cells that hold none."""
        return ALL_CELLS & ~self.filled

    @cached_property
    def placed(self) -> tuple[Cells, ...]:
        """For each digit 1–9 the cells where it stands; index 0 is empty."""
        masks = [0] * 10
        for cell, mark in enumerate(self.digits):
            if mark != ".":
                masks[int(mark)] |= 1 << cell
        return tuple(masks)

    @cached_property
    def candidates(self) -> tuple[Cells, ...]:
        """For each digit 1–9 the blank cells that see none of it; index 0 is empty."""
        left = [0] * 10
        for digit in range(1, 10):
            seen, rest = self.filled, self.placed[digit]
            while rest:
                low = rest & -rest
                seen |= PEERS[low.bit_length() - 1]
                rest ^= low
            left[digit] = ALL_CELLS & ~seen
        return tuple(left)

    @cached_property
    def faults(self) -> Fault:
        """All that is wrong with givens and entries together."""
        return faults_of(self.digits)

    @cached_property
    def given_faults(self) -> Fault:
        """All that is wrong with the givens alone."""
        return faults_of(self.givens)

    @cached_property
    def solution(self) -> str | None:
        """The solution of the givens, if they have exactly one."""
        return solve(self.givens)

    def with_digit(self, cell: Cell, digit: Digit) -> Position:
        """The position with one more entry; its notes go, and the digit's in the cells it sees.

        ValueError if the cell is filled.
        """
        if self.digits[cell] != ".":
            raise ValueError(
                f"expected a blank cell, got {cell_name(cell)}, which holds {self.digits[cell]}"
            )
        entries = self.entries[:cell] + str(digit) + self.entries[cell + 1 :]
        notes: Mapping[Cell, Digits] = self.notes
        if notes:
            bit, seen = 1 << (digit - 1), PEERS[cell]
            notes = {c: n & ~bit if seen >> c & 1 else n for c, n in notes.items() if c != cell}
        after = Position(self.givens, entries, notes)
        # What is known of this position says most of the next: a search makes many of them.
        known = vars(after)
        known["digits"] = self.digits[:cell] + str(digit) + self.digits[cell + 1 :]
        known["filled"] = self.filled | 1 << cell
        placed = list(self.placed)
        placed[digit] |= 1 << cell
        known["placed"] = tuple(placed)
        left = [cells & ~(1 << cell) for cells in self.candidates]
        left[digit] &= ~PEERS[cell]
        known["candidates"] = tuple(left)
        if "solution" in vars(self):
            known["solution"] = self.solution
        return after

    def __str__(self) -> str:
        return grid_picture(self.digits)


def faults_of(line: str) -> Fault:
    """All that is wrong with the digits of a line of 81 characters.

    >>> faults_of("11" + "." * 79)
    <Fault.CLASH|NO_SOLUTION: 5>
    """
    fault = Fault.NONE
    position = Position(line)
    if any((m & h).bit_count() > 1 for m in position.placed for h in HOUSES):
        fault |= Fault.CLASH
    if not _has_candidates(position):
        fault |= Fault.NO_CANDIDATE
    found = count_solutions(line)
    if found != 1:
        fault |= Fault.MANY_SOLUTIONS if found else Fault.NO_SOLUTION
    return fault


def _has_candidates(position: Position) -> bool:
    somewhere = position.filled
    for cells in position.candidates:
        somewhere |= cells
    return somewhere == ALL_CELLS and all(
        house & (position.placed[d] | position.candidates[d])
        for d in range(1, 10)
        for house in HOUSES
    )


def _checked(line: str, what: str) -> str:
    if len(line) != 81:
        raise ValueError(
            f"expected 81 characters of {what}, one for each cell row by row, got {len(line)}; "
            "write . for a cell without one"
        )
    for cell, mark in enumerate(line):
        if mark not in "123456789.0":
            raise ValueError(
                f"expected 1 to 9 or . in the {what}, got {mark!r} at {cell_name(cell)}"
            )
    return line.replace("0", ".")


def _checked_notes(notes: Mapping[Cell, Collection[Digit]]) -> dict[Cell, Digits]:
    masks: dict[Cell, Digits] = {}
    for cell, digits in notes.items():
        if not 0 <= cell <= 80:
            raise ValueError(f"expected a noted cell from 0 to 80, got {cell}")
        wrong = [d for d in digits if not 1 <= d <= 9]
        if wrong:
            raise ValueError(f"expected notes from 1 to 9 in {cell_name(cell)}, got {wrong[0]}")
        if digits:
            masks[cell] = sum(1 << (d - 1) for d in set(digits))
    return masks
