"""The network that finds crossings of block lines on a page, and what is said beside each place."""

from __future__ import annotations

import torch
from torch import nn

HEATS = 5
"""Outer corners, sides, inner crossings of block lines, other crossings, middles of grids."""
FINE = HEATS + 2
"""Outputs at every fourth pixel: the heats, and how far the nearest crossing is in x and y."""
STEPS = 5
"""Numbers that tell the steps from block to block, see :mod:`crossings_truth`."""
KINDS = 4
"""Nothing, a whole 9×9, a 9×9 that is cut off, a grid of another kind."""
COARSE = STEPS + KINDS
"""Outputs at every eighth pixel."""


def _conv(inputs: int, outputs: int, stride: int = 1, dilation: int = 1) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, dilation, dilation, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


def _mixed(inputs: int, outputs: int) -> nn.Sequential:
    return nn.Sequential(nn.Conv2d(inputs, outputs, 1, bias=False), nn.BatchNorm2d(outputs))


class _Residual(nn.Module):
    """Two convolutions beside which the input runs on (K. He et al., CVPR 2016)."""

    def __init__(self, channels: int, dilation: int = 1) -> None:
        super().__init__()
        self.first = _conv(channels, channels, 1, dilation)
        self.second = nn.Sequential(
            nn.Conv2d(channels, channels, 3, 1, 1, bias=False), nn.BatchNorm2d(channels)
        )

    def forward(self, seen: torch.Tensor) -> torch.Tensor:
        return nn.functional.relu(seen + self.second(self.first(seen)))


class CrossingNet(nn.Module):
    """A page's darkness to maps of crossings, steps and kinds.

    Input: float32 (N, 1, H, W), 0–255 as made by ``papernudge.vision.crossings.relative``, H and W
    multiples of 32. Output: ``fine`` (N, FINE, H/4, W/4), log-odds of each heat and offsets in
    units of four pixels, and ``coarse`` (N, COARSE, H/8, W/8), steps and logits of kinds. An
    encoder that sees wider and wider, and a decoder that joins what each scale saw
    (O. Ronneberger, P. Fischer and T. Brox, MICCAI 2015), sums in place of joins.
    """

    def __init__(self) -> None:
        super().__init__()
        self.start = nn.Sequential(
            nn.Conv2d(1, 12, 5, 2, 2, bias=False), nn.BatchNorm2d(12), nn.ReLU(inplace=True)
        )
        self.quarter = nn.Sequential(_conv(12, 32, 2), _conv(32, 32))
        self.eighth = nn.Sequential(_conv(32, 48, 2), _Residual(48))
        self.sixteenth = nn.Sequential(_conv(48, 80, 2), _Residual(80), _Residual(80, 2))
        self.wide = nn.Sequential(_conv(80, 128, 2), _Residual(128, 2), _Residual(128, 3))
        self.from_wide, self.at_sixteenth = _mixed(128, 80), _conv(80, 80)
        self.from_sixteenth, self.at_eighth = _mixed(80, 48), _conv(48, 48)
        self.from_eighth, self.at_quarter = _mixed(48, 32), _conv(32, 32)
        self.fine = nn.Conv2d(32, FINE, 1)
        self.coarse = nn.Conv2d(48, COARSE, 1)
        if self.fine.bias is not None:  # nearly every place shows nothing
            nn.init.constant_(self.fine.bias[:HEATS], -4.0)

    def forward(self, page: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Run the network; shapes as in the class's docstring."""
        # Plain paper becomes zero, which padding also is.
        quarter = self.quarter(self.start((page - 64.0) * (1 / 32)))
        eighth = self.eighth(quarter)
        sixteenth = self.sixteenth(eighth)
        wide = self.wide(sixteenth)
        sixteenth = self.at_sixteenth(_joined(self.from_wide(wide), sixteenth))
        eighth = self.at_eighth(_joined(self.from_sixteenth(sixteenth), eighth))
        quarter = self.at_quarter(_joined(self.from_eighth(eighth), quarter))
        return self.fine(quarter), self.coarse(eighth)


def _joined(coarse: torch.Tensor, fine: torch.Tensor) -> torch.Tensor:
    """The coarser map, spread to twice its size, with the finer one."""
    spread = nn.functional.interpolate(coarse, scale_factor=2.0, mode="nearest")
    return nn.functional.relu(spread + fine)
