"""Flat sheets of drawn boards and of photos, and the training of the network that tells boards.

    python -m papernudge.digits_model.training.sheets photos --data ../shared/data/photos \
        --to .work/sheets-photos.npz
    python -m papernudge.digits_model.training.sheets train --photos .work/sheets-photos.npz \
        --out .work/sheets --minutes 5
    python -m papernudge.digits_model.training.sheets tune --photos .work/sheets-photos.npz \
        --start .work/sheets/weights.pt --out .work/tuned --minutes 4

Pages are drawn while the network learns, by as many workers as are asked for. Photos show
newspapers' grids alone: they teach what is none of all this. Those of fold 0 (see ``folds.py``)
are left out, to be judged by. ``tune`` lays marks of other puzzles on photos and drawn pages, in
more forms than pages show, and teaches what comes after the look at the picture; that needs no
accelerator.
"""

from __future__ import annotations

import argparse
import itertools
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt
import torch
from torch.nn import functional as nnf

from papernudge.digits_model.training.averaging import average, share_after
from papernudge.digits_model.training.pages import draw, use_pack
from papernudge.digits_model.training.sheets_marks import KINDS, marked
from papernudge.digits_model.training.sheets_net import SheetNet
from papernudge.digits_model.training.sheets_plain import drawn_flat
from papernudge.digits_model.training.sheets_truth import Sheet, recipe, sheets_of, unmarked
from papernudge.vision.boards.printed import place

FOLDS = 3
"""Folds of the photos, of which the first is held out."""
SIDES = {4: 0.1, 5: 0.05, 6: 0.15, 7: 0.05, 8: 0.11, 9: 0.38, 10: 0.06, 12: 0.05, 16: 0.05}
"""Boards' sides and how often a batch is of each."""
CELLS_A_BATCH = 3600
FLAT = 260
"""Boards drawn flat that are tuned on, once as they are and once marked."""
PHOTOS = 0.2
"""Share of photos in the batches of newspaper boards."""
EVERY = 10.0
"""Seconds after which what was drawn meanwhile is taken in."""
FIRST = 60_000_000
"""Seed of the first page of training."""


# ------------------------------------------------------------- stock


class Stock:
    """Sheets of one side on the device, growing."""

    def __init__(self, side: int, device: torch.device) -> None:
        self._device, self._parts = device, list[torch.Tensor]()
        self._place = torch.from_numpy(place(side)).to(device)

    def put(self, sheets: list[Sheet]) -> None:
        """Take in more."""
        arrays = [np.stack(column) for column in zip(*sheets, strict=True)]
        new = [torch.from_numpy(array).to(self._device) for array in arrays]
        old = self._parts
        self._parts = [torch.cat(pair) for pair in zip(old, new, strict=True)] if old else new

    def __len__(self) -> int:
        return len(self._parts[0]) if self._parts else 0

    def take(self, many: int) -> tuple[torch.Tensor, ...]:
        """So many at random: planes float (N, 3, P, P), and rows of edges, cells and boards."""
        at = torch.randint(len(self), (many,), device=self._device)
        pixels, paper, *rows = (part[at] for part in self._parts)
        planes = 1 - pixels.permute(0, 3, 1, 2).float() / paper[:, :, None, None]
        return planes, *rows

    def place(self, many: int) -> torch.Tensor:
        """The diagonals of so many boards, (N, 2, S, S)."""
        return self._place.expand(many, -1, -1, -1)


def turned(kind: int, parts: tuple[torch.Tensor, ...]) -> tuple[torch.Tensor, ...]:
    """A batch turned or mirrored, ``kind`` 0 to 7: what a photo may show of a board."""
    planes, edges, cells, board = parts
    if kind & 1:  # left and right change places
        planes, cells = planes.flip(3), _crossed(cells.flip(3))
        edges = torch.stack([edges[:, :, 0].flip(3), edges[:, :, 1].flip(2)], 2)
        board = torch.cat([board[:, 1:2], board[:, :1], board[:, 2:]], 1)
    if kind & 2:  # above and below
        planes, cells = planes.flip(2), _crossed(cells.flip(2))
        edges = torch.stack([edges[:, :, 0].flip(2), edges[:, :, 1].flip(3)], 2)
        board = torch.cat([board[:, 1:2], board[:, :1], board[:, 2:]], 1)
    if kind & 4:  # rows and columns
        planes, cells = planes.transpose(2, 3), cells.transpose(2, 3)
        edges = edges.flip(2)
    return planes, edges, cells, board


def _crossed(cells: torch.Tensor) -> torch.Tensor:
    """What lies on the falling diagonal lies on the rising one, and the other way."""
    return torch.cat([cells[:, :1], cells[:, 2:3], cells[:, 1:2], cells[:, 3:]], 1)


def harmed(planes: torch.Tensor) -> torch.Tensor:
    """A batch under other light: contrast, a shadow's edge, falling light, noise, less sharp."""
    many, _, high, wide = planes.shape
    device = planes.device

    def chance(low: float, most: float) -> torch.Tensor:
        return low + (most - low) * torch.rand(many, 1, 1, 1, device=device)

    light = (1 - planes).clamp(min=0.01) ** torch.exp(chance(-0.3, 0.3)) * chance(0.9, 1.06)
    x = torch.linspace(-1, 1, wide, device=device)[None, None, None]
    y = torch.linspace(-1, 1, high, device=device)[None, None, :, None]
    angle = chance(0, 6.283)
    across = torch.cos(angle) * x + torch.sin(angle) * y
    light = light * (1 + chance(-0.25, 0.25) * across)
    soft = torch.exp(chance(-4.0, -1.0))
    shade = torch.sigmoid((across - chance(-1, 1)) / soft)
    light = light * (1 - chance(0, 0.5) * (chance(0, 1) < 0.25) * shade)
    dull = nnf.interpolate(nnf.avg_pool2d(light, 2), scale_factor=2.0, mode="bilinear")
    light = torch.where(chance(0, 1) < 0.15, dull, light)
    noise = torch.randn_like(light) * chance(0, 0.04) * (chance(0, 1) < 0.5)
    return 1 - (light + noise)


def losses(net: torch.nn.Module, stock: Stock, parts: tuple[torch.Tensor, ...]) -> torch.Tensor:
    """Cross entropies of all outputs, the mean over each of them where it is known, (4,): heavy
    edges, tints' rims, cells, boards.
    """
    planes, *rows = parts
    return _losses(net(planes, stock.place(len(planes))), tuple(rows))


def _losses(said: tuple[torch.Tensor, ...], rows: tuple[torch.Tensor, ...]) -> torch.Tensor:
    upright, level, cells, board = said
    edges = torch.stack([upright, level.transpose(2, 3)], 2)
    by_edge = _entropy(edges, rows[0])
    of_cells, of_boards = _entropy(cells, rows[1]).mean(), _entropy(board, rows[2]).mean()
    return torch.stack([by_edge[0], by_edge[1], of_cells, of_boards])


def _entropy(said: torch.Tensor, true: torch.Tensor) -> torch.Tensor:
    """Cross entropy of each channel (axis 1) where truth is known, (C,)."""
    known = (true >= 0).float()
    each = nnf.binary_cross_entropy_with_logits(
        said.float(), true.clamp(min=0).float(), reduction="none"
    )
    over = [axis for axis in range(said.ndim) if axis != 1]
    return (each * known).sum(over) / known.sum(over).clamp(min=1)


# ------------------------------------------------------------- drawing


def drawn(seed: int, split: str = "train", jitter: float = 1.0) -> list[tuple[int, Sheet]]:
    """The sheets of the page of this seed, each with its side; none where nothing can be learnt."""
    import cv2

    cv2.setNumThreads(1)
    return sheets_of(draw(recipe(seed, split)), np.random.default_rng(seed), jitter)


class Drawing:
    """Draws pages in the background and hands over what there is."""

    def __init__(self, workers: int, supplies: Path | None, first: int) -> None:
        start: Callable[[], None] | None = partial(use_pack, supplies) if supplies else None
        self._pool: Executor = ProcessPoolExecutor(workers, initializer=start)
        self._seeds, self._lock = itertools.count(first), threading.Lock()
        self._done: list[tuple[int, Sheet]] = []
        self._stopped, self.pages = False, 0
        for _ in range(3 * workers):
            self._more()

    def _more(self) -> None:
        self._pool.submit(drawn, next(self._seeds)).add_done_callback(self._came)

    def _came(self, page: Future[list[tuple[int, Sheet]]]) -> None:
        if page.cancelled() or self._stopped:
            return
        with self._lock:
            self._done += page.result()
            self.pages += 1
        self._more()

    def taken(self) -> dict[int, list[Sheet]]:
        """What came since the last call, by side."""
        with self._lock:
            came, self._done = self._done, []
        out: dict[int, list[Sheet]] = {}
        for side, sheet in came:
            out.setdefault(side, []).append(sheet)
        return out

    def stop(self) -> None:
        """Draw no more."""
        self._stopped = True
        self._pool.shutdown(wait=True, cancel_futures=True)


# ------------------------------------------------------------- training


class Work(NamedTuple):
    """How long, how fast, from which seed, how many pages first, and weights to go on from."""

    seconds: float
    rate: float
    seed: int
    first: int
    start: Path | None = None


def train(work: Work, drawing: Drawing, photos: list[Sheet], out: Path) -> None:
    """Trains for so long and writes the mean weights and the log into ``out``."""
    torch.manual_seed(work.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    net = SheetNet()
    if work.start:
        net.load_state_dict(torch.load(work.start, map_location="cpu", weights_only=True))
    net.to(device)
    stocks = {side: Stock(side, device) for side in SIDES}
    real = Stock(9, device)
    if photos:
        real.put(photos)
    began = time.monotonic()
    while drawing.pages < work.first:
        time.sleep(0.5)
    mean = {name: value.detach().clone() for name, value in net.state_dict().items()}
    optimiser = torch.optim.AdamW(net.parameters(), lr=work.rate, weight_decay=0.01)
    chance, share = np.random.default_rng(work.seed), torch.zeros((), device=device)
    steps, told, last, log = 0, -1e9, torch.zeros(4), list[str]()
    sums, counted = torch.zeros(4, device=device), 0
    while (part := (time.monotonic() - began) / work.seconds) < 1:
        if time.monotonic() - told > EVERY:
            told = time.monotonic()
            for side, sheets in drawing.taken().items():
                if side in stocks:
                    stocks[side].put(sheets)
            if counted:
                last = (sums / counted).cpu()
                sums.zero_()
                heavy, step, cells, board = last.tolist()
                log.append(
                    f"{told - began:4.0f} s, step {steps}, pages {drawing.pages}, heavy {heavy:.4f}"
                    f", step {step:.4f}, cells {cells:.4f}, boards {board:.4f}"
                )
                counted = 0
                print(log[-1], flush=True)
        for group in optimiser.param_groups:
            group["lr"] = work.rate * min(1.0, (steps + 1) / 200) * 0.5 * (1 + np.cos(np.pi * part))
        side = _side(chance, stocks)
        stock, many = stocks[side], CELLS_A_BATCH // side**2
        if side == 9 and len(real):
            few = round(PHOTOS * many)
            both = zip(stock.take(many - few), real.take(few), strict=True)
            parts = tuple(torch.cat(pair) for pair in both)
        else:
            parts = stock.take(many)
        parts = turned(int(chance.integers(8)), (harmed(parts[0]), *parts[1:]))
        net.train()
        each = losses(net, stock, parts)
        optimiser.zero_grad(set_to_none=True)
        (each * torch.tensor([1.0, 0.5, 2.0, 0.5], device=device)).sum().backward()  # type: ignore[no-untyped-call]
        torch.nn.utils.clip_grad_norm_(net.parameters(), 2.0)
        optimiser.step()
        sums += each.detach()
        counted += 1
        steps += 1
        share.fill_(share_after(steps, 0.999))
        average(mean, net, share)
    out.mkdir(parents=True, exist_ok=True)
    torch.save({name: value.cpu() for name, value in mean.items()}, out / "weights.pt")
    (out / "log.txt").write_text("\n".join(log) + "\n")


def _side(chance: np.random.Generator, stocks: dict[int, Stock]) -> int:
    """The side of the next batch's boards, of those that there are."""
    sides = [side for side in SIDES if len(stocks[side])]
    shares = np.array([SIDES[side] for side in sides])
    return int(chance.choice(sides, p=shares / shares.sum()))


# ------------------------------------------------------------- tuning

Looked = tuple[torch.Tensor, ...]
"""What the network's look sees of a board, and its rows of edges, cells and boards, each (1, …)."""


@torch.no_grad()
def looked(net: SheetNet, sheet: Sheet, chance: np.random.Generator) -> Looked:
    """What is seen of a sheet in other light, turned or mirrored."""
    pixels = torch.from_numpy(sheet.pixels).permute(2, 0, 1).float()
    planes = (1 - pixels / torch.from_numpy(sheet.paper)[:, None, None])[None]
    rows = [torch.from_numpy(row)[None] for row in (sheet.edges, sheet.cells, sheet.board)]
    planes, *rows = turned(int(chance.integers(8)), (harmed(planes), *rows))
    side = sheet.cells.shape[1]
    return *net.look(planes, torch.from_numpy(place(side).copy())[None]), *rows


def variants(drawn_: list[Sheet], photos: list[Sheet], seed: int) -> Iterator[Sheet]:
    """Sheets as they are, and with marks laid on them."""
    chance = np.random.default_rng(seed)
    for _ in range(FLAT):
        sheet = drawn_flat(chance)
        yield sheet
        yield marked(sheet, chance)
    for sheet in drawn_:
        yield sheet
        if not sheet.board.any():
            yield marked(sheet, chance)
    for sheet in photos:
        yield from [sheet] * 2
        for kind in chance.choice(KINDS, 3, replace=False).tolist():
            yield marked(sheet, chance, kind)


def _of_marks(*rows: torch.Tensor) -> tuple[torch.Tensor, ...]:
    """Rows of edges, cells and boards of which all is unknown but the marks that have a name."""
    edges, cells, board = (torch.full_like(part, -1) for part in rows)
    cells[:, 3:7], board[:, 2:6] = rows[1][:, 3:7], rows[2][:, 2:6]
    return edges, cells, board


def tune(work: Work, drawn_: list[Sheet], photos: list[Sheet], out: Path) -> None:
    """Trains what comes after the look, which stays, for so long."""
    assert work.start is not None
    torch.manual_seed(work.seed)
    chance, net = np.random.default_rng(work.seed), SheetNet()
    net.load_state_dict(torch.load(work.start, map_location="cpu", weights_only=True))
    net.eval()
    held: dict[int, list[Looked]] = {}
    for sheet in variants(drawn_, photos, work.seed):
        held.setdefault(sheet.cells.shape[1], []).append(looked(net, sheet, chance))
    boards = {
        side: [torch.cat(column) for column in zip(*rows, strict=True)]
        for side, rows in held.items()
    }
    print({side: len(parts[0]) for side, parts in boards.items()}, flush=True)
    late = (net.joined, net.around, net.whole, net.cells, net.board, net.beside, net.edges)
    weights = [weight for part in late for weight in part.parameters()]
    mean = {name: value.detach().clone() for name, value in net.state_dict().items()}
    optimiser = torch.optim.AdamW(weights, lr=work.rate, weight_decay=0.01)
    sides, many = list(boards), np.array([len(parts[0]) for parts in boards.values()])
    began, steps, log, told = time.monotonic(), 0, list[str](), -1e9
    while (part := (time.monotonic() - began) / work.seconds) < 1:
        for group in optimiser.param_groups:
            group["lr"] = work.rate * min(1.0, (steps + 1) / 50) * 0.5 * (1 + np.cos(np.pi * part))
        side = int(chance.choice(sides, p=many / many.sum()))
        at = torch.randint(len(boards[side][0]), (64,))
        known, upright, level, *rows = (column[at] for column in boards[side])
        where = torch.from_numpy(place(side).copy()).expand(64, -1, -1, -1)
        each = _losses(net.tell(known, upright, level, where), _of_marks(*rows))
        optimiser.zero_grad(set_to_none=True)
        (each * torch.tensor([0.0, 0.0, 2.0, 1.0])).sum().backward()  # type: ignore[no-untyped-call]
        torch.nn.utils.clip_grad_norm_(weights, 2.0)
        optimiser.step()
        steps += 1
        average(mean, net, share_after(steps, 0.99))
        if time.monotonic() - told > EVERY:
            told = time.monotonic()
            heavy, step, of_cells, of_boards = each.tolist()
            log.append(
                f"{told - began:4.0f} s, step {steps}, tuned, heavy {heavy:.4f}, step {step:.4f},"
                f" cells {of_cells:.4f}, boards {of_boards:.4f}"
            )
            print(log[-1], flush=True)
    out.mkdir(parents=True, exist_ok=True)
    torch.save(mean, out / "weights.pt")
    (out / "log.txt").write_text("\n".join(log) + "\n")


# ------------------------------------------------------------- photos


def pack_photos(data: Path, to: Path) -> None:
    """Writes the flat sheets of the photos' grids with the fold of each, as JPEG."""
    import cv2

    from papernudge.digits_model.training.real import folds, photos
    from papernudge.vision.boards.sheet import flattened

    names, keys, sheets = [], [], []
    for photo in photos(data):
        mesh = photo.mesh()
        if mesh is None:
            continue
        flat = flattened(photo.raster(), mesh)
        held = cv2.imencode(".jpg", flat.pixels, [cv2.IMWRITE_JPEG_QUALITY, 95])[1]
        names.append(photo.name)
        keys.append(photo.puzzle)
        sheets.append(held.ravel())
    ends = np.cumsum([len(sheet) for sheet in sheets])
    fold = folds(np.array(keys), FOLDS)
    np.savez(to, names=np.array(names), folds=fold, bytes=np.concatenate(sheets), ends=ends)
    print(f"{to}: {len(names)} grids, by fold {np.bincount(fold).tolist()}")


def unpacked(path: Path) -> Iterator[tuple[str, int, npt.NDArray[np.uint8]]]:
    """Name, fold and flat pixels (P, P, 3) of each packed photo."""
    import cv2

    held = np.load(path)
    parts = np.split(held["bytes"], held["ends"][:-1])
    for name, fold, part in zip(held["names"], held["folds"], parts, strict=True):
        yield str(name), int(fold), np.asarray(cv2.imdecode(part, cv2.IMREAD_COLOR), np.uint8)


def of_photos(path: Path, held_out: int = 0) -> list[Sheet]:
    """The photos' sheets to learn from, without those of a fold."""
    return [unmarked(pixels) for _, fold, pixels in unpacked(path) if fold != held_out]


def main() -> None:
    """Pack photos, or train."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("what", choices=("photos", "train", "tune"))
    parser.add_argument("--data", type=Path, help="the folder of photos")
    parser.add_argument("--to", type=Path, default=Path(".work/sheets-photos.npz"))
    parser.add_argument("--photos", type=Path, help="packed photos to learn from")
    parser.add_argument("--supplies", type=Path, help="pack of typefaces and strokes")
    parser.add_argument("--out", type=Path, default=Path(".work/sheets"))
    parser.add_argument("--start", type=Path, help="weights to go on from")
    parser.add_argument("--first", type=int, default=FIRST, help="seed of the first page")
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--workers", type=int, default=15)
    parser.add_argument("--pages", type=int, default=3000, help="drawn before the first step")
    parser.add_argument("--rate", type=float, default=4e-3)
    parser.add_argument("--seed", type=int, default=1)
    given: Any = parser.parse_args()
    if given.what == "photos":
        pack_photos(given.data, given.to)
        return
    if given.what == "tune":
        if given.supplies:
            use_pack(given.supplies)
        pages = (drawn(seed) for seed in range(given.first, given.first + given.pages))
        found = [sheet for page in pages for _, sheet in page]
        work = Work(60 * given.minutes, given.rate, given.seed, 0, given.start)
        tune(work, found, of_photos(given.photos), given.out)
        return
    drawing = Drawing(given.workers, given.supplies, given.first)
    try:
        work = Work(60 * given.minutes, given.rate, given.seed, given.pages, given.start)
        train(work, drawing, of_photos(given.photos) if given.photos else [], given.out)
    finally:
        drawing.stop()


if __name__ == "__main__":
    main()
