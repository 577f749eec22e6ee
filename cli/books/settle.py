"""What a grid came to: clean, to be reviewed by a person, or left out, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from papernudge.cli.books.rows import Doubt, GridRow, PuzzleRow

SURE = 0.98
"""A grid less likely than this to be right in every given is looked at by a person."""


@dataclass(frozen=True, slots=True)
class Words:
    """A person's corrections of one grid: ``cells`` by name, ``whole`` on the grid itself."""

    cells: Mapping[str, str]
    whole: str | None = None

    def __len__(self) -> int:
        return len(self.cells) + (self.whole is not None)


NOTHING_SAID = Words({})


def settle(grid: GridRow, words: Words = NOTHING_SAID) -> PuzzleRow:
    """The puzzle that follows from a reading and a person's corrections of it.

    Clean is a claim that every printed digit is right: no doubt is left about a digit or about
    who wrote it, and the givens have exactly one solution. Doubts about small notes don't count,
    since no export holds notes.
    """
    if words.whole == "left out":
        return PuzzleRow("left out", "by hand", corrected=len(words))
    if grid.givens is None or grid.entries is None:
        return PuzzleRow("left out", grid.quality or grid.kind, corrected=len(words))
    if grid.kind != "puzzle" and not words:
        kind = "a printed solution" if grid.kind == "full" else grid.kind
        return PuzzleRow("left out", kind, grid.givens, grid.entries)
    givens, entries = _corrected(grid.givens, grid.entries, words.cells)
    doubts = [d for d in grid.doubts if d["cell"] not in words.cells]
    row = _solved(PuzzleRow("clean", None, givens, entries, doubts, len(words)))
    reason = None if words.whole == "ok" else _why_review(row, grid, words)
    return row if reason is None else replace(row, status="review", reason=reason)


def _why_review(row: PuzzleRow, grid: GridRow, words: Words) -> str | None:
    if any(doubt["about"] != "notes" for doubt in row.doubts):
        return "doubts"
    if row.solutions == "none":
        return "no solution"
    if row.solutions == "many":
        return "several solutions"
    if not words and grid.chance_all_right < SURE and not grid.doubts:
        return "not sure enough"
    return None


def _corrected(givens: str, entries: str, says: Mapping[str, str]) -> tuple[str, str]:
    printed, written = list(givens), list(entries)
    for name, said in says.items():
        cell = 9 * (int(name[1]) - 1) + int(name[3]) - 1
        kind, _, digit = said.rpartition(":")
        kind = kind or ("given" if printed[cell] != "." else "entry")
        printed[cell] = digit if kind == "given" else "."
        written[cell] = digit if kind == "entry" else "."
    return "".join(printed), "".join(written)


def _solved(row: PuzzleRow) -> PuzzleRow:
    """With solutions, grade and canonical form, the last two where there is one solution."""
    from papernudge.hints.canonical import canonical
    from papernudge.hints.grade import grade
    from papernudge.hints.solver import count_solutions, solve

    givens = row.givens or ""
    found = ("none", "one", "many")[count_solutions(givens)]
    if found != "one":
        return replace(row, solutions=found)
    graded = grade(givens)
    low, high = graded.minutes_range
    return replace(
        row,
        solutions=found,
        solution=solve(givens),
        minutes=round(graded.minutes, 1),
        minutes_low=round(low, 1),
        minutes_high=round(high, 1),
        looks=graded.looks,
        hardest=graded.hardest,
        steps=graded.steps,
        canonical=canonical(givens),
    )


def needs_a_person(doubt: Doubt) -> bool:
    """Whether a doubt keeps a grid from being clean."""
    return bool(doubt["about"] != "notes")
