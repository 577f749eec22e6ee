"""The network that says which cells can be seen: the whole grid, small, with its surroundings."""

from __future__ import annotations

import torch
from torch import nn
from torch.nn import functional as nnf

from papernudge.digits_model.seen import NAMES

FINE, WIDE = 32, 64
"""Channels at three places a cell and at one."""


def _conv(inputs: int, outputs: int, stride: int = 1, wide: int = 1, pad: int = -1) -> nn.Module:
    pad = wide if pad < 0 else pad
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, pad, dilation=wide, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


class _Residual(nn.Module):
    """Two convolutions beside which the input runs on (K. He et al., CVPR 2016)."""

    def __init__(self, channels: int, wide: int) -> None:
        super().__init__()
        self.first = _conv(channels, channels)
        self.second = nn.Sequential(
            nn.Conv2d(channels, channels, 3, 1, wide, dilation=wide, bias=False),
            nn.BatchNorm2d(channels),
        )

    def forward(self, seen: torch.Tensor) -> torch.Tensor:
        return nnf.relu(seen + self.second(self.first(seen)))


class SeenNet(nn.Module):
    """Sheets to what can be seen of their cells.

    Input: float32 (N, 3, 198, 198), blue, green, red, 0–255, as :mod:`papernudge.digits_model.seen`
    describes them. Output: log-odds float32 (N, 81, len(NAMES)). Light is shown twice, as it is
    and by its logarithm: in black shadow few grey levels tell ink from paper. 65 million
    multiplications a grid: a cell costs a third of its first look.
    """

    def __init__(self) -> None:
        super().__init__()
        self.start = nn.Sequential(_conv(6, 16, 2), _conv(16, FINE, 3, pad=0))
        self.fine = nn.Sequential(_conv(FINE, FINE), _Residual(FINE, 2))
        self.wide = nn.Sequential(_conv(FINE, WIDE, 3, pad=0), _Residual(WIDE, 1))
        self.page = nn.Linear(WIDE, WIDE)
        self.end = _Residual(WIDE, 2)
        self.heads = nn.Conv2d(WIDE, len(NAMES), 1)

    def forward(self, sheets: torch.Tensor) -> torch.Tensor:
        """Run the network; shapes as in the class's docstring."""
        light = torch.cat([sheets / 128 - 1, torch.log((sheets + 4) / 64)], 1)
        cells = self.wide(self.fine(self.start(light)))
        page = nnf.relu(self.page(cells.mean((2, 3))))
        cells = self.end(cells + page[:, :, None, None])
        cells = nnf.dropout(cells, 0.1, self.training)
        said: torch.Tensor = self.heads(cells)[:, :, 1:-1, 1:-1].flatten(2).transpose(1, 2)
        return said
