"""Cells of drawn boards other than 9×9, and the training of the network that reads them.

    python -m papernudge.digits_model.training.symbols pack --to .work/symbols.npz --pages 1600
    python -m papernudge.digits_model.training.symbols train --cells .work/symbols.npz \
        --out .work/symbols --minutes 10

A page shows one board in one typeface and one hand. Most boards have ten digits or more; of a
page's cells those kept are evenly of all that stands there, blanks fewer.
"""

from __future__ import annotations

import argparse
import time
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import torch
from torch.nn import functional as nnf

from papernudge.digits_model.symbols import FIGURES, LETTERS, NAMES
from papernudge.digits_model.training.augment import augment
from papernudge.digits_model.training.pages import PageSpec, board_page, draw, use_pack
from papernudge.digits_model.training.pages import boards as kinds
from papernudge.digits_model.training.pages.board_pages import named
from papernudge.digits_model.training.pages.truth import GridTruth
from papernudge.digits_model.training.pool import as_float
from papernudge.digits_model.training.stepping import Stepper
from papernudge.digits_model.training.symbols_net import SymbolsNet
from papernudge.vision.mesh import Mesh
from papernudge.vision.patches import SIDE, cut_patches

Cells = tuple[npt.NDArray[np.uint8], npt.NDArray[np.int8]]
"""Patches uint8 (n, SIDE, SIDE, 3) and rows int8 (n, 2): class, and hand: 0, 1, -1 unknown."""
MIX = (("easy", 0.1), ("newspaper", 0.5), ("hard", 0.4))
"""Presets and their shares."""
WORDS = (
    *(("2x5", 0.06), ("5x2", 0.04), ("3x4", 0.12), ("4x3", 0.08), ("4x4", 0.6)),
    *(("2x3", 0.04), ("2x4", 0.02), ("any 7", 0.02), ("any 9", 0.02)),
)
"""Boards and their shares."""
FORMS = 3
"""Forms of boards of any blocks: only their heavy lines matter here."""
LETTERED = 0.5
"""Share of the boards of ten digits and more that print letters."""
KEPT = 56
"""Cells of a page that are learned from."""
BLANKS = 0.12
"""Share of blanks among them, about."""
LEAST = 16.0
"""Side of a cell, raster pixels, below which nothing can be read and nothing learnt."""
JITTER = 0.012
"""As ``drawn.JITTER``: cells that crossings are off by."""


def recipe(seed: int, split: str = "train") -> PageSpec:
    """The page of this seed: one board that fills a small photo."""
    rng = np.random.default_rng([seed, 31])
    name = str(rng.choice([n for n, _ in MIX], p=[share for _, share in MIX]))
    words = str(rng.choice([w for w, _ in WORDS], p=[share for _, share in WORDS]))
    layout = named(words, seed % FORMS)
    near = float(rng.uniform(20.0, 46.0))  # pixels a cell, before the tilt
    side = float(np.clip(near * layout.side * 1.12, 300, 860))
    fields: dict[str, Any] = {
        "width": round(side * 1.12),
        "height": round(side),
        "focus": "grid",
        "neighbours": 0.3,
        "fill": float(rng.choice([0.0, rng.uniform(0.2, 0.9), 1.0], p=[0.3, 0.5, 0.2])),
        "note_share": float(rng.choice([0.0, 0.5], p=[0.75, 0.25])),
        "wobble": float(rng.uniform(0, 0.05)),
        "mistakes": int(rng.integers(0, 40)) if rng.random() < 0.4 else 0,
        "cut": "",
    }
    style = {"symbols": kinds.LETTERS if rng.random() < LETTERED else kinds.FIGURES}
    if layout.side < 10:
        style = {}
    return board_page(name, seed, layout, style=style, split=split, **fields)


def rows_of(grid: GridTruth) -> npt.NDArray[np.int8]:
    """The class and the hand of each cell, int8 (n, 2)."""
    rows = np.full((len(grid.cells), 2), -1, np.int8)
    beyond = LETTERS.start - FIGURES.start if grid.symbols == kinds.LETTERS else 0
    for row, cell in zip(rows, grid.cells, strict=True):
        digit = cell.digit or 0
        row[0] = digit + (beyond if digit > 9 else 0)
        if digit:
            row[1] = int(cell.kind == "entry")
    return rows


def page_cells(seed: int, split: str, every: bool = False) -> Cells:
    """Cells of the page of this seed, at most KEPT unless ``every`` is wanted; none where its cells
    have too few pixels.
    """
    page, rng = draw(recipe(seed, split)), np.random.default_rng(seed)
    for grid in page.truth.grids:
        if grid.kind != "puzzle" or grid.cell_px < LEAST or not grid.symbols:
            continue
        assert grid.crossings is not None
        off = rng.normal(0, JITTER * grid.cell_px, grid.crossings.shape)
        seen = np.ones(grid.crossings.shape[:2], np.bool_)
        pixels = cut_patches(page.image, Mesh(grid.crossings + off, seen)).pixels
        rows = rows_of(grid)
        kept = np.arange(len(rows)) if every else _chosen(rows[:, 0], rng)
        return pixels[kept], rows[kept]
    return np.zeros((0, SIDE, SIDE, 3), np.uint8), np.zeros((0, 2), np.int8)


def _chosen(classes: npt.NDArray[np.int8], rng: np.random.Generator) -> npt.NDArray[np.int64]:
    """Cells to keep: what a page holds often is kept as often as what it holds seldom."""
    many = np.bincount(classes, minlength=len(NAMES))
    weight = 1.0 / many[classes]
    weight[classes >= FIGURES.start] *= 3.0
    blank = classes == 0
    if blank.any() and not blank.all():
        weight[blank] = BLANKS * weight[~blank].sum() / (1 - BLANKS) / blank.sum()
    count = min(KEPT, len(classes))
    return np.sort(rng.choice(len(classes), count, replace=False, p=weight / weight.sum()))


def gathered(split: str, first: int, pages: int, every: bool = False) -> Cells:
    """The cells of so many pages side by side."""
    import cv2

    cv2.setNumThreads(1)
    parts = [page_cells(seed, split, every) for seed in range(first, first + pages)]
    pixels, rows = zip(*parts, strict=True)
    return np.concatenate(pixels), np.concatenate(rows)


def pack(to: Path, first: int, pages: int) -> None:
    """Writes the cells of drawn pages, without compression."""
    started = time.monotonic()
    pixels, rows = gathered("train", first, pages)
    np.savez(to, pixels=pixels, rows=rows)
    took = time.monotonic() - started
    print(f"{to}: {len(rows)} cells of {pages} pages in {took:.0f} s")
    for name, many in zip(NAMES, np.bincount(rows[:, 0], minlength=len(NAMES)), strict=True):
        print(f"  {name:5} {many}")


class Batches:
    """Batches of cells at random, a quarter of them changed as they come."""

    def __init__(self, cells: Cells, size: int, device: torch.device) -> None:
        """``size``: cells a batch."""
        self._pixels = torch.from_numpy(cells[0]).to(device)
        self._rows = torch.from_numpy(cells[1].astype(np.int64)).to(device)
        self._size, self._device = size, device

    def __call__(self) -> tuple[torch.Tensor, torch.Tensor]:
        """Patches float (N, 3, SIDE, SIDE), 0–255, and rows int64 (N, 2)."""
        at = torch.randint(len(self._rows), (self._size,), device=self._device)
        patches = as_float(self._pixels[at])
        part = self._size // 4  # drawn pages vary by themselves
        patches = torch.cat([augment(patches[:part]), patches[part:]])
        return patches, self._rows[at]


def losses(net: torch.nn.Module, patches: torch.Tensor, rows: torch.Tensor) -> tuple[Any, Any]:
    """Cross entropy of the classes, and of the hand where it is known."""
    with torch.autocast(patches.device.type, torch.bfloat16):
        said = net(patches).float()
    signs = nnf.cross_entropy(said[:, : len(NAMES)], rows[:, 0])
    known = (rows[:, 1] >= 0).float()
    hand = nnf.binary_cross_entropy_with_logits(
        said[:, len(NAMES)], rows[:, 1].clamp(min=0).float(), reduction="none"
    )
    return signs, (hand * known).sum() / known.sum().clamp(min=1)


def train(
    cells: Cells,
    out: Path,
    minutes: float,
    size: int,
    rate: float,
    seed: int,
    start: Path | None = None,
) -> None:
    """Trains for so long and writes the mean weights and the log into ``out``.

    ``start``: weights to go on from.
    """
    out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    net, batches = SymbolsNet(), Batches(cells, size, device)
    if start is not None:
        net.load_state_dict(torch.load(start, map_location="cpu", weights_only=True))
    stepper = Stepper(net, lambda: losses(net, *batches()), (1.0, 0.2), device)
    started, told, log = time.monotonic(), 0.0, list[str]()
    while (part := (time.monotonic() - started) / 60 / minutes) < 1:
        warm = min(1.0, stepper.steps / 200)
        stepper.step(rate * warm * 0.5 * (1 + np.cos(np.pi * part)))
        if time.monotonic() - told > 20:
            told = time.monotonic()
            signs, hand = (float(loss) for loss in stepper.last)
            log.append(
                f"{told - started:4.0f} s, step {stepper.steps}, signs {signs:.4f}, hand {hand:.4f}"
            )
            print(log[-1], flush=True)
    torch.save(stepper.mean, out / "weights.pt")
    (out / "log.txt").write_text("\n".join(log) + "\n")


def main() -> None:
    """Pack cells, or train on them."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("pack", "train"))
    parser.add_argument("--pages", type=int, default=1600, help="how many are drawn")
    parser.add_argument("--first", type=int, default=40_000_000, help="seed of the first")
    parser.add_argument("--supplies", type=Path, help="pack of typefaces and strokes")
    parser.add_argument("--to", type=Path, default=Path(".work/symbols.npz"))
    parser.add_argument("--cells", type=Path, action="append", default=[], help="packed cells")
    parser.add_argument("--out", type=Path, default=Path(".work/symbols"))
    parser.add_argument("--start", type=Path, help="weights to go on from")
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--batch", type=int, default=192)
    parser.add_argument("--rate", type=float, default=3e-3)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    if given.supplies:
        use_pack(given.supplies)
    if given.what == "pack":
        pack(given.to, given.first, given.pages)
        return
    held = [np.load(path) for path in given.cells]
    cells = tuple(np.concatenate([part[name] for part in held]) for name in ("pixels", "rows"))
    words = (given.minutes, given.batch, given.rate, given.seed, given.start)
    train((cells[0], cells[1]), given.out, *words)


if __name__ == "__main__":
    main()
