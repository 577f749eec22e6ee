"""Weights: their running mean, how they lie in memory, what is kept: what all training shares."""

from __future__ import annotations

from typing import Any

import torch
from torch import nn


def placed(net: nn.Module, device: torch.device) -> None:
    """On the device, channels last: so an accelerator's convolutions run fastest."""
    net.to(device)
    for weights in net.parameters():
        if weights.dim() == 4:
            weights.data = weights.data.contiguous(memory_format=torch.channels_last)


@torch.no_grad()
def average(mean: dict[str, torch.Tensor], net: nn.Module, share: torch.Tensor | float) -> None:
    """Move ``mean`` towards the weights by this share.

    Steadier and better calibrated than the last step's.
    """
    for name, value in net.state_dict().items():
        if value.dtype.is_floating_point:
            mean[name].lerp_(value, share)
        else:
            mean[name].copy_(value)


def share_after(steps: int, most: float = 0.998) -> float:
    """How much of the mean the next step's weights make up: less with every step, to 1 - most."""
    return 1 - min(most, (1 + steps) / (10 + steps))


def kept(optimiser: torch.optim.Optimizer) -> dict[str, Any]:
    """The optimiser's state at half the size, for a checkpoint: moments need few digits."""
    state = optimiser.state_dict()
    state["state"] = {
        number: {name: value.bfloat16() if value.dim() else value for name, value in held.items()}
        for number, held in state["state"].items()
    }
    return state
