"""Positions of all sources to try a first nudge on: whole puzzles, mid-solve, with notes, and with
cells that were written since an earlier photo.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import NamedTuple

import shared_puzzles as data

from papernudge.hints import Position, solve
from papernudge.hints.board import Board
from papernudge.hints.generate import puzzle
from papernudge.hints.geometry import members
from papernudge.hints.techniques.singles import hidden_singles, last_blanks, naked_singles


class Tried(NamedTuple):
    """A position, where it comes from, and the cells written last."""

    source: str
    position: Position
    last: tuple[int, ...]


def photographed() -> list[str]:
    """The distinct printed puzzles of the photos."""
    found = dict[str, None]()
    for path in sorted((data.folder().parent / "photos/printed").glob("*.dat")):
        rows = path.read_text().split("\n")[2:11]
        line = "".join("".join(row.split()) for row in rows).replace("0", ".")
        if len(line) == 81 and solve(line) is not None:
            found[line] = None
    return list(found)


def tried(rng: random.Random) -> Iterator[Tried]:
    """Without end: a source, a puzzle of it, and how much of it stands."""
    sources = {
        "clues17": data.clues17(),
        "euler96": [line for line, _ in data.euler96()],
        "human_times": data.human_times(),
        "photos": photographed(),
    }
    names = [name for name, lines in sources.items() if lines]
    while True:
        for name in (*names, "generated"):
            if name == "generated":
                line = puzzle(rng.randrange(1 << 30), rng.choice([0, 26, 30, 34]))
            else:
                line = rng.choice(sources[name])
            yield from _ways(name, line, rng)


def _ways(name: str, line: str, rng: random.Random) -> Iterator[Tried]:
    solution = solve(line)
    assert solution is not None
    blanks = [c for c in range(81) if line[c] == "."]
    yield Tried(f"{name}, as printed", Position.of(line), ())
    written = rng.sample(blanks, rng.randrange(1, len(blanks)))
    entries = "".join(solution[c] if c in written else "." for c in range(81))
    middle = Position.of(line, entries)
    yield Tried(f"{name}, mid-solve", middle, ())
    yield Tried(f"{name}, --since", middle, tuple(sorted(written[: rng.randrange(1, 6)])))
    yield Tried(f"{name}, notes", noted(middle, solution, rng), ())
    stuck = without_singles(Position.of(line))
    if stuck.blank and rng.random() < 0.2:
        yield Tried(f"{name}, no single left", stuck, ())


def without_singles(position: Position) -> Position:
    """The position after all that can be written without a pattern."""
    while position.blank:
        board = Board.of(position)
        found = [*last_blanks(board), *hidden_singles(board), *naked_singles(board)]
        if not found:
            break
        for cell, digit in {single.places[0] for single in found}:
            position = position.with_digit(cell, digit)
    return position


def noted(position: Position, solution: str, rng: random.Random) -> Position:
    """Notes in some of the blanks, each with what can still go there, some of it struck."""
    notes = {}
    share = rng.choice([0.1, 0.4, 1.0])
    for cell in members(position.blank):
        if rng.random() < share:
            here = [d for d in range(1, 10) if position.candidates[d] >> cell & 1]
            kept = [d for d in here if str(d) == solution[cell] or rng.random() > 0.1]
            notes[cell] = kept
    return Position.of(position.givens, position.entries, notes)
