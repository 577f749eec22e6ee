"""Small notes, in miniature, on the CPU: skipped where the training framework is not installed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="papernudge[train] is not installed")

from papernudge.digits_model.training import drawn, notes, stock  # noqa: E402
from papernudge.digits_model.training.export import export_notes  # noqa: E402
from papernudge.digits_model.training.network_notes import PLACES, NotesNet  # noqa: E402
from papernudge.digits_model.training.pages import MissingSuppliesError  # noqa: E402
from papernudge.vision.patches import FINE, FINE_MARGIN, FINE_SIDE, PAPER  # noqa: E402


def invented_page(seed: int) -> drawn.Noted:
    """Invented cells: note 1 is a bar, note 2 a box, wherever they stand."""
    rng = np.random.default_rng(seed)
    count = drawn.NOTED_CELLS
    fine = np.full((count, FINE_SIDE, FINE_SIDE), PAPER, np.uint8)
    rows = np.zeros((count, 9), np.int8)
    spots: list[list[drawn.Spot]] = [[] for _ in range(count)]
    for at, patch in enumerate(fine):
        for note, (wide, high) in {1: (3, 16), 2: (12, 12)}.items():
            if rng.random() < 0.5:
                x, y = rng.integers(8, FINE_SIDE - 24, 2)
                patch[y : y + high, x : x + wide] = 40
                rows[at, note - 1] = 1
                middle = (np.array([x + wide / 2, y + high / 2]) - FINE_MARGIN) / FINE
                spots[at].append((note, *middle))
    return fine, rows, drawn.places_of(spots)


class Invented:
    """Stands for the processes that draw pages: one more each time it is asked."""

    def __init__(self) -> None:
        self.seed = 0

    def ready(self) -> list[drawn.Noted]:
        self.seed += 1
        return [invented_page(self.seed)]


@pytest.mark.slow
def test_a_tiny_run_learns_to_see_notes_wherever_they_stand(tmp_path: Path) -> None:
    torch.manual_seed(0)
    words = ["--out", str(tmp_path), "--minutes", "0.4", "--batch", "1", "--rate", "2e-2"]
    given, drawing = notes.arguments(words), Invented()
    ring = notes.Ring(20, torch.device("cpu"))
    ring.put(invented_page(1000))
    held = ring.batch(1)
    net = NotesNet()

    def loss() -> float:
        with torch.no_grad():
            return float(notes.losses(net, held)[0])

    before = loss()
    notes.train(net, ring, drawing, given)  # type: ignore[arg-type]
    assert loss() < before
    trained = torch.load(tmp_path / "weights.pt", weights_only=True)
    assert not torch.equal(trained["place"], NotesNet().place)


def test_truth_of_places_says_what_is_centred_where() -> None:
    cell = drawn.places_of([[(3, 0.25, 0.5), (0, 0.75, 0.5)], []])
    # In fine pixels: 4 + 72 · 0.25 = 22, place 5; 4 + 72 · 0.75 = 58, place 14; 40, place 10.
    assert cell[0, 10, 5] == 3
    assert cell[0, 10, 14] == 10
    assert cell[0, 9, 4] == cell[0, 11, 15] == notes.APART
    assert (cell[0] == 0).sum() == PLACES**2 - 18
    assert not cell[1].any()


def test_the_pages_truth_lies_where_its_ink_is() -> None:
    """Under the centre of every note that stands there is more ink than in empty places."""
    try:
        fine, rows, places = drawn.noted_page(6_000_000_001)
    except MissingSuppliesError as missing:
        pytest.skip(str(missing))
    assert len(fine) == drawn.NOTED_CELLS
    assert rows.any()
    dark = 224.0 - fine.reshape(-1, PLACES, 4, PLACES, 4).mean((2, 4))
    around = np.stack([np.roll(dark, (y, x), (1, 2)) for x in (-1, 0, 1) for y in (-1, 0, 1)])
    inner = np.zeros((PLACES, PLACES), np.bool_)
    inner[5:-5, 5:-5] = True
    empty = around.max(0)[(places == 0) & inner & ~rows.any(axis=1)[:, None, None]]
    assert np.median(around.max(0)[places > 0]) > 2 * max(5.0, float(np.median(empty)))


def test_no_place_that_shows_a_note_is_no_note_and_one_is_enough() -> None:
    from papernudge.digits_model.training.network_notes import SHOWN, _any

    chances = torch.full((1, SHOWN, PLACES, PLACES), 1e-6)
    chances[0, 2, 3, 4] = 0.999
    odds = _any(chances)[0]
    # 400 places at one in a million each: together 0.0004, of which the odds are told.
    assert float(torch.sigmoid(odds[0])) == pytest.approx(4e-4, rel=0.01)
    assert float(torch.sigmoid(odds[1])) > 0.99


def test_the_page_tells_a_cell_what_its_other_cells_show() -> None:
    torch.manual_seed(1)
    net = NotesNet().eval()
    fine = torch.from_numpy(invented_page(3)[0])[None, :, None].float()
    with torch.no_grad():
        whole = net(fine)[0]
        alone = net(fine[:, :1])[0]
        hidden = torch.ones(1, fine.shape[1], dtype=torch.bool)
        hidden[0, 0] = False
        told_none = net(fine, hidden)[0]
    # Untrained, the page moves an answer by little, but by more than arithmetic does.
    assert float((whole[0, 0] - alone[0, 0]).abs().max()) > 1e-5
    assert float((told_none[0, 0] - alone[0, 0]).abs().max()) < 1e-6


def test_the_exported_notes_answer_as_the_network_does(tmp_path: Path) -> None:
    import onnxruntime

    net = NotesNet().eval()
    export_notes(net, tmp_path / "notes.onnx")
    session = onnxruntime.InferenceSession(str(tmp_path / "notes.onnx"))
    for count in (1, 5):
        fine = invented_page(5)[0][:count, None].astype(np.float32)
        with torch.no_grad():
            own = net(torch.from_numpy(fine)[None])[0][0].numpy()
        assert np.allclose(session.run(None, {"patches": fine})[0], own, atol=0.1)


def test_a_stock_is_drawn_once_and_read_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stock, "PART", 2)
    try:
        path = stock.draw_part(0, tmp_path, 6, None)
    except MissingSuppliesError as missing:
        pytest.skip(str(missing))
    (part,) = stock.parts(tmp_path)
    assert len(part["cells"]) == len(part["labels"]) > 0
    stamp = path.stat().st_mtime_ns
    assert stock.draw_part(0, tmp_path, 6, None).stat().st_mtime_ns == stamp
    with pytest.raises(FileNotFoundError, match="part00000"):
        next(stock.parts(tmp_path / "none"))
