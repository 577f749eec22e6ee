"""Trains the network that reads small notes from fine patches, and measures it.

    python -m papernudge.digits_model.training.notes --stock .work/stock --out .work/notes \
        --minutes 30

Drawn pages only: no collection of photos with notes is at hand. Goes on from its own checkpoint
when started again with the same ``--out``.
"""

from __future__ import annotations

import argparse
import math
import time
from pathlib import Path

import numpy as np
import numpy.typing as npt
import torch
from torch.nn import functional as nnf

from papernudge.digits_model.training import labels
from papernudge.digits_model.training.network import NotesNet
from papernudge.digits_model.training.stock import parts

Fine = tuple[npt.NDArray[np.uint8], npt.NDArray[np.int8]]


def held(stocks: list[Path]) -> Fine:
    """Fine patches (N, 80, 80) and label rows of stocks."""
    pairs = [(p["fine"], p["fine_labels"]) for stock in stocks for p in parts(stock)]
    return np.concatenate([f for f, _ in pairs]), np.concatenate([t for _, t in pairs])


def changed(patches: torch.Tensor) -> torch.Tensor:
    """Random changes of place, focus, light and grain: float (N, 1, S, S), 0–255."""
    count, device = len(patches), patches.device
    affine = torch.zeros(count, 2, 3, device=device)
    turn, shear = (torch.randn(2, count, device=device) * 0.05).unbind()
    size = 1 + torch.randn(2, count, device=device) * 0.05
    affine[:, 0, 0], affine[:, 1, 1] = size[0], size[1]
    affine[:, 0, 1], affine[:, 1, 0] = turn + shear, -turn
    affine[:, :, 2] = torch.randn(count, 2, device=device) * 0.02
    where = nnf.affine_grid(affine, list(patches.shape), align_corners=False)
    moved = nnf.grid_sample(patches, where, padding_mode="border", align_corners=False)
    soft = nnf.avg_pool2d(nnf.pad(moved, [1] * 4, mode="replicate"), 3, stride=1)
    part = torch.rand(count, 1, 1, 1, device=device)
    part = torch.where(part < 0.67, torch.zeros_like(part), part)
    dark = 224.0 - (moved * (1 - part) + soft * part)
    dark = dark * torch.exp(torch.randn(count, 1, 1, 1, device=device) * 0.25)
    dark = dark + torch.randn(count, 1, 1, 1, device=device) * 5
    grain = torch.rand(count, 1, 1, 1, device=device) ** 2 * 12
    return (224.0 - dark + torch.randn_like(dark) * grain).clamp(0, 255)


def train(net: NotesNet, data: Fine, given: argparse.Namespace) -> dict[str, torch.Tensor]:
    """Train for the given minutes; returns the averaged weights."""
    fine, rows = torch.from_numpy(data[0]), torch.from_numpy(data[1]).long()
    busy = (rows[:, labels.NOTES] == 1).any(1).float()
    weight = torch.where(busy > 0, 1.0, 0.5 * busy.mean() / (1 - busy.mean()))
    optimiser = torch.optim.AdamW(net.parameters(), lr=given.rate, weight_decay=0.01)
    mean = {k: v.detach().clone() for k, v in net.state_dict().items()}
    steps, spent, path = 0, 0.0, given.out / "checkpoint.pt"
    if path.exists():
        state = torch.load(path, weights_only=True)
        net.load_state_dict(state["net"])
        optimiser.load_state_dict(state["optimiser"])
        mean, steps, spent = state["mean"], state["steps"], state["spent"]
    before, began, saved = spent, time.monotonic(), time.monotonic()
    while spent < given.minutes * 60:
        over = spent / (given.minutes * 60)
        rate = given.rate * min(1.0, (steps + 1) / 200) * 0.5 * (1 + math.cos(math.pi * over))
        for group in optimiser.param_groups:
            group["lr"] = rate
        at = torch.multinomial(weight, given.batch, replacement=True)
        patches, want = changed(fine[at, None].float()), rows[at][:, labels.NOTES]
        net.train()
        loss = nnf.binary_cross_entropy_with_logits(net(patches), want.float())
        optimiser.zero_grad(set_to_none=True)
        loss.backward()  # type: ignore[no-untyped-call]
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        steps += 1
        keep = min(0.998, (1 + steps) / (10 + steps))
        with torch.no_grad():
            for name, value in net.state_dict().items():
                if value.dtype.is_floating_point:
                    mean[name].lerp_(value, 1 - keep)
                else:
                    mean[name].copy_(value)
        spent = before + time.monotonic() - began
        if steps % 200 == 0:
            print(f"{spent:5.0f} s, step {steps}, loss {float(loss.detach()):.4f}", flush=True)
        if time.monotonic() - saved > 60:
            saved = time.monotonic()
            state = {"net": net.state_dict(), "optimiser": optimiser.state_dict(), "mean": mean}
            torch.save(state | {"steps": steps, "spent": spent}, path)
    print(f"ended after {steps} steps, {spent:.0f} s, cpu")
    return mean


def main() -> None:
    """Train and write ``weights.pt``."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--stock", type=Path, nargs="+", required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--minutes", type=float, default=30.0)
    parser.add_argument("--rate", type=float, default=2e-3)
    parser.add_argument("--batch", type=int, default=128)
    parser.add_argument("--threads", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    given.out.mkdir(parents=True, exist_ok=True)
    if given.threads:
        torch.set_num_threads(given.threads)
    torch.manual_seed(given.seed)
    torch.save(train(NotesNet(), held(given.stock), given), given.out / "weights.pt")


if __name__ == "__main__":
    main()
