"""A deduction, and the evidence that alone forces it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

from papernudge.hints.board import Board
from papernudge.hints.following import World, followed
from papernudge.hints.layout import NEWSPAPER, Layout
from papernudge.hints.looks import (
    Read,
    Scan,
    Sight,
    price,
    scan_witnesses,
    sight_houses,
    sight_witnesses,
)
from papernudge.hints.masks import (
    DIGITS_IN,
    Candidates,
    Cell,
    Cells,
    Digit,
    House,
    members,
)
from papernudge.hints.pattern import (
    BASE,
    FILLED,
    NO_PATTERN,
    SET,
    WITNESS,
    Barred,
    Pattern,
)

MOST_BRANCHES = 3
"""How deep the branches of a net may go."""


@dataclass(frozen=True, slots=True)
class Deduction:
    """What a technique concludes, and the answers it concludes it from.

    The claim, ``places`` (cell and digit) or ``ruled_out``, follows from the rules of the grid
    and the ``reads`` alone. ``held``: cells that must be kept in mind meanwhile. ``looks``: the
    effort, see ``papernudge.hints.looks``. ``one_solution``: it rests on the puzzle having one.
    ``sees``: its pattern, or how it is drawn: of most deductions it is never asked.
    """

    technique: str
    reads: tuple[Read, ...]
    held: Cells
    places: tuple[tuple[Cell, Digit], ...]
    ruled_out: Candidates
    looks: int
    one_solution: bool = False
    sees: Pattern | Callable[[], Pattern] = field(default=NO_PATTERN, compare=False)

    @property
    def pattern(self) -> Pattern:
        """What the technique sees; of a single it depends on the witnesses, see ``pattern_of``."""
        return self.sees if isinstance(self.sees, Pattern) else self.sees()

    def only(self, ruled_out: Candidates, layout: Layout = NEWSPAPER) -> Deduction:
        """The same deduction, claiming no more than these eliminations.

        A set that lies in a block and a line is then shown in the house where it strikes.
        """
        claim = self.ruled_out & ruled_out
        pattern = self.pattern
        if pattern.by_role(SET) and claim:
            pattern = pattern.in_houses(_struck_in(layout, pattern.houses_by_role(BASE), claim))
        return replace(self, ruled_out=claim, sees=pattern)


def _struck_in(layout: Layout, houses: tuple[House, ...], claim: Candidates) -> tuple[House, ...]:
    """As few of the houses, in order, as hold all cells that are struck."""
    cells = layout.cells_in(claim)
    alone = [house for house in houses if cells & ~layout.masks[house] == 0]
    return (alone[0],) if alone else houses


@dataclass(frozen=True, slots=True)
class Evidence:
    """What the pattern is read from: with it and the rules of the grid the claim is forced, and
    without any of it the pattern could not be read.

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
    sees: Pattern | Callable[[], Pattern],
    one_solution: bool = False,
) -> Deduction:
    """An elimination with its price."""
    looks = held.bit_count() + sum(paid(board, read) for read in reads)
    return Deduction(technique, reads, held, (), ruled_out, looks, one_solution, sees)


def paid(board: Board, read: Read) -> int:
    """What an answer costs, worked out once for all boards of a search on which it is the same."""
    if isinstance(read, Scan):
        key: object = (read, board.premises[read.digit] & board.layout.masks[read.house])
    else:
        key = (read, board.digits[read.cell])
    known: int | None = board.shared.get(key)
    if known is None:
        known = board.shared[key] = price(board, read)
    return known


def exclusions(layout: Layout, reads: tuple[Read, ...]) -> list[tuple[Cell, Digit]]:
    """The candidates that must be out for the reads to be true, each once."""
    needed: dict[tuple[Cell, Digit], None] = {}
    for read in reads:
        if isinstance(read, Scan):
            for cell in members(layout.masks[read.house] & ~read.places):
                needed[cell, read.digit] = None
        else:
            for digit in DIGITS_IN[layout.all_digits & ~read.digits]:
                needed[read.cell, digit] = None
    return list(needed)


def excluded(layout: Layout, reads: tuple[Read, ...]) -> Candidates:
    """The same as a set of candidates."""
    mask, masks, many = 0, layout.masks, layout.many
    for read in reads:
        if isinstance(read, Scan):
            mask |= (masks[read.house] & ~read.places) << many * (read.digit - 1)
        else:
            mask |= layout.in_cell[layout.all_digits & ~read.digits] << read.cell
    return mask


def evidence_of(board: Board, deduction: Deduction) -> Evidence:
    """The written cells and premises that its reads rest on, none of them idle.

    A net has no reads: it rests on whatever the contradiction comes from.
    """
    if not deduction.reads:
        return net_evidence(board, deduction)
    cells, entered = 0, dict[House, None]()
    for read in deduction.reads:
        if isinstance(read, Scan):
            entered[read.house] = None
            cells |= _scanned(board, read)
        else:
            for house in sight_houses(board, read.cell, read.digits):
                entered[house] = None
            cells |= sight_witnesses(board, read.cell, read.digits)
    needed = exclusions(board.layout, deduction.reads)
    evidence = _trimmed(board, needed, cells, tuple(entered))
    return replace(evidence, one_solution=deduction.one_solution)


def pattern_of(board: Board, deduction: Deduction, evidence: Evidence) -> Pattern:
    """What is to be seen: of a single, its witnesses told apart from cells that are just filled.

    The digits of a hidden single: the one that has one place left; of a last blank or a naked
    single those that stand there; of a house that is finished those that it lacks.
    """
    if not deduction.places:
        return deduction.pattern
    first, layout = deduction.reads[0], board.layout
    masks, peers = layout.masks, layout.peer_masks
    if isinstance(first, Sight) or masks[first.house] & board.blank & ~first.places == 0:
        digits = sum(1 << (d - 1) for d in layout.digits if board.placed[d] & evidence.cells)
        role = WITNESS if isinstance(first, Sight) else FILLED
        return Pattern(digits, ((role, evidence.cells),), ((BASE, evidence.houses),))
    scans = [read for read in deduction.reads if isinstance(read, Scan)]
    digits, witnesses, barred = 0, 0, list[Barred]()
    for read in scans:
        digits |= 1 << (read.digit - 1)
        blanks = masks[read.house] & board.blank & ~read.places
        for witness in members(board.placed[read.digit] & evidence.cells):
            if peers[witness] & blanks:
                witnesses |= 1 << witness
                barred.append(Barred(witness, peers[witness] & blanks))
    roles = (WITNESS, witnesses), (FILLED, evidence.cells & ~witnesses)
    return Pattern(digits, roles, ((BASE, evidence.houses),), (), tuple(barred))


def net_premises(board: Board, deduction: Deduction) -> Evidence:
    """All that is written, and of what was ruled out as much as a net needs: left out part by part,
    as long as what is left still leads from the assumption to a contradiction, with splits no
    deeper than before.
    """
    key = (net_premises, board.gone, deduction.ruled_out)
    known: Evidence | None = board.shared.get(key)
    if known is None:
        still = _still(board, deduction)
        houses = deduction.pattern.houses_by_role(BASE)
        evidence = Evidence(board.filled, board.gone, board.noted, houses)
        # Few of the premises are needed, most of the cells.
        evidence = _thinned(evidence, "earlier", 2, still)
        known = board.shared[key] = _thinned(evidence, "noted", 2, still)
    return known


def net_evidence(board: Board, deduction: Deduction) -> Evidence:
    """The same, with no idle cell."""
    key = (net_evidence, board.gone, deduction.ruled_out)
    known: Evidence | None = board.shared.get(key)
    if known is None:
        evidence, still = net_premises(board, deduction), _still(board, deduction)
        known = board.shared[key] = _thinned(evidence, "cells", board.layout.many, still)
    return known


def _still(board: Board, deduction: Deduction) -> Callable[[Evidence], bool]:
    """Whether a net comes to its contradiction from less, too."""
    everything = Evidence(board.filled, board.gone, board.noted)
    assumed, worlds = deduction.ruled_out, list[World]()
    depth = next(
        n for n in range(MOST_BRANCHES + 1) if _refuted(board, everything, assumed, n, worlds)
    )
    return lambda evidence: _refuted(board, evidence, assumed, depth, worlds)


def _thinned(
    evidence: Evidence, part: str, pieces: int, still: Callable[[Evidence], bool]
) -> Evidence:
    """Leave out as much of a part of the evidence as can be, down to single items: all of it, or
    else in so many pieces, and what is needed of these in pieces again.
    """
    waiting = [tuple(members(getattr(evidence, part)))] if getattr(evidence, part) else []
    while waiting:
        items = waiting.pop()
        dropped = sum(1 << item for item in items)
        left: dict[str, Any] = {part: getattr(evidence, part) & ~dropped}
        less = replace(evidence, **left)
        if still(less):
            evidence = less
        elif len(items) > 1:
            size = -(-len(items) // pieces)
            waiting += [items[k : k + size] for k in range(0, len(items), size)]
    return evidence


def _refuted(
    board: Board, evidence: Evidence, assumed: Candidates, branches: int, worlds: list[World]
) -> bool:
    state, written = _written_in(board, evidence.cells)
    state &= board.layout.keep[assumed.bit_length() - 1] & ~(evidence.earlier | evidence.noted)
    done = written | assumed
    return followed(board.layout, state, branches, done, shortest=False, worlds=worlds) is not None


def _written_in(board: Board, cells: Cells) -> tuple[Candidates, Candidates]:
    """What these written cells leave, and they themselves as candidates."""
    known: tuple[Candidates, Candidates] | None = board.shared.get(_written_in)
    if known is not None and cells == board.filled:
        return known
    layout = board.layout
    state, written = layout.all_candidates, 0
    for digit in layout.digits:
        for cell in members(board.placed[digit] & cells):
            bit = layout.many * (digit - 1) + cell
            state &= layout.keep[bit]
            written |= 1 << bit
    if cells == board.filled:
        board.shared[_written_in] = state, written
    return state, written


def _scanned(board: Board, read: Scan) -> Cells:
    """The witnesses of a scan and the filled cells of its house that no witness sees."""
    others = board.layout.masks[read.house] & ~read.places
    witnesses = scan_witnesses(board, read)
    seen = 0
    for witness in members(witnesses):
        seen |= board.layout.peer_masks[witness]
    return witnesses | (others & board.filled & ~seen)


def _trimmed(
    board: Board, needed: list[tuple[Cell, Digit]], cells: Cells, houses: tuple[House, ...]
) -> Evidence:
    """Leave out, one by one, what the rest makes idle.

    A reason is a set of what shows one exclusion: written cells as the lowest bits, premises as
    the candidates above them.
    """
    layout, premises = board.layout, board.gone | board.noted
    many, peers = layout.many, layout.peer_masks
    reasons = set[int]()
    for cell, digit in needed:
        sees = (peers[cell] & board.placed[digit] | 1 << cell) & cells
        reasons.add(sees | (layout.candidate(cell, digit) & premises) << many)
    left = 0
    for found in reasons:
        left |= found
    # Premises go first: a written digit is easier to trust than a conclusion.
    idle = left
    while idle:
        item = 1 << (idle.bit_length() - 1)
        idle ^= item
        if item not in reasons:
            reasons = {found & ~item for found in reasons}
            left ^= item
    drawn = left >> many
    return Evidence(left & layout.all_cells, drawn & board.gone, drawn & board.noted, houses)
