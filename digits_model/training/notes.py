"""Trains the network that reads small notes from fine patches, in legs that resume.

    python -m papernudge.digits_model.training.notes --pages .work/pages.npz --out .work/notes \
        --minutes 8 --workers 15

Drawn pages only: no collection of photos with notes is at hand. Pages are drawn while training
runs. Goes on from its own checkpoint when started again with the same ``--out``.
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

from papernudge.digits_model.training import drawn
from papernudge.digits_model.training.network_notes import PLACES, NotesNet
from papernudge.digits_model.training.pool import Drawing
from papernudge.digits_model.training.stepping import Stepper
from papernudge.vision.patches import FINE_SIDE

CELLS = drawn.NOTED_CELLS
Batch = tuple[torch.Tensor, torch.Tensor, torch.Tensor]
"""Patches float (B, CELLS, 1, S, S); notes int64 (B, CELLS, 9); places int64 (B·CELLS, P, P)."""
APART = -100
"""A place next to a digit's centre: nothing is asked of it."""


class Ring:
    """The last ``room`` pages that were put in."""

    def __init__(self, room: int, device: torch.device) -> None:
        side = FINE_SIDE
        self.fine = torch.empty((room, CELLS, side, side), dtype=torch.uint8, device=device)
        self.notes = torch.empty((room, CELLS, 9), dtype=torch.int8, device=device)
        self.places = torch.empty((room, CELLS, PLACES, PLACES), dtype=torch.int8, device=device)
        self.put_in = 0
        # On an accelerator many small changes are made in one pass over memory.
        self.changed = torch.compile(changed) if device.type == "cuda" else changed
        self._filled = torch.zeros((), device=device)  # a recorded step reads it anew each time

    def put(self, page: drawn.Noted) -> None:
        """Put one page in, over the oldest where the ring is full; pages without notes are not."""
        if not len(page[0]):
            return
        at = self.put_in % len(self.fine)
        for held, new in zip((self.fine, self.notes, self.places), page, strict=True):
            held[at].copy_(torch.from_numpy(new))
        self.put_in += 1
        self._filled.fill_(min(self.put_in, len(self.fine)))

    def batch(self, count: int) -> Batch:
        """Random pages, their cells changed by chance."""
        chance = torch.rand(count, dtype=torch.float64, device=self.fine.device)
        at = (chance * self._filled).long()
        patches = self.fine[at].float().reshape(-1, 1, FINE_SIDE, FINE_SIDE)
        patches = self.changed(patches, CELLS).reshape(count, CELLS, 1, FINE_SIDE, FINE_SIDE)
        return patches, self.notes[at].long(), self.places[at].long().flatten(0, 1)


def changed(patches: torch.Tensor, alike: int = 1) -> torch.Tensor:
    """Random changes of place, shape, focus, light and grain: float (N, 1, S, S), 0–255.

    Every ``alike`` of them in a row come from one page and share focus and light. Changes of
    place stay below the distance of neighbouring places.
    """
    count, device = len(patches), patches.device
    affine = torch.zeros(count, 2, 3, device=device)
    turn, shear = (torch.randn(2, count, device=device) * 0.03).unbind()
    size = 1 + torch.randn(2, count, device=device) * 0.03
    affine[:, 0, 0], affine[:, 1, 1] = size[0], size[1]
    affine[:, 0, 1], affine[:, 1, 0] = turn + shear, -turn
    affine[:, :, 2] = torch.randn(count, 2, device=device) * 0.015
    where = nnf.affine_grid(affine, list(patches.shape), align_corners=False)
    # Bent as no hand bends twice: few writers stand for many (P. Simard, D. Steinkraus and
    # J. Platt, "Best practices for convolutional neural networks", ICDAR 2003).
    bent = torch.randn(count, 2, 10, 10, device=device) * 0.012
    bent = nnf.interpolate(bent, patches.shape[2:], mode="bicubic", align_corners=False)
    where = where + bent.permute(0, 2, 3, 1)
    moved = nnf.grid_sample(patches, where, padding_mode="border", align_corners=False)

    def per(normal: bool) -> torch.Tensor:
        made = (torch.randn if normal else torch.rand)(-(-count // alike), 1, 1, 1, device=device)
        return made.repeat_interleave(alike, 0)[:count]

    soft = nnf.avg_pool2d(nnf.pad(moved, [1] * 4, mode="replicate"), 3, stride=1)
    part = per(normal=False)
    part = torch.where(part < 0.67, torch.zeros_like(part), part)
    dark = 224.0 - (moved * (1 - part) + soft * part)
    dark = dark * torch.exp(per(normal=True) * 0.25)
    dark = dark + torch.randn(count, 1, 1, 1, device=device) * 5
    grain = per(normal=False) ** 2 * 12
    return (224.0 - dark + torch.randn_like(dark) * grain).clamp(0, 255)


def losses(net: NotesNet, batch: Batch) -> tuple[torch.Tensor, torch.Tensor]:
    """Of the notes, and of the places."""
    patches, notes, places = batch
    pages, device = patches.shape[:2], patches.device
    # From a page with one noted cell to one full of them: how many others are told of varies.
    left_out = torch.rand(pages, device=device) < torch.rand(len(patches), 1, device=device)
    logits, shown = net(patches, left_out)
    noted = nnf.binary_cross_entropy_with_logits(logits.float(), notes.float())
    each = nnf.cross_entropy(shown.float(), places, ignore_index=APART, reduction="sum")
    return noted, each / (places > 0).sum().clamp(min=1)


def train(
    net: NotesNet, ring: Ring, drawing: Drawing[drawn.Noted], given: argparse.Namespace
) -> None:
    """Train until the run's minutes are over; writes ``weights.pt``, the averaged weights."""
    device = ring.fine.device

    def both() -> tuple[torch.Tensor, ...]:
        return losses(net, ring.batch(given.batch))

    stepper = Stepper(net, both, (10.0, 0.1), device, clip=1.0)
    spent, path = 0.0, given.out / "checkpoint.pt"
    if path.exists():
        state = torch.load(path, map_location=device, weights_only=True)
        stepper.resume(state)
        spent = state["spent"]
    before, began, saved = spent, time.monotonic(), time.monotonic()
    while spent < given.minutes * 60:
        if stepper.steps % 5 == 0:
            for page in drawing.ready():
                ring.put(page)
        warm = min(1.0, (stepper.steps + 1) / 500)
        over = spent / (given.minutes * 60)
        stepper.step(given.rate * warm * 0.5 * (1 + math.cos(math.pi * over)))
        spent = before + time.monotonic() - began
        if stepper.steps % given.logged == 0:
            told = ", ".join(f"{loss.item():.5f}" for loss in stepper.last)
            line = f"{spent:5.0f} s, step {stepper.steps}, {ring.put_in} pages, losses {told}"
            print(line, flush=True)
        if time.monotonic() - saved > 60:
            saved = time.monotonic()
            half = path.with_suffix(".part")  # killed while it writes, a leg keeps the old one
            torch.save(stepper.state() | {"spent": spent, "put_in": ring.put_in}, half)
            half.replace(path)
    print(f"ended after {stepper.steps} steps, {spent:.0f} s, {device}")
    torch.save(stepper.mean, given.out / "weights.pt")


def arguments(words: list[str] | None = None) -> argparse.Namespace:
    """The command's words."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--pages", type=Path, help="packed typefaces and strokes for drawn pages")
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--start", type=Path, help="weights of another run")
    parser.add_argument("--minutes", type=float, default=8.0)
    parser.add_argument("--rate", type=float, default=1.5e-3)
    parser.add_argument("--batch", type=int, default=48, help="pages a step")
    parser.add_argument("--room", type=int, default=80_000, help="pages kept in memory")
    parser.add_argument("--first", type=int, default=1000, help="pages drawn before step 1")
    parser.add_argument(
        "--logged", type=int, default=250, help="steps from line to line of the log"
    )
    parser.add_argument("--workers", type=int, default=4)
    parser.add_argument("--seed", type=int, default=6)
    return parser.parse_args(words)


def main(words: list[str] | None = None) -> None:
    """Run one leg."""
    given = arguments(words)
    given.out.mkdir(parents=True, exist_ok=True)
    torch.manual_seed(given.seed)
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    net = NotesNet()
    if given.start:
        net.load_state_dict(torch.load(given.start, map_location="cpu", weights_only=True))
    ring = Ring(given.room, device)
    path, drawn_before = given.out / "checkpoint.pt", 0
    if path.exists():  # a later leg draws other pages than the one before
        drawn_before = torch.load(path, map_location="cpu", weights_only=True)["put_in"]
    seeds = itertools.count(given.seed * 1_000_000_000 + 2 * drawn_before)
    drawing = Drawing(partial(drawn.noted_page, pages=given.pages), seeds, given.workers)
    try:
        while ring.put_in < given.first:
            ring.put(drawing.wait())
        train(net, ring, drawing, given)
    finally:
        drawing.stop()


if __name__ == "__main__":
    main()
