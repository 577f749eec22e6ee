"""Training of the network of crossings, in miniature, on the CPU: skipped without torch."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

torch = pytest.importorskip("torch", reason="papernudge[train] is not installed")

from papernudge.digits_model.training import crossings_ship as ship  # noqa: E402
from papernudge.digits_model.training import crossings_truth as truth  # noqa: E402
from papernudge.digits_model.training.crossings import PARTS, Ring, Run, train  # noqa: E402
from papernudge.digits_model.training.crossings_net import CrossingNet  # noqa: E402
from papernudge.vision.crossings import steps_of  # noqa: E402

Points = npt.NDArray[np.float64]
SIZE = (320, 288)
"""Width and height of the invented pictures."""


def invented(seed: int, shift: float = 0.0) -> tuple[npt.NDArray[np.uint8], Points]:
    """A grey picture with one ruled grid, turned a little, and its crossings (10, 10, 2)."""
    import cv2

    rng = np.random.default_rng(seed)
    turn, cell = rng.uniform(-0.3, 0.3), rng.uniform(16, 20)
    at = cell * (np.arange(10) - 4.5)
    x, y = np.meshgrid(at, at)
    middle = np.array(SIZE) / 2 + rng.uniform(-15, 15, 2) + [shift, 0]
    spin = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    crossings = np.stack([x, y], axis=-1) @ spin + middle
    page = np.full(SIZE[::-1], 210, np.uint8)
    for k in range(10):
        for line in (crossings[k], crossings[:, k]):
            ends = [tuple(int(v) for v in np.rint(p)) for p in (line[0], line[-1])]
            cv2.line(page, ends[0], ends[1], 60, 1 if k % 3 else 3, cv2.LINE_AA)
    return page, crossings


def sample(seed: int, shift: float = 0.0, plain: bool = True) -> truth.Sample:
    page, crossings = invented(seed, shift)
    corners = crossings[[0, 0, 9, 9], [0, 9, 9, 0]]
    return truth.sample(page, [truth.Seen(crossings, corners, plain)])


@pytest.mark.slow
def test_a_tiny_run_learns_saves_and_resumes(tmp_path: Path) -> None:
    torch.manual_seed(0)
    device = torch.device("cpu")
    ring, held_back = Ring(3, device), Ring(1, device)
    for seed in range(3):
        ring.put(sample(seed))
    held_back.put(sample(9))
    run = Run(CrossingNet(), 0.5, tmp_path, 5e-3, device)
    before = run.judged(held_back)
    after = before
    for _ in range(4):  # a busy machine takes few steps in so many minutes
        train(run, None, ring, held_back, 1)
        after = run.judged(held_back)
        if after[PARTS.index("heats")] < 0.95 * before[PARTS.index("heats")]:
            break
        run.minutes += 0.5
    assert after[PARTS.index("heats")] < 0.95 * before[PARTS.index("heats")]
    assert after[PARTS.index("kinds")] < before[PARTS.index("kinds")]
    again = Run(CrossingNet(), 0.5, tmp_path, 5e-3, device)
    again.resume()
    assert again.steps == run.steps
    assert torch.equal(again.judged(held_back), after)
    assert ship.load(tmp_path / "weights.pt").training is False


def test_truth_marks_each_crossing_by_its_sort_and_where_it_lies() -> None:
    said = sample(1)
    _, crossings = invented(1)
    number = [(heat == truth.TOP).sum() for heat in said["heats"]]
    assert number == [4, 8, 4, 84, 1]
    tops = np.argwhere(said["heats"][0] == truth.TOP)
    for y, x in tops:
        point = 4.0 * np.array([x, y]) + 1.5 + said["near"][:, y, x] / 8
        corners = crossings[[0, 0, 9, 9], [0, 9, 9, 0]]
        assert np.linalg.norm(corners - point, axis=1).min() < 0.3


@pytest.mark.parametrize(
    ("shift", "plain", "kind"),
    [(0.0, True, truth.WHOLE), (-110.0, True, truth.CUT), (0.0, False, truth.OTHER)],
)
def test_truth_tells_whole_from_cut_from_other(shift: float, plain: bool, kind: int) -> None:
    said = sample(1, shift, plain)
    assert set(np.unique(said["kinds"])) == {truth.NOTHING, kind, truth.IGNORED}
    asked = said["heats"][2][: SIZE[1] // 4, : SIZE[0] // 4]
    assert (asked == truth.IGNORED).any() != plain  # another kind may have such crossings too


def test_steps_are_told_without_order_or_sign_and_told_back() -> None:
    rng = np.random.default_rng(4)
    for _ in range(20):
        a = rng.uniform(20, 90, 2) * rng.choice([-1, 1], 2)
        b = np.array([-a[1], a[0]]) * rng.uniform(0.6, 1.6) + rng.uniform(-8, 8, 2)
        told = truth.told(a[None], b[None])[0]
        assert np.allclose(told, truth.told(-b[None], a[None])[0])
        back = steps_of(told)
        for step in (a, b):
            off = [min(np.linalg.norm(k - step), np.linalg.norm(k + step)) for k in back]
            assert min(off) < 1e-6


def test_the_exported_network_answers_as_the_trained_one(tmp_path: Path) -> None:
    torch.manual_seed(0)
    net = CrossingNet().eval()
    ship.export(net, tmp_path / "crossings.onnx")  # raises where they differ
    assert (tmp_path / "crossings.onnx").stat().st_size < 1.5 * 2**20
