"""Training, in miniature, on the CPU: skipped where its framework is not installed."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="papernudge[train] is not installed")

from papernudge.digits_model import tensors  # noqa: E402  (after the skip)
from papernudge.digits_model.training import labels, measure, real  # noqa: E402
from papernudge.digits_model.training.augment import augment, lay_on, pens  # noqa: E402
from papernudge.digits_model.training.network import TwoLooks  # noqa: E402
from papernudge.digits_model.training.pool import PAGE, Ring  # noqa: E402
from papernudge.digits_model.training.train import (  # noqa: E402
    Run,
    Sources,
    both_losses,
    loss_of,
    train,
    turned,
)
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


@pytest.mark.slow
def test_a_tiny_run_learns_saves_and_resumes(tmp_path: Path) -> None:
    ring = Ring(5 * PAGE + 7, CPU)
    ring.put(cells(5 * PAGE))
    torch.manual_seed(0)
    sources = Sources(ring, None, None, None)
    run = Run(TwoLooks(), sources, 0.1, tmp_path, 3e-3, 2, CPU)
    batch = sources.batch(4)
    with torch.no_grad():
        before = [float(loss) for loss in both_losses(run.net, batch)]
    train(run, 1.0)
    with torch.no_grad():
        after = [float(loss) for loss in both_losses(run.net.train(), batch)]
    assert after[0] < before[0]
    assert after[1] < before[1]
    again = Run(TwoLooks(), sources, 0.1, tmp_path, 3e-3, 2, CPU)
    again.resume()
    assert again.stepper.steps == run.stepper.steps > 0
    again.step()
    assert (tmp_path / "weights.pt").exists()
    assert (tmp_path / "checkpoint.pt").stat().st_size <= 16 * 2**20


def test_what_is_exported_answers_as_the_network_does(tmp_path: Path) -> None:
    from papernudge.digits_model.scores import Looks, closer_look, context, first_look
    from papernudge.digits_model.training.export import export

    torch.manual_seed(0)
    net = TwoLooks().eval()
    export(net, tmp_path)  # raises where they differ
    looks = Looks.held(tmp_path, "model", "closer")
    pixels, _ = cells(PAGE)
    logits, features = first_look(pixels, looks.first)
    said = closer_look(pixels[:7], context(logits, features), looks.closer)
    assert said.shape == (7, tensors.OUTPUTS)
    assert (tmp_path / "closer.onnx").stat().st_size < 4 * sum(
        p.numel() for p in net.closer.parameters()
    )


def test_training_and_product_agree_on_what_is_unsure_and_what_the_page_tells() -> None:
    from papernudge.digits_model import scores
    from papernudge.digits_model.training.network import context
    from papernudge.digits_model.training.train import unsure

    rng = np.random.default_rng(0)
    logits = rng.normal(0, 4, (50, tensors.OUTPUTS))
    features = rng.random((50, tensors.FEATURES)).astype(np.float32)
    told = context(torch.from_numpy(logits), torch.from_numpy(features)).numpy()
    assert told == pytest.approx(scores.context(logits, features), abs=1e-5)
    assert unsure(torch.from_numpy(logits)).numpy() == pytest.approx(scores.unsure(logits))


def test_scanned_digits_are_laid_on_blank_cells_only() -> None:
    ring = Ring(2 * PAGE, CPU)
    ring.put(cells(2 * PAGE))
    scans = torch.full((3, 28, 28), 15, dtype=torch.uint8), torch.tensor([7, 7, 7])
    torch.manual_seed(1)
    patches, truth = Sources(ring, None, None, scans)._scanned(6)
    before = {
        tuple(p.flatten().tolist()): int(t[labels.DIGIT])
        for p, t in zip(*ring_cells(ring), strict=True)
    }
    laid = kept = 0
    for patch, row in zip(patches.flatten(0, 1), truth.flatten(0, 1), strict=True):
        was = before.get(tuple(patch.flatten().tolist()))
        if was is None:
            laid += 1
            assert row[labels.DIGIT] == 7
            assert row[labels.HAND] == 1
        else:
            kept += 1
            assert row[labels.DIGIT] == was
    assert laid > 0
    assert kept > 0


def ring_cells(ring: Ring) -> tuple[torch.Tensor, torch.Tensor]:
    """All cells that a ring holds, as batches give them."""
    return ring.pixels.permute(0, 3, 1, 2).float(), ring.labels.long()


def test_a_step_with_nothing_known_but_the_digit_takes_no_other_loss() -> None:
    truth = torch.zeros(8, labels.LABELS, dtype=torch.long)
    truth[:, 1:] = labels.UNKNOWN
    logits = torch.zeros(8, tensors.OUTPUTS)
    turns = torch.zeros(8, dtype=torch.long)
    other = logits.clone()
    other[:, tensors.HAND], other[:, tensors.NOTES] = 9.0, -9.0
    assert loss_of(logits, truth, turns) == pytest.approx(float(loss_of(other, truth, turns)))


def test_turned_pages_ask_only_for_the_turn() -> None:
    pixels, rows = cells(15 * 6)
    patches = torch.from_numpy(pixels).permute(0, 3, 1, 2).float().unflatten(0, (15, 6))
    truth = torch.from_numpy(rows).long().unflatten(0, (15, 6))
    out, known, turns = turned(patches, truth)
    assert (known[:3] == labels.UNKNOWN).all()
    assert (known[3:] == truth[3:]).all()
    back = torch.rot90(out[0], -1, (2, 3))  # one clockwise turn brings it upright
    assert torch.equal(back, patches[0])
    marked = truth[0, :, labels.DIGIT] > 0
    assert set(turns[0][marked].tolist()) <= {1}
    assert (turns[3:][truth[3:, :, labels.DIGIT] > 0] == 0).all()


def test_augmentation_keeps_shape_and_range() -> None:
    patches = torch.from_numpy(cells(16)[0]).permute(0, 3, 1, 2).float()
    out = augment(patches)
    assert out.shape == patches.shape
    assert float(out.min()) >= 0
    assert float(out.max()) <= 255


def test_laid_on_digits_only_darken() -> None:
    blank = torch.full((4, 3, SIDE, SIDE), float(PAPER))
    ink = torch.rand(4, 1, 28, 28)
    out = lay_on(blank, ink, pens(CPU))
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
    logits = np.zeros((20000, tensors.OUTPUTS))
    logits[:, tensors.DIGITS] = 2.0 * true  # twice as sure as it may be
    rows = np.zeros((20000, labels.LABELS), np.int8)
    rows[:, labels.DIGIT] = digit
    assert measure.fit_digits(logits, rows)["temperature"] == pytest.approx(2.0, rel=0.06)


@pytest.mark.slow
def test_the_training_commands_explain_themselves() -> None:
    for name in ("pack", "stock", "train", "folds", "notes", "ship", "export"):
        done = subprocess.run(
            [sys.executable, "-m", f"papernudge.digits_model.training.{name}", "--help"],
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )
        assert done.returncode == 0, done.stderr
