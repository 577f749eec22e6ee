"""Training, in miniature, on the CPU: skipped where its framework is not installed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="papernudge[train] is not installed")

from papernudge.digits_model import layout  # noqa: E402  (after the skip)
from papernudge.digits_model.training import labels, measure, real  # noqa: E402
from papernudge.digits_model.training.augment import augment, lay_on  # noqa: E402
from papernudge.digits_model.training.network import CellNet  # noqa: E402
from papernudge.digits_model.training.pool import Ring  # noqa: E402
from papernudge.digits_model.training.train import Run, Sources, loss_of, train, turned  # noqa: E402
from papernudge.vision.patches import PAPER, SIDE  # noqa: E402

CPU = torch.device("cpu")


def cells(count: int, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """Invented cells: a bar whose height is the digit, on paper."""
    rng = np.random.default_rng(seed)
    pixels = np.full((count, SIDE, SIDE, 3), PAPER, np.uint8)
    rows = np.zeros((count, labels.LABELS), np.int8)
    for patch, row in zip(pixels, rows, strict=True):
        digit = int(rng.integers(0, 10))
        patch[12 : 12 + 2 * digit, 18:30] = 40
        row[labels.DIGIT], row[labels.HAND] = digit, int(rng.integers(0, 2)) if digit else -1
    return pixels, rows


def test_a_tiny_run_learns_saves_and_resumes(tmp_path: Path) -> None:
    ring = Ring(400, CPU)
    ring.put(cells(400))
    torch.manual_seed(0)
    run = Run(CellNet(), 0.05, tmp_path, 3e-3, CPU)
    batch = Sources(ring, None, None, None).batch(256)
    before = float(loss_of(run.net(batch[0])[0], batch[1], batch[2]).detach())
    train(run, Sources(ring, None, None, None), 64, 1.0)
    after = float(loss_of(run.net.train()(batch[0])[0], batch[1], batch[2]).detach())
    assert after < before
    again = Run(CellNet(), 0.05, tmp_path, 3e-3, CPU)
    again.resume()
    assert again.steps == run.steps > 0
    assert (tmp_path / "weights.pt").exists()
    assert (tmp_path / "checkpoint.pt").stat().st_size <= 16 * 2**20


def test_a_step_with_nothing_known_but_the_digit_takes_no_other_loss() -> None:
    truth = torch.zeros(8, labels.LABELS, dtype=torch.long)
    truth[:, 1:] = labels.UNKNOWN
    logits = torch.zeros(8, layout.OUTPUTS)
    turns = torch.zeros(8, dtype=torch.long)
    other = logits.clone()
    other[:, layout.HAND], other[:, layout.NOTES] = 9.0, -9.0
    assert loss_of(logits, truth, turns) == pytest.approx(float(loss_of(other, truth, turns)))


def test_turned_patches_ask_only_for_the_turn() -> None:
    pixels, rows = cells(90)
    patches = torch.from_numpy(pixels).permute(0, 3, 1, 2).float()
    truth = torch.from_numpy(rows).long()
    out, known, turns = turned(patches, truth)
    each = int(90 * 0.2 / 3)
    assert (known[: 3 * each] == labels.UNKNOWN).all()
    assert (known[3 * each :] == truth[3 * each :]).all()
    back = torch.rot90(out[:each], -1, (2, 3))  # one clockwise turn brings it upright
    assert torch.equal(back, patches[:each])
    marked = truth[:, labels.DIGIT] > 0
    assert set(turns[:each][marked[:each]].tolist()) <= {1}


def test_augmentation_keeps_shape_and_range() -> None:
    patches = torch.from_numpy(cells(16)[0]).permute(0, 3, 1, 2).float()
    out = augment(patches)
    assert out.shape == patches.shape
    assert float(out.min()) >= 0
    assert float(out.max()) <= 255


def test_laid_on_digits_only_darken() -> None:
    blank = torch.full((4, 3, SIDE, SIDE), float(PAPER))
    ink = torch.rand(4, 1, 28, 28)
    out = lay_on(blank, ink)
    assert (out <= PAPER + 1e-3).all()
    assert (out < PAPER - 20).any()


def test_folds_never_part_a_puzzle_and_are_even() -> None:
    keys = np.array([f"p{k % 13}" for k in range(200)])
    fold = real.folds(keys, 3)
    for key in set(keys.tolist()):
        assert len(set(fold[keys == key].tolist())) == 1
    assert np.bincount(fold).min() > 45


def test_a_truth_file_with_a_missing_row_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "1.dat"
    path.write_text("phone\nsize\n" + "0 0 0 0 0 0 0 0 0\n" * 8)
    with pytest.raises(ValueError, match="nine rows"):
        real.read_truth(path)


def test_exact_intervals_match_known_values() -> None:
    # Rule of three: with no failure in n trials the 95 % one-sided bound is about 3/n; the
    # two-sided interval's is -ln(0.025)/n. *Common practice, no source.*
    low, high = measure.Rate(1000, 1000).interval()
    assert low == pytest.approx(1 + np.log(0.025) / 1000, abs=1e-4)
    assert high == 1.0


def test_temperature_recovers_a_known_overconfidence() -> None:
    rng = np.random.default_rng(0)
    true = rng.normal(0, 2, (20000, 10))
    p = np.exp(true) / np.exp(true).sum(axis=1, keepdims=True)
    digit = (p.cumsum(axis=1) > rng.random((20000, 1))).argmax(axis=1)
    logits = np.zeros((20000, layout.OUTPUTS))
    logits[:, layout.DIGITS] = 2.0 * true  # twice as sure as it may be
    rows = np.zeros((20000, labels.LABELS), np.int8)
    rows[:, labels.DIGIT] = digit
    assert measure.fit_digits(logits, rows)["temperature"] == pytest.approx(2.0, rel=0.06)


def test_the_training_commands_explain_themselves() -> None:
    for name in ("pack", "stock", "train", "restore", "folds", "notes", "ship", "export"):
        done = subprocess.run(
            [sys.executable, "-m", f"papernudge.digits_model.training.{name}", "--help"],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert done.returncode == 0, done.stderr
