"""The running mean of a network's weights, and how it lies in memory: what all training shares."""

from __future__ import annotations

import torch
from torch import nn


def placed(net: nn.Module, device: torch.device) -> None:
    """On the device, channels last: so an accelerator's convolutions run fastest."""
    net.to(device)
    for weights in net.parameters():
        if weights.dim() == 4:
            weights.data = weights.data.contiguous(memory_format=torch.channels_last)


@torch.no_grad()
def average(mean: dict[str, torch.Tensor], net: nn.Module, steps: int) -> None:
    """Move ``mean`` towards the weights after ``steps`` steps.

    Steadier and better calibrated than the last step's.
    """
    keep = min(0.998, (1 + steps) / (10 + steps))
    for name, value in net.state_dict().items():
        if value.dtype.is_floating_point:
            mean[name].lerp_(value, 1 - keep)
        else:
            mean[name].copy_(value)
