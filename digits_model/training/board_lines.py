"""Trains the network that sees a board's ruled lines, on drawn pages only.

    python -m papernudge.digits_model.training.board_lines pack --puzzles .work/boards.json
    python -m papernudge.digits_model.training.board_lines train --pages .work/pages.npz \
        --puzzles .work/boards.json --out .work/lines --minutes 5 --workers 15

Pages are seeded and drawn by other processes while training runs; a run's length is in minutes, so
the number of steps, which the log states, depends on the machine. Leaves ``weights.pt`` and
``log.txt`` in the folder.
"""

from __future__ import annotations

import argparse
import itertools
import math
import time
from functools import partial
from pathlib import Path

import torch
from torch.nn import functional as nnf

from papernudge.digits_model.training.averaging import average, placed, share_after
from papernudge.digits_model.training.board_lines_net import BoardLinesNet
from papernudge.digits_model.training.board_lines_truth import Sample, packed, samples
from papernudge.digits_model.training.crossings import LOGGED, Drawing
from papernudge.vision.boards.cleaned import AREA_STEP, PAPER, SIDE, STEP

Maps = dict[str, torch.Tensor]
HELD_BACK = 40
"""Pages of another split on which the losses are told as well."""
RARE = 3.0
"""How much more a place on a line counts than one on none."""
PARTS = ("lines", "area")
FAINT, STRONG, LOUD = 0.3, 1.5, 14.0
"""Least and greatest factor of darkness by chance, and the greatest noise, levels."""


class Ring:
    """The last ``room`` samples, in the device's memory."""

    def __init__(self, room: int, device: torch.device) -> None:
        fine, coarse = SIDE // STEP, SIDE // AREA_STEP
        shapes = {"picture": (SIDE, SIDE), "lines": (2, fine, fine), "area": (coarse, coarse)}
        self._held = {
            name: torch.empty((room, *shape), dtype=torch.uint8, device=device)
            for name, shape in shapes.items()
        }
        self.room, self.put_in = room, 0

    @property
    def filled(self) -> int:
        """How many samples there are."""
        return min(self.room, self.put_in)

    def put(self, sample: Sample) -> None:
        """Put a sample in, over the oldest where the ring is full."""
        at = self.put_in % self.room
        for name, held in self._held.items():
            held[at].copy_(torch.from_numpy(sample[name]))
        self.put_in += 1

    def batch(self, count: int) -> Maps:
        """Random samples."""
        device = self._held["picture"].device
        at = torch.randint(0, self.filled, (count,), device=device)
        return {name: held[at] for name, held in self._held.items()}

    def all(self) -> Maps:
        """All samples."""
        return {name: held[: self.filled] for name, held in self._held.items()}


def augmented(pictures: torch.Tensor) -> torch.Tensor:
    """Pictures uint8 (N, S, S) to float (N, 1, S, S), fainter here and noisier there."""
    count, device = len(pictures), pictures.device
    dark = pictures[:, None].float() - PAPER

    def field(cells: int) -> torch.Tensor:
        coarse = torch.randn(count, 1, cells, cells, device=device)
        return nnf.interpolate(coarse, (SIDE, SIDE), mode="bilinear", align_corners=False)

    gain = torch.empty(count, 1, 1, 1, device=device).uniform_(math.log(FAINT), math.log(STRONG))
    uneven = 0.35 * torch.rand(count, 1, 1, 1, device=device)
    loud = LOUD * torch.rand(count, 1, 1, 1, device=device) ** 3
    dark = dark * torch.exp(gain + uneven * field(5))
    dark = dark + loud * torch.randn_like(dark) + 0.5 * loud * field(SIDE // 2)
    return (PAPER + dark).clamp(0, 255).round()


def losses_of(lines: torch.Tensor, area: torch.Tensor, truth: Maps) -> torch.Tensor:
    """The losses named in PARTS, float (2,): cross-entropy of each place."""
    want = truth["lines"].float() / 255
    weight = torch.full((), RARE, device=want.device)
    there = truth["area"][:, None].float() / 255
    return torch.stack(
        [
            nnf.binary_cross_entropy_with_logits(lines, want, pos_weight=weight),
            nnf.binary_cross_entropy_with_logits(area, there),
        ]
    )


class Run:
    """One training run."""

    def __init__(self, rate: float, device: torch.device, start: Path | None = None) -> None:
        self.net, self.rate, self.device, self.steps = BoardLinesNet(), rate, device, 0
        if start is not None:
            self.net.load_state_dict(torch.load(start, map_location="cpu", weights_only=True))
        placed(self.net, device)
        self.optimiser = torch.optim.AdamW(self.net.parameters(), lr=rate, weight_decay=0.02)
        self.mean = {k: v.detach().clone() for k, v in self.net.state_dict().items()}

    def said(self, pictures: torch.Tensor, net: BoardLinesNet) -> tuple[torch.Tensor, torch.Tensor]:
        """What a network says of float pictures (N, 1, S, S), in float32."""
        pictures = pictures.contiguous(memory_format=torch.channels_last)
        with torch.autocast(self.device.type, torch.bfloat16, self.device.type == "cuda"):
            lines, area = net(pictures)
        return lines.float(), area.float()

    def step(self, truth: Maps, part: float) -> torch.Tensor:
        """One step when this part of the run is over; returns the losses."""
        warm = min(1.0, (self.steps + 1) / 150)
        rate = self.rate * warm * (0.5 * (1 + math.cos(math.pi * min(1.0, part))) + 1e-3)
        for group in self.optimiser.param_groups:
            group["lr"] = rate
        self.net.train()
        losses = losses_of(*self.said(augmented(truth["picture"]), self.net), truth)
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
        net = BoardLinesNet()
        placed(net, self.device)
        net.load_state_dict(self.mean)
        truth = held_back.all()
        return losses_of(*self.said(truth["picture"][:, None].float(), net.eval()), truth)


def told(losses: torch.Tensor) -> str:
    """Losses by name."""
    return ", ".join(f"{n} {v:.4f}" for n, v in zip(PARTS, losses.tolist(), strict=True))


def train(
    run: Run, drawing: Drawing[Sample], ring: Ring, held_back: Ring, batch: int, seconds: float
) -> list[str]:
    """Trains for so long; returns the log."""
    began = logged = time.monotonic()
    since, log, losses = 0, list[str](), torch.zeros(len(PARTS), device=run.device)
    while (spent := time.monotonic() - began) < seconds:
        for sample in drawing.ready():
            ring.put(sample)
        losses += run.step(ring.batch(batch), spent / seconds)
        if time.monotonic() - logged > LOGGED:
            mean = told(losses / (run.steps - since))
            log.append(f"{spent:4.0f} s, step {run.steps}, drawn {ring.put_in}, {mean}")
            print(log[-1], flush=True)
            logged, since = time.monotonic(), run.steps
            losses.zero_()
    log.append(f"ended after {run.steps} steps; held back: {told(run.judged(held_back))}")
    print(log[-1], flush=True)
    return log


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
    parser.add_argument("what", choices=("pack", "train"))
    parser.add_argument("--pages", type=Path, help="packed typefaces and strokes for drawn pages")
    parser.add_argument("--puzzles", type=Path, help="the boards' puzzles")
    parser.add_argument("--out", type=Path, default=Path(".work/lines"))
    parser.add_argument("--start", type=Path, help="weights of another run")
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--rate", type=float, default=4e-3)
    parser.add_argument("--batch", type=int, default=48, help="frames a step")
    parser.add_argument("--room", type=int, default=60_000, help="frames kept, 0.19 MB each")
    parser.add_argument("--first", type=int, default=1500, help="frames drawn before step 1")
    parser.add_argument("--held-back", type=int, default=HELD_BACK, help="pages")
    parser.add_argument("--workers", type=int, default=4)
    parser.add_argument("--seed", type=int, default=1)
    return parser.parse_args()


def main() -> None:
    """Pack puzzles, or train."""
    given = arguments()
    if given.what == "pack":
        packed(given.puzzles)
        return
    given.out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(given.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    run = Run(given.rate, device, given.start)
    drawn = partial(samples, pages=given.pages, puzzles=given.puzzles)
    seeds = range(900_000_000, 900_000_000 + given.held_back)
    apart = Drawing(partial(drawn, split="calibrate"), seeds, given.workers)
    held_back, ring = Ring(3 * given.held_back, device), Ring(given.room, device)
    try:
        fill(held_back, apart, held_back.room)
    finally:
        apart.stop()
    drawing = Drawing(drawn, itertools.count(given.seed * 1_000_000_000), given.workers)
    try:
        fill(ring, drawing, given.first)
        log = train(run, drawing, ring, held_back, given.batch, 60 * given.minutes)
    finally:
        drawing.stop()
    torch.save(run.mean, given.out / "weights.pt")
    (given.out / "log.txt").write_text("\n".join(log) + "\n")


if __name__ == "__main__":
    main()
