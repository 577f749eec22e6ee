"""Trains the network that finds crossings of block lines, on drawn pages only.

    python -m papernudge.digits_model.training.crossings --pages .work/pages.npz \
        --out .work/crossings --minutes 8 --workers 15

A run that was killed goes on when started again with the same ``--out``. Pages are seeded and
drawn by other processes while training runs; a run's length is in minutes, so the number of steps,
which the log states, depends on the machine. Leaves ``weights.pt`` in the folder.
"""

from __future__ import annotations

import argparse
import itertools
import math
import multiprocessing
import time
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, Generic, TypeVar

import torch
from torch.nn import functional as nnf

from papernudge.digits_model.training.averaging import average, kept, placed, share_after
from papernudge.digits_model.training.crossings_net import HEATS, STEPS, CrossingNet
from papernudge.digits_model.training.crossings_truth import (
    CUT,
    FINE,
    IGNORED,
    SIDE,
    TOP,
    WHOLE,
    Sample,
    samples,
)

Maps = dict[str, torch.Tensor]
"""Samples side by side, see ``crossings_truth.Sample``, each with a leading axis."""
LOGGED = 15.0
"""Seconds from line to line of the log."""
HELD_BACK = 24
"""Pages of another split on which the losses are told as well."""
WEIGHTS = (1.0, 1.0, 1.0, 0.3, 1.0)
"""How much each heat counts."""
PARTS = ("heats", "near", "steps", "kinds")


Drawn = TypeVar("Drawn")


class Drawing(Generic[Drawn]):
    """Pages' samples drawn by other processes, handed out as they come in."""

    def __init__(
        self, draw: Callable[[int], list[Drawn]], seeds: Iterable[int], workers: int
    ) -> None:
        self._pool = multiprocessing.get_context("spawn").Pool(workers)
        self._draw, self._seeds = draw, iter(seeds)
        self._waiting: list[Any] = []
        for _ in range(4 * workers):
            self._ask()

    def _ask(self) -> None:
        seed = next(self._seeds, None)
        if seed is not None:
            self._waiting.append(self._pool.apply_async(self._draw, (seed,)))

    @property
    def done(self) -> bool:
        """Whether all has been handed out."""
        return not self._waiting

    def ready(self) -> Iterator[Drawn]:
        """What has been drawn since the last call."""
        for result in [r for r in self._waiting if r.ready()]:
            self._waiting.remove(result)
            self._ask()
            yield from result.get()

    def stop(self) -> None:
        """End the drawing processes."""
        self._pool.terminate()
        self._pool.join()


class Ring:
    """The last ``room`` samples, in the device's memory."""

    def __init__(self, room: int, device: torch.device) -> None:
        fine, coarse = SIDE // FINE, SIDE // (2 * FINE)
        shapes: dict[str, tuple[tuple[int, ...], torch.dtype]] = {
            "picture": ((SIDE, SIDE), torch.uint8),
            "heats": ((HEATS, fine, fine), torch.uint8),
            "near": ((2, fine, fine), torch.int8),
            "steps": ((STEPS, coarse, coarse), torch.float16),
            "kinds": ((coarse, coarse), torch.uint8),
            "size": ((2,), torch.int16),
        }
        self._held = {
            name: torch.empty((room, *shape), dtype=kind, device=device)
            for name, (shape, kind) in shapes.items()
        }
        self.room, self.filled, self.put_in = room, 0, 0

    def put(self, sample: Sample) -> None:
        """Put a sample in, over the oldest where the ring is full."""
        at = self.put_in % self.room
        for name, held in self._held.items():
            held[at].copy_(torch.from_numpy(sample[name]))
        self.put_in += 1
        self.filled = min(self.room, self.put_in)

    def batch(self, count: int) -> Maps:
        """Random samples."""
        device = self._held["picture"].device
        at = torch.randint(0, self.filled, (count,), device=device)
        return {name: held[at] for name, held in self._held.items()}

    def all(self) -> Maps:
        """All samples."""
        return {name: held[: self.filled] for name, held in self._held.items()}


def augmented(pictures: torch.Tensor, size: torch.Tensor) -> torch.Tensor:
    """Pictures uint8 (N, SIDE, SIDE) to float (N, 1, SIDE, SIDE), fainter here and noisier there.

    ``size``: (N, 2), their heights and widths; paper beyond stays as it is.
    """
    count, device = len(pictures), pictures.device
    dark = pictures[:, None].float() - 64.0

    def field(cells: int) -> torch.Tensor:
        coarse = torch.randn(count, 1, cells, cells, device=device)
        return nnf.interpolate(coarse, (SIDE, SIDE), mode="bilinear", align_corners=False)

    gain = torch.empty(count, 1, 1, 1, device=device).uniform_(math.log(0.45), math.log(1.5))
    uneven = 0.35 * torch.rand(count, 1, 1, 1, device=device)
    dark = dark * torch.exp(gain + uneven * field(5))
    loud = torch.rand(count, 1, 1, 1, device=device) ** 2
    dark = dark + 9.0 * loud * torch.randn_like(dark) + 4.0 * loud * field(SIDE // 2)
    at = torch.arange(SIDE, device=device)
    inside = (at[None, :, None] < size[:, 0, None, None]) & (
        at[None, None] < size[:, 1, None, None]
    )
    return (64.0 + dark.clamp(-64.0, 191.0) * inside[:, None]).round()


def losses_of(fine: torch.Tensor, coarse: torch.Tensor, truth: Maps) -> torch.Tensor:
    """The losses named in PARTS, float (4,).

    Heats by the penalty-reduced focal loss of X. Zhou, D. Wang and P. Krähenbühl ("Objects as
    points", 2019, after H. Law and J. Deng, ECCV 2018); distances by their mean amount, kinds by
    cross-entropy.
    """
    heats = truth["heats"]
    asked = (heats != IGNORED).float()
    want = heats.float().clamp(max=TOP) / TOP
    top = (heats == TOP).float()
    logits = fine[:, :HEATS]
    chance = logits.sigmoid()
    hit = top * (1 - chance) ** 2 * nnf.softplus(-logits)
    miss = (1 - top) * asked * (1 - want) ** 4 * chance**2 * nnf.softplus(logits)
    each = (hit + miss).sum((0, 2, 3)) / top.sum((0, 2, 3)).clamp(min=1)
    heat = (each * torch.tensor(WEIGHTS, device=each.device)).sum()
    near = truth["near"].float()
    known = (truth["near"][:, :1] != -128).float()
    far = ((fine[:, HEATS:] - near / 32).abs() * known).sum() / known.sum().clamp(min=1)
    kinds = truth["kinds"].long()
    steps = truth["steps"].float()
    plain = ((kinds == WHOLE) | (kinds == CUT))[:, None] & (steps != 0).any(1, keepdim=True)
    off = nnf.smooth_l1_loss(coarse[:, :STEPS], steps, reduction="none", beta=0.2)
    off = (off * plain).sum() / plain.sum().clamp(min=1)
    kind = nnf.cross_entropy(coarse[:, STEPS:], kinds, ignore_index=IGNORED)
    return torch.stack([heat, far, off, kind])


@dataclass
class Run:
    """The state of one training run, saved now and then."""

    net: CrossingNet
    minutes: float
    out: Path
    rate: float
    device: torch.device
    spent: float = 0.0
    steps: int = 0
    mean: dict[str, torch.Tensor] = field(default_factory=dict)

    def __post_init__(self) -> None:
        placed(self.net, self.device)
        self.optimiser = torch.optim.AdamW(self.net.parameters(), lr=self.rate, weight_decay=0.02)
        self.mean = {k: v.detach().clone() for k, v in self.net.state_dict().items()}

    def save(self) -> None:
        """Write the checkpoint beside the old one, then put it in its place."""
        state = {
            "net": self.net.state_dict(),
            "mean": self.mean,
            "optimiser": kept(self.optimiser),
            "spent": self.spent,
            "steps": self.steps,
        }
        half = self.out / "checkpoint.part"
        torch.save(state, half)
        half.replace(self.out / "checkpoint.pt")

    def resume(self) -> None:
        """Go on from this run's own checkpoint, if it has one."""
        path = self.out / "checkpoint.pt"
        if not path.exists():
            return
        state = torch.load(path, map_location=self.device, weights_only=True)
        self.net.load_state_dict(state["net"])
        self.optimiser.load_state_dict(state["optimiser"])
        self.mean, self.spent, self.steps = state["mean"], state["spent"], state["steps"]

    def said(self, pictures: torch.Tensor, net: CrossingNet | None = None) -> tuple[Any, Any]:
        """What the network says of float pictures (N, 1, SIDE, SIDE), in float32."""
        pictures = pictures.contiguous(memory_format=torch.channels_last)
        with torch.autocast(self.device.type, torch.bfloat16, self.device.type == "cuda"):
            fine, coarse = (net or self.net)(pictures)
        return fine.float(), coarse.float()

    def step(self, truth: Maps, schedule: float) -> torch.Tensor:
        """One step at ``schedule``, the share of the run that is over; returns the losses."""
        warm = min(1.0, (self.steps + 1) / 150)
        rate = self.rate * warm * (0.5 * (1 + math.cos(math.pi * min(1.0, schedule))) + 1e-3)
        for group in self.optimiser.param_groups:
            group["lr"] = rate
        self.net.train()
        losses = losses_of(*self.said(augmented(truth["picture"], truth["size"])), truth)
        self.optimiser.zero_grad(set_to_none=True)
        losses.sum().backward()  # type: ignore[no-untyped-call]
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 5.0)
        self.optimiser.step()
        self.steps += 1
        average(self.mean, self.net, share_after(self.steps))
        return losses.detach()

    @torch.no_grad()
    def judged(self, held_back: Ring) -> torch.Tensor:
        """Losses of the mean weights on samples held back."""
        net = CrossingNet()
        placed(net, self.device)
        net.load_state_dict(self.mean)
        net.eval()
        truth = held_back.all()
        return losses_of(*self.said(truth["picture"][:, None].float(), net), truth)


def told(losses: torch.Tensor) -> str:
    """Losses by name."""
    return ", ".join(f"{n} {v:.4f}" for n, v in zip(PARTS, losses.tolist(), strict=True))


def train(
    run: Run, drawing: Drawing[Sample] | None, ring: Ring, held_back: Ring, batch: int
) -> None:
    """Train until the run's minutes are over; log and save on the way."""
    began = saved = logged = time.monotonic()
    before, since = run.spent, run.steps
    losses = torch.zeros(len(PARTS), device=run.device)
    while run.spent < run.minutes * 60:
        if drawing is not None:
            for sample in drawing.ready():
                ring.put(sample)
        losses += run.step(ring.batch(batch), run.spent / (run.minutes * 60))
        if time.monotonic() - logged > LOGGED:
            line = f"{told(losses / (run.steps - since))}; held back: {told(run.judged(held_back))}"
            print(f"{run.spent:4.0f} s, step {run.steps}, drawn {ring.put_in}, {line}", flush=True)
            logged, since = time.monotonic(), run.steps
            losses.zero_()
        run.spent = before + time.monotonic() - began
        if time.monotonic() - saved > 60:
            run.save()
            saved = time.monotonic()
    run.save()
    torch.save(run.mean, run.out / "weights.pt")
    print(f"ended: held back: {told(run.judged(held_back))}", flush=True)


def fill(ring: Ring, drawing: Drawing[Sample], first: int) -> None:
    """Wait until ``first`` samples have been drawn, or all."""
    while ring.filled < first and not drawing.done:
        for sample in drawing.ready():
            ring.put(sample)
        time.sleep(0.02)


def arguments() -> argparse.Namespace:
    """The command's words."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--pages", type=Path, help="packed typefaces and strokes for drawn pages")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--start", type=Path, help="weights of another run")
    parser.add_argument("--minutes", type=float, default=8.0)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--batch", type=int, default=64, help="pictures a step")
    parser.add_argument("--room", type=int, default=40_000, help="pictures kept, 0.66 MB each")
    parser.add_argument("--first", type=int, default=1500, help="pictures drawn before step 1")
    parser.add_argument("--held-back", type=int, default=HELD_BACK, help="pages")
    parser.add_argument("--workers", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    return parser.parse_args()


def main() -> None:
    """Run one leg."""
    given = arguments()
    given.out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(given.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    run = Run(CrossingNet(), given.minutes, given.out, given.rate, device)
    if given.start:
        run.net.load_state_dict(torch.load(given.start, map_location=device, weights_only=True))
    run.resume()
    apart = Drawing(
        partial(samples, pages=given.pages, split="calibrate"),
        range(900_000_000, 900_000_000 + given.held_back),
        given.workers,
    )
    held_back = Ring(3 * given.held_back, device)
    try:
        fill(held_back, apart, held_back.room)
    finally:
        apart.stop()
    seeds = itertools.count(given.seed * 1_000_000_000 + run.steps * 1000)
    drawing = Drawing(partial(samples, pages=given.pages), seeds, given.workers)
    ring = Ring(given.room, device)
    try:
        fill(ring, drawing, given.first)
        train(run, drawing, ring, held_back, given.batch)
    finally:
        drawing.stop()
    print(f"ended after {run.steps} steps, {run.spent:.0f} s, {run.device}")


if __name__ == "__main__":
    main()
