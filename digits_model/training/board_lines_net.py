"""The network that sees a board's ruled lines and nothing else."""

from __future__ import annotations

import torch
from torch import nn

LINES = 2
"""Maps at every second pixel: lines along the board, lines down it."""


def _apart(inputs: int, outputs: int, stride: int = 1, dilation: int = 1) -> nn.Sequential:
    """A convolution of each channel by itself, then one across channels (F. Chollet, CVPR 2017)."""
    reach = 2 * dilation
    return nn.Sequential(
        nn.Conv2d(inputs, inputs, 5, stride, reach, dilation, groups=inputs, bias=False),
        nn.BatchNorm2d(inputs),
        nn.Conv2d(inputs, outputs, 1, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


def _mixed(inputs: int, outputs: int) -> nn.Sequential:
    return nn.Sequential(nn.Conv2d(inputs, outputs, 1, bias=False), nn.BatchNorm2d(outputs))


class BoardLinesNet(nn.Module):
    """A frame laid square to maps of its ruled lines and of the board.

    Input: float32 (N, 1, S, S), 0–255 as made by ``papernudge.vision.boards.cleaned.laid``, S a
    multiple of 16. Output: log-odds ``lines`` (N, LINES, S/2, S/2) and ``area`` (N, 1, S/8, S/8).
    An encoder that sees wider and wider and a decoder that joins what each scale saw
    (O. Ronneberger, P. Fischer and T. Brox, MICCAI 2015), sums in place of joins, kept small.
    """

    def __init__(self) -> None:
        super().__init__()
        self.start = nn.Sequential(
            nn.Conv2d(1, 16, 5, 2, 2, bias=False),
            nn.BatchNorm2d(16),
            nn.ReLU(inplace=True),
            _apart(16, 16),
        )
        self.quarter = nn.Sequential(_apart(16, 24, 2), _apart(24, 24))
        self.eighth = nn.Sequential(_apart(24, 32, 2), _apart(32, 32))
        self.wide = _apart(32, 48, 2)
        self.wider = nn.ModuleList([_apart(48, 48, 1, 1), _apart(48, 48, 1, 2)])
        self.to_eighth, self.at_eighth = _mixed(48, 32), _apart(32, 32)
        self.to_quarter, self.at_quarter = _mixed(32, 24), _apart(24, 24)
        self.to_half, self.at_half = _mixed(24, 16), _apart(16, 16)
        self.lines, self.area = nn.Conv2d(16, LINES, 3, 1, 1), nn.Conv2d(32, 1, 1)
        if self.lines.bias is not None:  # most places lie on no line
            nn.init.constant_(self.lines.bias, -2.5)

    def forward(self, board: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Run the network; shapes as in the class's docstring."""
        # Plain paper becomes zero, which padding also is.
        half = self.start((board - 64.0) * (1 / 32))
        quarter = self.quarter(half)
        eighth = self.eighth(quarter)
        wide = self.wide(eighth)
        for wider in self.wider:
            wide = wide + wider(wide)
        eighth = self.at_eighth(_joined(self.to_eighth(wide), eighth))
        quarter = self.at_quarter(_joined(self.to_quarter(eighth), quarter))
        half = self.at_half(_joined(self.to_half(quarter), half))
        return self.lines(half), self.area(eighth)


def _joined(coarse: torch.Tensor, fine: torch.Tensor) -> torch.Tensor:
    """The coarser map, spread to twice its size, with the finer one."""
    spread = nn.functional.interpolate(coarse, scale_factor=2.0, mode="nearest")
    return nn.functional.relu(spread + fine)
