"""A deduction, and the evidence that alone forces it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from papernudge.hints.board import Board
from papernudge.hints.geometry import (
    ALL_CANDIDATES,
    ALL_DIGITS,
    DIGITS,
    DIGITS_IN,
    HOUSES,
    HOUSES_OF,
    PEERS,
    Candidates,
    Cell,
    Cells,
    Digit,
    House,
    candidate,
    members,
)
from papernudge.hints.looks import (
    Read,
    Scan,
    Sight,
    least_cover,
    price,
    sight_houses,
    sight_witnesses,
)
from papernudge.hints.pattern import (
    BASE,
    FILLED,
    NO_PATTERN,
    WITNESS,
    Barred,
    Pattern,
)
from papernudge.hints.solver import KEEP, OutOfPatience, is_possible


@dataclass(frozen=True, slots=True)
class Deduction:
    """What a technique concludes, and the answers it concludes it from.

    The claim, ``places`` (cell and digit) or ``ruled_out``, follows from the rules of the grid
    and the ``reads`` alone. ``held``: cells that must be kept in mind meanwhile. ``looks``: the
    effort, see ``papernudge.hints.looks``. ``one_solution``: it rests on the puzzle having one.
    ``pattern``: what the technique sees; of a single it depends on the witnesses, see
    ``pattern_of``.
    """

    technique: str
    reads: tuple[Read, ...]
    held: Cells
    places: tuple[tuple[Cell, Digit], ...]
    ruled_out: Candidates
    looks: int
    one_solution: bool = False
    pattern: Pattern = NO_PATTERN

    def only(self, ruled_out: Candidates) -> Deduction:
        """The same deduction, claiming no more than these eliminations."""
        return replace(self, ruled_out=self.ruled_out & ruled_out)


@dataclass(frozen=True, slots=True)
class Evidence:
    """What alone forces a claim, with the rules of the grid: nothing of it can be left out.

    ``cells``: written cells. ``earlier`` and ``noted``: candidates that earlier steps of the line
    or the notes on the paper have ruled out, as premises. ``one_solution``: rests on the puzzle
    having just one. ``houses``: where the questions were asked.
    """

    cells: Cells
    earlier: Candidates = 0
    noted: Candidates = 0
    houses: tuple[House, ...] = ()
    one_solution: bool = False


def deduce(
    board: Board,
    technique: str,
    reads: tuple[Read, ...],
    held: Cells,
    ruled_out: Candidates,
    pattern: Pattern,
    one_solution: bool = False,
) -> Deduction:
    """An elimination with its price."""
    looks = held.bit_count() + sum(price(board, read) for read in reads)
    return Deduction(technique, reads, held, (), ruled_out, looks, one_solution, pattern)


def exclusions(reads: tuple[Read, ...]) -> list[tuple[Cell, Digit]]:
    """The candidates that must be out for the reads to be true, each once."""
    needed: dict[tuple[Cell, Digit], None] = {}
    for read in reads:
        if isinstance(read, Scan):
            for cell in members(HOUSES[read.house] & ~read.places):
                needed[cell, read.digit] = None
        else:
            for digit in DIGITS_IN[ALL_DIGITS & ~read.digits]:
                needed[read.cell, digit] = None
    return list(needed)


def evidence_of(board: Board, deduction: Deduction) -> Evidence:
    """The written cells and premises that its reads rest on, none of them idle.

    A deduction without reads, a net, rests on all that is written until it is ``reduced``.
    """
    if not deduction.reads:
        return Evidence(board.filled, houses=HOUSES_OF[deduction.held.bit_length() - 1][2:])
    cells, houses = 0, dict[House, None]()
    for read in deduction.reads:
        if isinstance(read, Scan):
            houses[read.house] = None
            cells |= _scanned(board, read)
        else:
            for house in sight_houses(board, read.cell, read.digits):
                houses[house] = None
            cells |= sight_witnesses(board, read.cell, read.digits)
    evidence = _trimmed(board, exclusions(deduction.reads), cells, tuple(houses))
    return replace(evidence, one_solution=deduction.one_solution)


def pattern_of(board: Board, deduction: Deduction, evidence: Evidence) -> Pattern:
    """What is to be seen: of a single, its witnesses told apart from cells that are just filled.

    The digits of a hidden single: the one that has one place left; of a last blank or a naked
    single those that stand there; of a house that is finished those that it lacks.
    """
    if not deduction.places:
        return deduction.pattern
    first = deduction.reads[0]
    if isinstance(first, Sight) or HOUSES[first.house] & board.blank & ~first.places == 0:
        digits = sum(1 << (d - 1) for d in DIGITS if board.placed[d] & evidence.cells)
        role = WITNESS if isinstance(first, Sight) else FILLED
        return Pattern(digits, ((role, evidence.cells),), ((BASE, evidence.houses),))
    scans = [read for read in deduction.reads if isinstance(read, Scan)]
    digits, witnesses, barred = 0, 0, list[Barred]()
    for read in scans:
        digits |= 1 << (read.digit - 1)
        blanks = HOUSES[read.house] & board.blank & ~read.places
        for witness in members(board.placed[read.digit] & evidence.cells):
            if PEERS[witness] & blanks:
                witnesses |= 1 << witness
                barred.append(Barred(witness, PEERS[witness] & blanks))
    roles = (WITNESS, witnesses), (FILLED, evidence.cells & ~witnesses)
    return Pattern(digits, roles, ((BASE, evidence.houses),), (), tuple(barred))


def reduced(board: Board, evidence: Evidence, deduction: Deduction) -> Evidence:
    """Leave out, one by one, what the claim doesn't need by the rules of the grid.

    A pattern as it is read may ask for more than its claim does: a further place that sees the
    struck cell too does no harm, say. Premises are tried first, so that a line keeps no idle step.
    What rests on the puzzle having one solution is left as it is: no rule forces it.
    """
    if deduction.one_solution:
        return evidence
    for name in ("earlier", "noted", "cells"):
        for item in members(getattr(evidence, name)):
            less = replace(evidence, **{name: getattr(evidence, name) & ~(1 << item)})
            if forced(board, less, deduction):
                evidence = less
    return evidence


def forced(board: Board, evidence: Evidence, deduction: Deduction) -> bool:
    """Whether the evidence and the rules alone force the claim.

    False also where that can't be shown with reasonable effort.
    """
    state = _consequences(board, evidence)
    focus = deduction.held
    for house in evidence.houses:
        focus |= HOUSES[house]
    try:
        return not any(is_possible(other, focus) for other in _otherwise(state, deduction))
    except OutOfPatience:
        return False


def _consequences(board: Board, evidence: Evidence) -> Candidates:
    """The candidates that the evidence leaves."""
    state = ALL_CANDIDATES & ~(evidence.earlier | evidence.noted)
    for digit in DIGITS:
        for cell in members(board.placed[digit] & evidence.cells):
            state &= KEEP[81 * (digit - 1) + cell]
    return state


def _otherwise(state: Candidates, deduction: Deduction) -> Iterator[Candidates]:
    """What is left if one of the claims is false, for each of them."""
    for bit in members(deduction.ruled_out):
        yield state & KEEP[bit] if state >> bit & 1 else 0
    for cell, digit in deduction.places:
        yield state & ~candidate(cell, digit)


def _scanned(board: Board, read: Scan) -> Cells:
    """The witnesses of a scan and the filled cells of its house that no witness sees."""
    others = HOUSES[read.house] & ~read.places
    need = others & board.blank & ~board.premises[read.digit]
    witnesses = least_cover(need, board.placed[read.digit]) if need else 0
    seen = 0
    for witness in members(witnesses):
        seen |= PEERS[witness]
    return witnesses | (others & board.filled & ~seen)


def _trimmed(
    board: Board, needed: list[tuple[Cell, Digit]], cells: Cells, houses: tuple[House, ...]
) -> Evidence:
    """Leave out, one by one, what the rest makes idle."""
    reasons: list[set[int]] = []
    premises = board.gone | board.noted
    for cell, digit in needed:
        sees = (PEERS[cell] & board.placed[digit] | 1 << cell) & cells
        found = set(members(sees))
        if candidate(cell, digit) & premises:
            found.add(81 + 81 * (digit - 1) + cell)
        reasons.append(found)
    # Premises go first: a written digit is easier to trust than a conclusion.
    used = sorted(set().union(*reasons), reverse=True) if reasons else []
    for item in used:
        if all(found != {item} for found in reasons):
            for found in reasons:
                found.discard(item)
    left = set().union(*reasons) if reasons else set()
    drawn = sum(1 << (item - 81) for item in left if item >= 81)
    return Evidence(
        sum(1 << item for item in left if item < 81),
        drawn & board.gone,
        drawn & board.noted,
        houses,
    )
