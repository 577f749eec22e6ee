"""Small notes, in miniature, on the CPU: skipped where the training framework is not installed."""

from __future__ import annotations

import argparse
from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="papernudge[train] is not installed")

from papernudge.digits_model.training import drawn, labels, notes, stock  # noqa: E402
from papernudge.digits_model.training.export import export_notes  # noqa: E402
from papernudge.digits_model.training.network import CellNet, NotesNet  # noqa: E402
from papernudge.vision.patches import FINE_SIDE, PAPER  # noqa: E402


def fine_cells(count: int, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    """Invented cells: note 1 is a bar, note 2 a box, wherever they stand."""
    rng = np.random.default_rng(seed)
    fine = np.full((count, FINE_SIDE, FINE_SIDE), PAPER, np.uint8)
    rows = np.zeros((count, labels.LABELS), np.int8)
    for patch, row in zip(fine, rows, strict=True):
        for note, (wide, high) in {1: (3, 16), 2: (12, 12)}.items():
            if rng.random() < 0.5:
                x, y = rng.integers(4, FINE_SIDE - 20, 2)
                patch[y : y + high, x : x + wide] = 40
                row[1 + note] = 1
    return fine, rows


def test_a_tiny_run_learns_to_see_notes_wherever_they_stand(tmp_path: Path) -> None:
    torch.manual_seed(0)
    net = NotesNet()
    words = {"minutes": 0.12, "rate": 3e-3, "batch": 32, "out": tmp_path}
    data = fine_cells(200)
    fine = torch.from_numpy(data[0])[:, None].float()
    want = torch.from_numpy(data[1][:, labels.NOTES]).float()

    def loss() -> float:
        with torch.no_grad():
            return float(torch.nn.functional.binary_cross_entropy_with_logits(net(fine), want))

    before = loss()
    notes.train(net, data, argparse.Namespace(**words))
    assert loss() < before


def test_no_place_that_shows_a_note_is_no_note_and_one_is_enough() -> None:
    net = NotesNet().eval()
    last = net.digits[2]
    with torch.no_grad():
        for value in (last.weight, last.bias):
            value.zero_()
        last.bias[0] = -12.0
        last.bias[1] = 12.0
        out = net(torch.full((1, 1, FINE_SIDE, FINE_SIDE), float(PAPER)))[0]
    # 400 places at odds of e^-12: together 400·e^-12 = 0.0025.
    assert float(torch.sigmoid(out[0])) == pytest.approx(0.0025, rel=0.05)
    assert float(torch.sigmoid(out[1])) > 0.999


def test_the_exported_notes_answer_as_the_network_does(tmp_path: Path) -> None:
    import onnxruntime

    net = NotesNet().eval()
    export_notes(net, tmp_path / "notes.onnx")
    fine = fine_cells(5)[0][:, None].astype(np.float32)
    session = onnxruntime.InferenceSession(str(tmp_path / "notes.onnx"))
    with torch.no_grad():
        own = net(torch.from_numpy(fine)).numpy()
    assert np.allclose(session.run(None, {"patches": fine})[0], own, atol=1e-3)


def seen(net: CellNet, patches: torch.Tensor) -> torch.Tensor:
    """What the convolutions make of patches."""
    wide = net.start((224.0 - patches) / 96.0)
    return net.end(wide + net.look(wide))


def test_a_stock_is_drawn_once_and_read_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stock, "PART", 2)
    monkeypatch.setitem(drawn.NOTES_FRAME, "width", 640)
    path = stock.draw_part(0, tmp_path, 6, None, True)
    (part,) = stock.parts(tmp_path)
    assert len(part["cells"]) == len(part["labels"]) == 2 * 81
    assert part["fine"].shape[1:] == (FINE_SIDE, FINE_SIDE)
    assert len(part["fine"]) == len(part["fine_labels"])
    stamp = path.stat().st_mtime_ns
    assert stock.draw_part(0, tmp_path, 6, None, True).stat().st_mtime_ns == stamp
    with pytest.raises(FileNotFoundError, match="part00000"):
        next(stock.parts(tmp_path / "none"))
