"""What stands on the paper: givens, entries, notes. A broken position can be held and described."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from enum import Flag
from functools import cached_property

from papernudge.hints.geometry import grid_picture
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.masks import SYMBOLS, VALUES, Cell, Cells, Digit, Digits
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

    ``givens`` and ``entries``: a character for each cell of the ``layout``, row by row, ``.`` for
    nothing; no cell has both. ``notes``: for each noted cell the set of its digits. Make one with
    ``Position.of``, which checks the form. Whether the digits make sense is another question: see
    ``faults``.
    """

    givens: str
    entries: str = NEWSPAPER.blank
    notes: Mapping[Cell, Digits] = field(default_factory=dict)
    layout: Layout = NEWSPAPER

    @classmethod
    def of(
        cls,
        givens: str,
        entries: str | None = None,
        notes: Mapping[Cell, Collection[Digit]] | None = None,
        layout: Layout = NEWSPAPER,
    ) -> Position:
        """A position from two lines of a character for each cell (``.`` or ``0`` for nothing) and
        notes.

        Raises ValueError, saying what was expected, if a line, a cell or a digit is malformed.
        """
        printed = _checked(givens, "givens", layout)
        written = layout.blank if entries is None else _checked(entries, "entries", layout)
        for cell in layout.cells:
            if printed[cell] != "." and written[cell] != ".":
                raise ValueError(
                    f"expected a given or an entry in {layout.name(cell)}, got both: given "
                    f"{printed[cell]}, entry {written[cell]}; leave one of them out"
                )
        return cls(printed, written, _checked_notes(notes or {}, layout), layout)

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
        return self.layout.all_cells & ~self.filled

    @cached_property
    def placed(self) -> tuple[Cells, ...]:
        """For each digit the cells where it stands; index 0 is empty."""
        masks = [0] * (self.layout.side + 1)
        for cell, mark in enumerate(self.digits):
            if mark != ".":
                masks[VALUES[mark]] |= 1 << cell
        return tuple(masks)

    @cached_property
    def candidates(self) -> tuple[Cells, ...]:
        """For each digit the blank cells that see none of it; index 0 is empty."""
        left, peers, every = [0], self.layout.peer_masks, self.layout.all_cells
        for digit in self.layout.digits:
            seen, rest = self.filled, self.placed[digit]
            while rest:
                low = rest & -rest
                seen |= peers[low.bit_length() - 1]
                rest ^= low
            left.append(every & ~seen)
        return tuple(left)

    @cached_property
    def faults(self) -> Fault:
        """All that is wrong with givens and entries together."""
        return faults_of(self.digits, self.layout)

    @cached_property
    def given_faults(self) -> Fault:
        """All that is wrong with the givens alone."""
        return faults_of(self.givens, self.layout)

    @cached_property
    def solution(self) -> str | None:
        """The solution of the givens, if they have exactly one."""
        return solve(self.givens, self.layout)

    def with_digit(self, cell: Cell, digit: Digit) -> Position:
        """The position with one more entry; its notes go, and the digit's in the cells it sees.

        ValueError if the cell is filled.
        """
        if self.digits[cell] != ".":
            name, held = self.layout.name(cell), self.digits[cell]
            raise ValueError(f"expected a blank cell, got {name}, which holds {held}")
        mark, peers = SYMBOLS[digit - 1], self.layout.peer_masks[cell]
        entries = self.entries[:cell] + mark + self.entries[cell + 1 :]
        notes: Mapping[Cell, Digits] = self.notes
        if notes:
            bit = 1 << (digit - 1)
            notes = {c: n & ~bit if peers >> c & 1 else n for c, n in notes.items() if c != cell}
        after = Position(self.givens, entries, notes, self.layout)
        # What is known of this position says most of the next: a search makes many of them.
        known = vars(after)
        known["digits"] = self.digits[:cell] + mark + self.digits[cell + 1 :]
        known["filled"] = self.filled | 1 << cell
        placed = list(self.placed)
        placed[digit] |= 1 << cell
        known["placed"] = tuple(placed)
        left = [cells & ~(1 << cell) for cells in self.candidates]
        left[digit] &= ~peers
        known["candidates"] = tuple(left)
        if "solution" in vars(self):
            known["solution"] = self.solution
        return after

    def __str__(self) -> str:
        return grid_picture(self.digits, self.layout)


def faults_of(line: str, layout: Layout = NEWSPAPER) -> Fault:
    """All that is wrong with the digits of a line of a character for each cell.

    >>> faults_of("11" + "." * 79)
    <Fault.CLASH|NO_SOLUTION: 5>
    """
    fault = Fault.NONE
    position = Position(line, layout.blank, layout=layout)
    if any((m & h).bit_count() > 1 for m in position.placed for h in layout.masks):
        fault |= Fault.CLASH
    if not _has_candidates(position):
        fault |= Fault.NO_CANDIDATE
    found = count_solutions(line, layout=layout)
    if found != 1:
        fault |= Fault.MANY_SOLUTIONS if found else Fault.NO_SOLUTION
    return fault


def _has_candidates(position: Position) -> bool:
    layout, somewhere = position.layout, position.filled
    for cells in position.candidates:
        somewhere |= cells
    return somewhere == layout.all_cells and all(
        house & (position.placed[d] | position.candidates[d])
        for d in layout.digits
        for house in layout.masks
    )


def _checked(line: str, what: str, layout: Layout) -> str:
    if len(line) != layout.many:
        raise ValueError(
            f"expected {layout.many} characters of {what}, one for each cell row by row, got"
            f" {len(line)}; write . for a cell without one"
        )
    known = f"{layout.symbols}.0"
    for cell, mark in enumerate(line):
        if mark not in known:
            raise ValueError(
                f"expected 1 to {layout.symbols[-1]} or . in the {what}, got {mark!r} at"
                f" {layout.name(cell)}"
            )
    return line.replace("0", ".")


def _checked_notes(notes: Mapping[Cell, Collection[Digit]], layout: Layout) -> dict[Cell, Digits]:
    masks: dict[Cell, Digits] = {}
    for cell, digits in notes.items():
        if not 0 <= cell < layout.many:
            raise ValueError(f"expected a noted cell from 0 to {layout.many - 1}, got {cell}")
        wrong = [d for d in digits if d not in layout.digits]
        if wrong:
            raise ValueError(
                f"expected notes from 1 to {layout.side} in {layout.name(cell)}, got {wrong[0]}"
            )
        if digits:
            masks[cell] = sum(1 << (d - 1) for d in set(digits))
    return masks
