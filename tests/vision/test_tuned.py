"""Numbers found by trying: where they stand, and what is known of them."""

from __future__ import annotations

import ast
import importlib
from pathlib import Path

import pytest

from papernudge.vision.tuned import RECORDS, several, tuned, whole

VISION = Path(__file__).resolve().parents[2] / "vision"
MODULES = (
    *("find", "find_outlines", "find_net", "find_again", "find_kind"),
    *("crossings", "flatten", "lines", "quality"),
    *("boards/find", "boards/lattice", "boards/regions", "boards/tints"),
)
FREE = {
    *("_USUAL", "PAPER", "_AROUND", "FINE", "COARSE", "_STEPS", "ALONG", "_THIN", "_BLOCK"),
    *("FEWEST", "MOST", "_SEVERAL"),
}
"""What the network was trained with, and what is counted: no choices that could be moved alone."""


def test_every_record_says_its_unit_on_what_it_was_tuned_and_what_moves() -> None:
    assert len(RECORDS) > 100
    for name, record in RECORDS.items():
        assert name == record.name
        assert all((record.unit, record.on, record.less, record.more)), name
        assert record.less != record.more, name


def test_every_record_is_what_its_module_goes_by() -> None:
    for name, record in RECORDS.items():
        module, _, constant = name.rpartition(".")
        held = getattr(importlib.import_module(f"papernudge.vision.{module}"), constant)
        expected = record.value
        if isinstance(expected, tuple) and held != expected:
            (expected,) = expected
        assert held == expected, name


@pytest.mark.parametrize("module", MODULES)
def test_no_module_of_finding_keeps_a_threshold_without_a_record(module: str) -> None:
    tree = ast.parse((VISION / f"{module}.py").read_text("utf-8"))
    bare = [
        target.id
        for node in tree.body
        if isinstance(node, ast.Assign)
        and isinstance(node.value, ast.Constant)
        and isinstance(node.value.value, int | float)
        for target in node.targets
        if isinstance(target, ast.Name)
    ]
    assert set(bare) <= FREE


def test_a_record_is_asked_for_as_what_it_is() -> None:
    assert tuned("quality.LEAST_CELL") == 11.0
    assert isinstance(whole("find._LONG"), int)
    assert len(several("flatten._PASSES")) == 3
    with pytest.raises(KeyError):
        tuned("flatten._FORGOTTEN")
