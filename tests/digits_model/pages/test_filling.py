"""What the solver wrote, and that the truth tells it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from papernudge.digits_model.training.pages import PageSpec, draw
from papernudge.digits_model.training.pages.filling import fill_cells
from papernudge.digits_model.training.pages.own import OwnSupplies
from papernudge.digits_model.training.pages.puzzles import forced, puzzle, solve
from papernudge.digits_model.training.pages.spec import NOTE_STYLES, PENS
from papernudge.digits_model.training.pages.truth import CellTruth

Make = Callable[..., PageSpec]


def filled(spec: PageSpec) -> tuple[list[CellTruth], list[int]]:
    givens, solution, _ = puzzle(spec.split, spec.seed, 0, spec.givens)
    return fill_cells(spec, 0, givens, solution), solution


def test_nothing_written_leaves_givens_and_blanks(still: Make) -> None:
    cells, _ = filled(still(1))
    assert {c.kind for c in cells} == {"given", "blank"}
    assert not any(c.notes or c.struck or c.marks for c in cells)


def test_a_full_grid_is_its_solution(still: Make) -> None:
    cells, solution = filled(still(2, fill=1.0))
    assert [c.digit for c in cells] == solution


def test_mistakes_are_as_many_as_asked_and_wrong(still: Make) -> None:
    cells, solution = filled(still(3, fill=0.6, mistakes=4))
    wrong = [i for i, c in enumerate(cells) if c.kind == "entry" and c.digit != solution[i]]
    assert len(wrong) == 4
    assert all("mistake" in cells[i].marks for i in wrong)


def test_what_follows_a_mistake_is_forced_by_it(still: Make) -> None:
    follows = 0
    for seed in range(8):
        spec = still(seed, fill=0.5, order="natural", mistakes=1)
        before, _ = filled(spec)
        after, solution = filled(still(seed, fill=0.5, order="natural", mistakes=1, followed=4))
        board = [c.digit or 0 for c in before]
        assert sum("root" in c.marks for c in after) == 1
        for i, cell in enumerate(after):
            if cell.kind == "entry" and before[i].kind == "blank":
                wrong = cell.digit != solution[i]
                assert ("follows" in cell.marks) is wrong
                follows += wrong
        assert sum(c.kind == "entry" for c in after) <= sum(c.kind == "entry" for c in before) + 4
        assert all(a.digit == b for a, b in zip(after, board, strict=True) if b)
    assert follows >= 8


def test_digits_forced_on_a_right_grid_are_right() -> None:
    for seed in range(10):
        givens, solution, _ = puzzle("test", seed, 0, 34)
        assert all(digit == solution[cell] for cell, digit in forced(givens))


def test_nothing_is_forced_on_an_empty_grid() -> None:
    assert forced([0] * 81) == []


def test_a_misprint_leaves_no_single_solution_to_the_givens_or_another_one(still: Make) -> None:
    spec = still(4, misprints=1)
    cells, solution = filled(spec)
    printed = [c.digit or 0 for c in cells]
    assert sum("misprint" in c.marks for c in cells) == 1
    assert solve(printed, 2) != [solution]


def test_notes_that_stand_hold_the_solution_nearly_always(still: Make) -> None:
    held = noted = 0
    for seed in range(10):
        cells, solution = filled(still(seed, fill=0.2, note_share=1.0))
        for i, cell in enumerate(cells):
            if cell.kind == "notes":
                noted += 1
                held += solution[i] in cell.notes
    assert noted > 200
    assert held > 0.75 * noted


def test_struck_notes_are_not_among_those_that_stand(still: Make) -> None:
    cells, _ = filled(still(5, note_share=1.0, struck_notes=1.0))
    assert any(c.struck_notes for c in cells)
    assert not any(set(c.notes) & set(c.struck_notes) for c in cells)


def test_labels_tell_given_from_entry_and_notes_from_blank(still: Make, own: OwnSupplies) -> None:
    grid = draw(still(6, fill=0.5, note_share=0.6, struck=0.3), own).truth.grids[0]
    told = grid.labels()
    for i, cell in enumerate(grid.cells):
        assert told["digit"][i] == (cell.digit or 0)
        assert told["hand"][i] == {"given": 1, "entry": 2}.get(cell.kind, 0)
        assert [n + 1 for n in np.flatnonzero(told["notes"][i])] == cell.notes
        assert told["struck"][i] == cell.struck


@pytest.mark.parametrize("style", NOTE_STYLES)
def test_notes_stay_inside_their_cell(still: Make, own: OwnSupplies, style: str) -> None:
    page = draw(still(7, note_share=1.0, note_style=style, fill=0.3), own)
    grid = page.truth.grids[0]
    assert grid.crossings is not None
    seen = 0
    for i, cell in enumerate(grid.cells):
        if cell.kind == "notes" and cell.ink:
            (x0, y0), (x1, y1) = (
                grid.crossings[i // 9, i % 9],
                grid.crossings[i // 9 + 1, i % 9 + 1],
            )
            slack = 0.09 * grid.cell_px
            assert cell.ink[0] > x0 - slack
            assert cell.ink[1] > y0 - slack
            assert cell.ink[2] < x1 + slack
            assert cell.ink[3] < y1 + slack
            seen += 1
    assert seen > 15


@pytest.mark.parametrize("pen", PENS)
def test_every_pen_leaves_ink_that_can_be_seen(still: Make, own: OwnSupplies, pen: str) -> None:
    bare = draw(still(8, pen=pen), own).image.astype(int)
    written = draw(still(8, pen=pen, fill=0.5), own).image.astype(int)
    assert np.abs(bare - written).max() > 90


def test_margin_notes_stand_outside_and_are_decoys(still: Make, own: OwnSupplies) -> None:
    page = draw(still(9, margin_notes=5, share=0.7), own)
    parked = [d for d in page.truth.decoys if d["what"] == "margin note"]
    assert len(parked) >= 5
    low, high = page.truth.grids[0].corners.min(axis=0), page.truth.grids[0].corners.max(axis=0)
    for decoy in parked:
        x, y = (decoy["box"][0] + decoy["box"][2]) / 2, (decoy["box"][1] + decoy["box"][3]) / 2
        assert not (low[0] < x < high[0] and low[1] < y < high[1])
