"""Trains the network that says which cells can be seen, on harmed pages, drawn and real.

    python -m papernudge.digits_model.training.seen pack --data ../shared/data --to .work/photos.npz
    python -m papernudge.digits_model.training.seen train --pages .work/pages.npz \
        --photos .work/photos.npz --out .work/seen --minutes 6 --workers 15

``pack`` leaves out the puzzles of fold 0: by their photos the network is judged. A run that
was killed goes on when started again with the same ``--out``. Leaves ``weights.pt`` and a few
held-back samples' figures in its log.
"""

from __future__ import annotations

import argparse
import itertools
import math
import time
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

import numpy as np
import torch
from torch.nn import functional as nnf

from papernudge.digits_model.seen import NAMES, SIDE
from papernudge.digits_model.training import seen_truth
from papernudge.digits_model.training.averaging import average, kept, placed, share_after
from papernudge.digits_model.training.crossings import Drawing
from papernudge.digits_model.training.seen_net import SeenNet
from papernudge.digits_model.training.seen_truth import LEFT_OUT, TRUTH, Photos, Sample

UNSEEN = Path(__file__).parent / "unseen" / "folds.json"
REAL = 3
"""Every so many-th drawing is of a photo."""
WEIGHTS = (1.5, 0.7, 0.6, 0.5, 1.0)
"""How much each of NAMES counts."""
HELD_BACK = 24
LOGGED = 15.0
"""Seconds from line to line of the log."""


def draw(seed: int, pages: Path | None, photos: Path | None, split: str) -> list[Sample]:
    """Samples of a drawn page or, now and then, of a photo."""
    if photos is not None and seed % REAL == 0:
        return Photos(photos).samples(seed)
    return seen_truth.samples(seed, pages, split)


class Ring:
    """The last ``room`` samples, in the device's memory."""

    def __init__(self, room: int, device: torch.device) -> None:
        self.sheets = torch.empty((room, SIDE, SIDE, 3), dtype=torch.uint8, device=device)
        self.truth = torch.empty((room, 81, TRUTH), dtype=torch.int8, device=device)
        self.room, self.filled, self.put_in = room, 0, 0

    def put(self, sample: Sample) -> None:
        """Put a sample in, over the oldest where the ring is full."""
        at = self.put_in % self.room
        self.sheets[at].copy_(torch.from_numpy(np.ascontiguousarray(sample[0])))
        self.truth[at].copy_(torch.from_numpy(sample[1]))
        self.put_in += 1
        self.filled = min(self.room, self.put_in)

    def batch(self, count: int) -> tuple[torch.Tensor, torch.Tensor]:
        """Random samples: float (count, 3, SIDE, SIDE) and int64 (count, 81, TRUTH)."""
        at = torch.randint(0, self.filled, (count,), device=self.sheets.device)
        return self.sheets[at].permute(0, 3, 1, 2).float(), self.truth[at].long()


def varied(sheets: torch.Tensor, truth: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
    """The samples lying some other way, mirrored or not, in other light and with more grain."""
    cells = truth.reshape(len(truth), 9, 9, TRUTH)
    turn = int(torch.randint(0, 4, ()))
    sheets, cells = torch.rot90(sheets, turn, (2, 3)), torch.rot90(cells, turn, (1, 2))
    if torch.rand(()) < 0.5:
        sheets, cells = sheets.flip(3), cells.flip(2)
    count, device = len(sheets), sheets.device
    cast = torch.exp(0.06 * torch.randn(count, 3, 1, 1, device=device))
    gain = torch.empty(count, 1, 1, 1, device=device).uniform_(0.75, 1.15)
    grain = 5 * torch.rand(count, 1, 1, 1, device=device) ** 2
    sheets = sheets * cast * gain + grain * torch.randn_like(sheets)
    return sheets.clamp(0, 255), cells.flatten(1, 2)


def losses_of(said: torch.Tensor, truth: torch.Tensor) -> torch.Tensor:
    """Cross-entropy by name, float (len(NAMES),); what is not known is left out.

    Shares near a limit count for both sides: nobody could say where exactly it is passed.
    """
    seen, crossed = truth[..., seen_truth.SEEN], truth[..., seen_truth.CROSSED]
    laid, trusted = truth[..., seen_truth.LAID], truth[..., seen_truth.TRUSTED]
    known = (seen >= 0).float()
    hidden = known * (seen < 50).float()
    want = torch.stack(
        [
            ((seen.float() - 35) / 30).clamp(0, 1),
            ((seen.float() - 90) / 10).clamp(0, 1),
            (crossed.float() / 2).clamp(0, 1),
            ((laid.float() - 30) / 40).clamp(0, 1),
            trusted.float().clamp(0, 1),
        ],
        dim=-1,
    )
    asked = torch.stack([known, known, known, hidden, (trusted >= 0).float()], dim=-1)
    each = nnf.binary_cross_entropy_with_logits(said, want, reduction="none")
    return (each * asked).sum((0, 1)) / asked.sum((0, 1)).clamp(min=1)


@dataclass
class Run:
    """The state of one training run, saved now and then."""

    net: SeenNet
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

    def said(self, sheets: torch.Tensor, net: SeenNet | None = None) -> torch.Tensor:
        """What the network says of sheets, in float32."""
        sheets = sheets.contiguous(memory_format=torch.channels_last)
        with torch.autocast(self.device.type, torch.bfloat16, self.device.type == "cuda"):
            said: torch.Tensor = (net or self.net)(sheets)
        return said.float()

    def step(self, sheets: torch.Tensor, truth: torch.Tensor, over: float) -> torch.Tensor:
        """One step where the share ``over`` of the run is over; returns the losses."""
        warm = min(1.0, (self.steps + 1) / 200)
        rate = self.rate * warm * (0.5 * (1 + math.cos(math.pi * min(1.0, over))) + 1e-3)
        for group in self.optimiser.param_groups:
            group["lr"] = rate
        self.net.train()
        losses = losses_of(self.said(sheets), truth)
        weighed = losses * torch.tensor(WEIGHTS, device=losses.device)
        self.optimiser.zero_grad(set_to_none=True)
        weighed.sum().backward()  # type: ignore[no-untyped-call]
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 5.0)
        self.optimiser.step()
        self.steps += 1
        average(self.mean, self.net, share_after(self.steps))
        return losses.detach()

    @torch.no_grad()
    def judged(self, held_back: Ring) -> torch.Tensor:
        """Losses of the mean weights on samples held back."""
        net = SeenNet()
        placed(net, self.device)
        net.load_state_dict(self.mean)
        net.eval()
        sheets = held_back.sheets[: held_back.filled].permute(0, 3, 1, 2).float()
        return losses_of(self.said(sheets, net), held_back.truth[: held_back.filled].long())


def told(losses: torch.Tensor) -> str:
    """Losses by name."""
    return ", ".join(f"{n} {v:.4f}" for n, v in zip(NAMES, losses.tolist(), strict=True))


def train(run: Run, drawing: Drawing[Sample], ring: Ring, held_back: Ring, batch: int) -> None:
    """Train until the run's minutes are over; log and save on the way."""
    began = saved = logged = time.monotonic()
    before, since = run.spent, run.steps
    losses = torch.zeros(len(NAMES), device=run.device)
    while run.spent < run.minutes * 60:
        if run.steps % 20 == 0:
            for sample in drawing.ready():
                ring.put(sample)
        losses += run.step(*varied(*ring.batch(batch)), run.spent / (run.minutes * 60))
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
    commands = parser.add_subparsers(dest="command", required=True)
    pack = commands.add_parser("pack")
    pack.add_argument("--data", type=Path, required=True)
    pack.add_argument("--to", type=Path, required=True)
    leg = commands.add_parser("train")
    leg.add_argument("--pages", type=Path, help="packed typefaces and strokes for drawn pages")
    leg.add_argument("--photos", type=Path, help="written by pack")
    leg.add_argument("--out", type=Path, required=True)
    leg.add_argument("--start", type=Path, help="weights of another run")
    leg.add_argument("--minutes", type=float, default=6.0)
    leg.add_argument("--rate", type=float, default=3e-3)
    leg.add_argument("--batch", type=int, default=128, help="grids a step")
    leg.add_argument("--room", type=int, default=120_000, help="grids kept, 0.12 MB each")
    leg.add_argument("--first", type=int, default=2500, help="grids drawn before step 1")
    leg.add_argument("--workers", type=int, default=4)
    leg.add_argument("--seed", type=int, default=1)
    return parser.parse_args()


def main() -> None:
    """Pack, or run one leg."""
    given = arguments()
    if given.command == "pack":
        print(seen_truth.packed(given.data / "photos", given.to, LEFT_OUT, UNSEEN), "photos")
        return
    given.out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(given.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    net = SeenNet()
    if given.start:
        net.load_state_dict(torch.load(given.start, map_location="cpu", weights_only=True))
    run = Run(net, given.minutes, given.out, given.rate, device)
    run.resume()
    draws = partial(draw, pages=given.pages, photos=None, split="calibrate")
    apart = Drawing(draws, range(900_000_000, 900_000_000 + HELD_BACK), given.workers)
    held_back = Ring(HELD_BACK * seen_truth.HARMED_SO_OFTEN, device)
    try:
        fill(held_back, apart, held_back.room)
    finally:
        apart.stop()
    draws = partial(draw, pages=given.pages, photos=given.photos, split="train")
    seeds = itertools.count(given.seed * 1_000_000_000 + run.steps * 1000)
    drawing = Drawing(draws, seeds, given.workers)
    ring = Ring(given.room, device)
    try:
        fill(ring, drawing, given.first)
        train(run, drawing, ring, held_back, given.batch)
    finally:
        drawing.stop()
    print(f"ended after {run.steps} steps, {run.spent:.0f} s, {run.device}")


if __name__ == "__main__":
    main()
