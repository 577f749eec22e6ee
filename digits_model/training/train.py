"""Trains both looks of the digit model, in legs that resume from a checkpoint.

    python -m papernudge.digits_model.training.train --inputs .work/inputs.npz \
        --pages .work/pages.npz --out .work/run --minutes 7

Drawn pages only, unless ``--real all`` or ``--real K/N`` (all but fold K of N, folds by puzzle)
adds real cells and ``--scans`` adds scanned digits laid on blank cells. ``--start`` takes the
weights of another run; a run killed or ended by ``--leg`` goes on when started again with the
same ``--out``. Everything is seeded, but a run's length is in minutes: the number of steps, which
the log states, depends on the machine.
"""

from __future__ import annotations

import argparse
import itertools
import math
import time
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import torch
from torch.nn import functional as nnf

from papernudge.digits_model import tensors
from papernudge.digits_model.training import drawn, labels, packed, pool
from papernudge.digits_model.training.augment import augment, lay_on, pens
from papernudge.digits_model.training.network import TwoLooks, context
from papernudge.digits_model.training.pool import PAGE, Drawing, Ring
from papernudge.digits_model.training.stepping import Stepper

Cells = tuple[torch.Tensor, torch.Tensor]
Batch = tuple[torch.Tensor, torch.Tensor, torch.Tensor]
CLOSER = 32
"""Cells of a page, the unsurest first, that the second look learns from."""
ANY = 8
"""Further cells, any."""
LOGGED = 1000
"""Steps from line to line of the log."""
LYING = 0.2
"""Share of pages that do not lie upright."""
MOST_LEFT_OUT = 0.8
"""Up to this share of a page's cells is not told to the second look: it can't count digits."""


def lying(count: int) -> int:
    """How many of a batch's ``count`` pages lie in each of the three wrong ways."""
    return int(count * LYING / 3)


def turned(
    patches: torch.Tensor, truth: torch.Tensor
) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
    """Lay the first part of a batch's pages on their side or head: only the turn is asked of them.

    ``patches``: float (B, PAGE, 3, S, S); ``truth``: int64 (B, PAGE, LABELS). Returns both,
    labels unknown where turned, and int64 (B, PAGE) how many clockwise quarter turns bring a
    patch upright.
    """
    each = lying(len(patches))
    turns = torch.zeros(patches.shape[:2], dtype=torch.int64, device=patches.device)
    patches, truth = patches.clone(), truth.clone()
    blank = truth.clamp(min=0).sum(2) == 0  # looks alike however it lies
    for turn in (1, 2, 3):
        at = slice((turn - 1) * each, turn * each)
        patches[at] = torch.rot90(patches[at], turn, (3, 4))
        turns[at] = turn
        truth[at] = labels.UNKNOWN
    turns[blank] = labels.UNKNOWN
    return patches, truth, turns


def loss_of(
    logits: torch.Tensor, truth: torch.Tensor, turns: torch.Tensor | None = None
) -> torch.Tensor:
    """Cross-entropy per head, summed; heads whose truth is unknown are left out.

    ``logits``: float (n, OUTPUTS); ``truth``: int64 (n, LABELS); ``turns``: int64 (n,), None
    where the turn is not asked.
    """
    digit = nnf.cross_entropy(
        logits[:, tensors.DIGITS], truth[:, labels.DIGIT], ignore_index=labels.UNKNOWN
    )
    rest = torch.cat(
        [logits[:, tensors.HAND, None], logits[:, tensors.NOTES], logits[:, tensors.STRUCK, None]],
        1,
    )
    want = truth[:, 1:]
    known = (want != labels.UNKNOWN).float()
    each = nnf.binary_cross_entropy_with_logits(rest, want.clamp(min=0).float(), reduction="none")
    columns = (each * known).sum(0) / known.sum(0).clamp(min=1)
    loss = digit + 0.5 * columns[0] + 0.3 * columns[1:10].sum() + 0.3 * columns[10]
    if turns is None:
        return loss
    turn = nnf.cross_entropy(logits[:, tensors.TURNED], turns, ignore_index=labels.UNKNOWN)
    return loss + 0.1 * turn


def unsure(logits: torch.Tensor) -> torch.Tensor:
    """How unsure the first look is, 0 to 1: (…, OUTPUTS) to (…,)."""
    digits = logits[..., tensors.DIGITS].softmax(-1)
    marked = (digits[..., 0] < 0.5).float()
    hand = 2 * (-logits[..., tensors.HAND].abs()).sigmoid() * marked
    struck = 2 * (-logits[..., tensors.STRUCK].abs()).sigmoid()
    return torch.maximum(torch.maximum(1 - digits.amax(-1), hand), struck)


def both_losses(net: TwoLooks, batch: Batch) -> tuple[torch.Tensor, torch.Tensor]:
    """The first look's loss over all cells, and the second's over each page's unsurest and some.

    ``batch``: patches, labels and turns as from :func:`turned`.
    """
    patches, truth, turns = batch
    logits, features = net.first(patches.flatten(0, 1))
    logits = logits.float()
    first = loss_of(logits, truth.flatten(0, 1), turns.flatten())
    upright = slice(3 * lying(len(truth)), None)
    logits, features = (x.reshape(*truth.shape[:2], -1)[upright] for x in (logits, features))
    weight = unsure(logits.detach())
    weight = weight.scatter(1, torch.rand_like(weight).topk(ANY).indices, 2.0)  # any, then unsure
    at = weight.topk(CLOSER + ANY).indices
    pages = torch.arange(len(logits), device=at.device)[:, None]
    share = MOST_LEFT_OUT * torch.rand(len(logits), 1, device=at.device)
    left_out = torch.rand(logits.shape[:2], device=at.device) < share
    closer = net.closer(
        patches[upright][pages, at], context(logits, features.float()), left_out
    ).float()
    wanted = truth[upright][pages, at]
    return first, loss_of(closer.flatten(0, 1), wanted.flatten(0, 1))


@dataclass
class Sources:
    """Where batches come from."""

    ring: Ring
    drawing: Drawing[pool.Cells] | None
    real: Ring | None
    scans: tuple[torch.Tensor, torch.Tensor] | None
    real_part: float = 0.1
    scan_part: float = 0.5

    def __post_init__(self) -> None:
        self.augment, self.lay_on = augment, lay_on
        self.pens = pens(self.ring.pixels.device)
        if self.ring.pixels.is_cuda:  # many small changes in one pass over memory
            self.augment, self.lay_on = torch.compile(augment), torch.compile(lay_on)

    def refill(self) -> None:
        """Put in what has been drawn in the meantime."""
        if self.drawing is not None:
            for cells in self.drawing.ready():
                self.ring.put(cells)

    def batch(self, count: int) -> Batch:
        """``count`` pages, mixed and augmented; shapes as in :func:`turned`."""
        real = int(count * self.real_part) if self.real else 0
        scans = int(count * self.scan_part) if self.scans else 0
        parts = [self.ring.pages(count - real - scans)]
        if self.real:
            parts.append(self.real.pages(real))
        if self.scans:
            parts.append(self._scanned(scans))
        patches, truth = torch.cat([p for p, _ in parts]), torch.cat([t for _, t in parts])
        mixed = torch.rand(count, device=patches.device).argsort()
        patches, truth, turns = turned(patches[mixed], truth[mixed])
        changed = self.augment(patches.flatten(0, 1), alike=PAGE)
        return changed.reshape(patches.shape), truth, turns

    def _scanned(self, count: int) -> Cells:
        """Pages on whose blank cells scanned digits are laid, few or many, drawn or real."""
        assert self.scans is not None
        real = count // 4 if self.real else 0
        parts = [self.ring.pages(count - real)]
        if self.real:
            parts.append(self.real.pages(real))
        patches, truth = torch.cat([p for p, _ in parts]), torch.cat([t for _, t in parts])
        marks = truth.clamp(min=0).sum(2) - truth[:, :, labels.HAND].clamp(min=0)
        share = torch.rand(count, 1, device=patches.device)
        known = truth[:, :, labels.DIGIT] != labels.UNKNOWN
        laid = known & (marks == 0) & (torch.rand_like(share.expand(-1, PAGE)) < share)
        at = torch.randint(0, len(self.scans[0]), (count * PAGE,), device=patches.device)
        ink = self.scans[0][at, None].float() / 15
        written = self.lay_on(patches.flatten(0, 1), ink, self.pens, PAGE).reshape(patches.shape)
        patches = torch.where(laid[:, :, None, None, None], written, patches)
        digit, hand = truth[:, :, labels.DIGIT], truth[:, :, labels.HAND]
        truth = truth.clone()
        truth[:, :, labels.DIGIT] = torch.where(laid, self.scans[1][at].reshape(laid.shape), digit)
        truth[:, :, labels.HAND] = torch.where(laid, 1, hand)
        return patches, truth


@dataclass
class Run:
    """The state of one training run, saved between legs."""

    net: TwoLooks
    sources: Sources
    minutes: float
    out: Path
    rate: float
    batch: int
    device: torch.device
    spent: float = 0.0

    def __post_init__(self) -> None:
        def losses() -> tuple[torch.Tensor, ...]:
            return both_losses(self.net, self.sources.batch(self.batch))

        if self.device.type == "cuda":  # a quarter more steps for half a minute of compiling
            self.net.first.compile()
            self.net.closer.compile()
        self.stepper = Stepper(self.net, losses, (1.0, 1.0), self.device)

    def save(self) -> None:
        """Write the checkpoint beside the old one, then put it in its place."""
        half = self.out / "checkpoint.part"
        torch.save(self.stepper.state() | {"spent": self.spent}, half)
        half.replace(self.out / "checkpoint.pt")

    def resume(self) -> None:
        """Go on from this run's own checkpoint, if it has one."""
        path = self.out / "checkpoint.pt"
        if path.exists():
            state = torch.load(path, map_location=self.device, weights_only=True)
            self.stepper.resume(state)
            self.spent = state["spent"]

    def step(self) -> None:
        """One step at the rate that this share of the run asks for."""
        over = min(1.0, self.spent / (self.minutes * 60))
        warm = min(1.0, (self.stepper.steps + 1) / 500)
        self.stepper.step(self.rate * warm * (0.5 * (1 + math.cos(math.pi * over)) + 1e-3))


def train(run: Run, leg: float) -> None:
    """Train until the run's minutes or this leg's are over; log and save on the way."""
    began = saved = time.monotonic()
    before = run.spent
    while run.spent < run.minutes * 60 and time.monotonic() - began < leg * 60:
        if run.stepper.steps % 10 == 0:
            run.sources.refill()
        run.step()
        if run.stepper.steps % LOGGED == 0:
            told = ", ".join(f"{loss.item():.5f}" for loss in run.stepper.last)
            print(f"{run.spent:5.0f} s, step {run.stepper.steps}, losses {told}", flush=True)
        run.spent = before + time.monotonic() - began
        if time.monotonic() - saved > 60:
            run.save()
            saved = time.monotonic()
    run.save()
    torch.save(run.stepper.mean, run.out / "weights.pt")


def real_ring(inputs: packed.Inputs, which: str, device: torch.device) -> Ring:
    """The real cells of ``all`` or of all folds but K of ``K/N``."""
    keep = np.ones(len(inputs.names), np.bool_)
    if which != "all":
        fold, count = (int(n) for n in which.split("/"))
        keep = inputs.folds(count) != fold
    ring = Ring(int(keep.sum()) * 81, device)
    for at in np.flatnonzero(keep):
        ring.put(inputs.cells(int(at)))
    return ring


def arguments() -> argparse.Namespace:
    """The command's words."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--inputs", type=Path, help="file written by training.pack")
    parser.add_argument("--pages", type=Path, help="packed typefaces and strokes for drawn pages")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--start", type=Path, help="weights of another run")
    parser.add_argument("--real", default="none", help="none, all or K/N")
    parser.add_argument("--scans", action="store_true")
    parser.add_argument("--minutes", type=float, default=7.0, help="length of the whole run")
    parser.add_argument("--leg", type=float, default=8.0, help="stop after so many minutes")
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--batch", type=int, default=64, help="pages a step")
    parser.add_argument("--room", type=int, default=2_500_000, help="cells kept in memory")
    parser.add_argument("--first", type=int, default=100_000, help="cells drawn before step 1")
    parser.add_argument("--workers", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    return parser.parse_args()


def fill(ring: Ring, drawing: Drawing[pool.Cells], first: int) -> None:
    """Wait until ``first`` cells have been drawn."""
    while ring.filled < first:
        ring.put(drawing.wait())


def main() -> None:
    """Run one leg."""
    given = arguments()
    given.out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(given.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    net = TwoLooks()
    if given.start:
        net.load_state_dict(torch.load(given.start, map_location="cpu", weights_only=True))
    inputs = packed.Inputs(given.inputs) if given.inputs else None
    real = real_ring(inputs, given.real, device) if inputs and given.real != "none" else None
    scans = inputs.scans(device) if inputs and given.scans else None
    ring = Ring(given.room, device)
    sources = Sources(ring, None, real, scans)
    run = Run(net, sources, given.minutes, given.out, given.rate, given.batch, device)
    run.resume()
    seeds = itertools.count(given.seed * 1_000_000_000 + run.stepper.steps * 1000)
    drawing = Drawing(partial(drawn.cells, pages=given.pages), seeds, given.workers)
    sources.drawing = drawing
    try:
        fill(ring, drawing, given.first)
        train(run, given.leg)
    finally:
        drawing.stop()
    print(
        f"ended after {run.stepper.steps} steps, {ring.drawn} pages drawn, "
        f"{run.spent:.0f} s, {run.device}"
    )


if __name__ == "__main__":
    main()
