"""Training of the network of boards' lines, in miniature, on the CPU: skipped without torch."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import numpy.typing as npt
import pytest

torch = pytest.importorskip("torch", reason="papernudge[train] is not installed")

from papernudge.digits_model.files import session_of  # noqa: E402
from papernudge.digits_model.training import board_lines_ship as ship  # noqa: E402
from papernudge.digits_model.training import board_lines_truth as truth  # noqa: E402
from papernudge.digits_model.training.board_lines import Ring, Run, augmented  # noqa: E402
from papernudge.digits_model.training.board_lines_net import BoardLinesNet  # noqa: E402
from papernudge.vision.boards.cleaned import AREA_STEP, PAPER, SIDE, STEP  # noqa: E402

Points = npt.NDArray[np.float64]


def mesh(side: int, bow: float = 0.0) -> Points:
    """Crossings of a board that fills what the network sees but for its rim; ``bow``: pixels."""
    at = np.linspace(32, SIDE - 32, side + 1)
    x, y = np.meshgrid(at, at)
    return np.stack([x, y + bow * np.sin(np.pi * (x - 32) / (SIDE - 64))], axis=-1)


def sample(side: int) -> truth.Sample:
    """An invented frame with its truth."""
    lines, area = truth.maps_of(mesh(side))
    picture = np.full((SIDE, SIDE), PAPER, np.uint8)
    for line in (*mesh(side), *mesh(side).transpose(1, 0, 2)):
        cv2.polylines(picture, [np.rint(line).astype(np.int32)], False, (130,), 2)
    return {"picture": picture, "lines": lines, "area": area}


@pytest.mark.parametrize("bow", [0.0, 30.0])
def test_the_truth_marks_each_line_on_its_own_map(bow: float) -> None:
    lines, area = truth.maps_of(mesh(6, bow))
    along, down = lines
    middle = SIDE // STEP // 2
    peaks = np.flatnonzero(along[:, middle + 13] > 60)
    assert len(np.flatnonzero(np.diff(peaks) > 1)) == 6  # seven lines
    bowed = (mesh(6, bow)[:, 3, 1] - (STEP - 1) / 2) / STEP
    near = [abs(peaks - y).min() for y in bowed[1:-1]]
    assert max(near) <= 1.5
    assert (down[middle, :].astype(int) > 60).sum() >= 7
    assert area[SIDE // AREA_STEP // 2, SIDE // AREA_STEP // 2] == 255
    assert area[0].max() == 0


def test_a_board_that_lies_on_its_side_is_marked_by_what_is_seen() -> None:
    upright, _ = truth.maps_of(mesh(5, 20.0))
    lying, _ = truth.maps_of(np.rot90(mesh(5, 20.0)))
    on = upright > 128
    assert lying[on].min() > 60
    assert (lying > 128).sum() == pytest.approx(on.sum(), rel=0.1)


def test_what_is_no_board_has_no_lines() -> None:
    lines, area = truth.maps_of(np.zeros((0, 0, 2)))
    assert lines.max() == 0
    assert area.max() == 0


def test_the_frame_of_half_a_board_is_neither_its_own_nor_none() -> None:
    board = mesh(4)
    corners = board[[0, 0, -1, -1], [0, -1, -1, 0]]
    part = board[[0, 0, 2, 2], [0, 2, 2, 0]]
    half = board[[0, 0, 2, 2], [0, 3, 3, 0]]
    assert truth._meant(corners + 5, [board]) is board
    none = truth._meant(part, [board])
    assert none is not None
    assert not none.size
    assert truth._meant(half, [board]) is None


def test_frames_of_training_are_fainter_and_noisier_but_lie_where_they_did() -> None:
    torch.manual_seed(0)
    one = torch.from_numpy(sample(4)["picture"])[None]
    changed = augmented(one.repeat(4, 1, 1))[:, 0]
    assert changed.shape == (4, SIDE, SIDE)
    lines = one[0] > PAPER + 20
    assert all(picture[lines].mean() > picture[~lines].mean() + 5 for picture in changed)


@pytest.mark.slow
def test_a_tiny_run_learns_and_what_it_writes_says_the_same(tmp_path: Path) -> None:
    torch.manual_seed(0)
    ring = Ring(1, torch.device("cpu"))
    ring.put(sample(4))
    run = Run(0.6, torch.device("cpu"))
    losses = [float(run.step(ring.batch(1), 0.0).sum()) for _ in range(3)]
    assert losses[-1] < losses[0]
    assert run.judged(ring).isfinite().all()
    torch.save(run.mean, tmp_path / "weights.pt")
    net = ship.load(tmp_path / "weights.pt")
    ship.export(net, tmp_path / "lines.onnx")  # raises where they differ
    assert (tmp_path / "lines.onnx").stat().st_size < 40_000
    lines, area = session_of((tmp_path / "lines.onnx").read_bytes()).run(
        None, {"board": np.full((1, 1, SIDE, SIDE), PAPER, np.float32)}
    )
    assert lines.shape == (1, 2, SIDE // STEP, SIDE // STEP)
    assert area.shape == (1, 1, SIDE // AREA_STEP, SIDE // AREA_STEP)


def test_weights_that_do_not_survive_rounding_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    torch.manual_seed(0)
    monkeypatch.setattr(ship, "MOVED", 0.0)
    with pytest.raises(RuntimeError, match="of the exported network is off by"):
        ship.export(BoardLinesNet().eval(), tmp_path / "lines.onnx")
