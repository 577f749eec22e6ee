"""How seeing learns what to ask about in harmed cells: rows of made-up readings, and the fit."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

pytest.importorskip("torch", reason="papernudge[train] is not installed")

from papernudge.digits_model.training import fit_sight
from papernudge.digits_model.training.fit_sight import Table
from papernudge.vision import sight
from papernudge.vision.sight import AsRead, blank_signs, hand_signs

GRIDS = 150


def made_up(seed: int) -> Table:
    """Readings of GRIDS harmed grids, every cell harmed and seen: half blank, half digits that
    are read as printed in the upper rows, nothing of them wrong."""
    dice = np.random.default_rng(seed)
    count = 81 * GRIDS
    digits = np.where(dice.random(count) < 0.5, 0, dice.integers(1, 10, count))
    looks = np.full((count, 10), 0.002)
    looks[np.arange(count), digits] = 1 - 10.0 ** dice.uniform(-4, -1, count)
    printed = (np.arange(count) % 81 < 40) & (digits > 0)
    hand = np.where(printed, -1, 1) * dice.normal(3, 2, count)
    signs = dice.normal(0, 3, (count, 4))
    signs[:, 2] = dice.uniform(2, 6, count)  # a line crosses each
    return {
        "signs": signs, "laid": dice.random(count), "looks": np.log(looks),
        "own": hand + dice.normal(0, 1, count), "hand": hand,
        "hands": np.sort(dice.normal(0, 4, (count, 3)), axis=1)[:, [0, 2, 1]],
        "read": digits.astype(float), "printed": printed.astype(float),
        "right": dice.random(count), "unclear": np.ones(count), "asked": np.ones(count),
        "bent": np.zeros(count), "digit": digits.astype(float),
        "by": np.where(digits == 0, -1.0, 1.0 - printed), "seen": np.ones(count),
        "crossed": np.zeros(count), "kind": np.zeros(count),
        "source": np.repeat(np.arange(GRIDS), 81).astype(float),
    }  # fmt: skip


def by_rule(odds: np.ndarray, seed: int) -> np.ndarray:
    """What is so with these log-odds."""
    return np.random.default_rng(seed).random(len(odds)) < 1 / (1 + np.exp(-odds))


def near(found: np.ndarray, true: np.ndarray, columns: np.ndarray) -> bool:
    """Whether two rules say nearly the same of these rows."""
    apart = (found - true)[0] + columns @ (found - true)[1:]
    return bool(np.abs(apart).mean() < 0.25)


@pytest.fixture(autouse=True)
def training() -> None:
    pytest.importorskip("sklearn", reason="training is not installed: pip install -e '.[train]'")


def test_the_fit_finds_the_rule_by_which_cells_that_look_blank_were_none() -> None:
    table = made_up(1)
    rule = np.array([-1.0, -0.6, 0.2, 0.0, -0.4, 0.3, 0.0, 0.0])
    for at in range(0, len(table["read"]), 81):
        one = {name: held[at : at + 81] for name, held in table.items()}
        odds = rule[0] + blank_signs(one["signs"], one["laid"], one["looks"]) @ rule[1:]
        hidden = by_rule(odds, at) & (one["read"] == 0)
        table["seen"][at : at + 81] = np.where(hidden, 0.2, 1.0)
    columns, true, part = fit_sight.blank_rows(table)
    assert len(columns) == (table["read"] == 0).sum()
    assert len(np.unique(part)) == GRIDS
    assert near(fit_sight.fitted(columns, true), rule, columns)


@pytest.mark.parametrize("printed", [True, False])
def test_the_fit_finds_the_rule_by_which_digits_were_of_another_hand(printed: bool) -> None:
    table = made_up(2)
    rule = np.array([-1.0, -0.3, 0.2, 0.1, 0.0, -0.3, 0.1])
    for at in range(0, len(table["read"]), 81):
        one = {name: held[at : at + 81] for name, held in table.items()}
        read = AsRead(one["read"].astype(np.int64), one["printed"] > 0, one["right"])
        rows = hand_signs(one["looks"], one["own"], read, one["hands"])
        other = by_rule(rule[0] + rows @ rule[1:], at) & (one["read"] > 0)
        table["by"][at : at + 81] = np.where(other, 1 - one["by"], one["by"])
    columns, true, _ = fit_sight.hand_rows(table, printed)
    assert len(columns) == ((table["read"] > 0) & ((table["printed"] > 0) == printed)).sum()
    assert near(fit_sight.fitted(columns, true), rule, columns)


def test_wrong_is_another_digit_another_hand_or_a_blank_that_is_not_seen() -> None:
    table = {name: held[:6].copy() for name, held in made_up(3).items()}
    table |= {
        "read": np.array([3.0, 3, 3, 0, 0, 0]), "digit": np.array([3.0, 8, 3, 0, 0, 5]),
        "printed": np.ones(6), "by": np.array([0.0, 0, 1, -1, -1, 1]),
        "seen": np.array([1.0, 1, 1, 1, 0.4, 1]), "crossed": np.array([0.0, 0, 0, 0, 0, 0.1]),
        "kind": np.full(6, fit_sight.DOODLE),
    }  # fmt: skip
    wrong, hidden = fit_sight.wrong(table)
    assert wrong.tolist() == [False, True, True, False, True, False]
    assert hidden.tolist() == [False] * 4 + [True, False]
    assert fit_sight.wrong(table | {"kind": np.zeros(6)})[0][5]


def test_the_weights_are_put_where_they_stand(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = tmp_path / "sight.py"
    before = Path(sight.__file__).read_text("utf-8")
    copy.write_text(before, "utf-8")
    monkeypatch.setattr(fit_sight, "sight", SimpleNamespace(__file__=str(copy)))
    fit_sight.write({"ENTRY_WEIGHTS": np.array([1.5, -2.0])})
    changed = set(copy.read_text("utf-8").splitlines()) - set(before.splitlines())
    assert changed == {"ENTRY_WEIGHTS = np.array([1.5, -2.0])"}
