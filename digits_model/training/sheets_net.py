"""The network that tells what is printed on a flat board."""

from __future__ import annotations

import torch
from torch import nn

from papernudge.vision.boards.printed import BOARD, CELLS, EDGES
from papernudge.vision.boards.sheet import CELL, MARGIN

WIDE, DEEP, EDGE = 40, 48, 16
"""Channels of the picture, of cells, of edges."""


def apart(inputs: int, outputs: int, size: int, stride: int, wide: int = 1) -> nn.Sequential:
    """A convolution of each channel by itself, then one across channels (as of MobileNets:
    A. Howard et al., 2017), made even and cut at zero.
    """
    pad = wide * (size - 1) // 2
    return nn.Sequential(
        nn.Conv2d(inputs, inputs, size, stride, pad, wide, inputs, bias=False),
        nn.BatchNorm2d(inputs),
        nn.Conv2d(inputs, outputs, 1, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


def mixed(inputs: int, outputs: int) -> nn.Sequential:
    """A mixture of channels, made even and cut at zero."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 1, bias=False), nn.BatchNorm2d(outputs), nn.ReLU(inplace=True)
    )


class SheetNet(nn.Module):
    """A flat board to what is printed on it.

    Input: ``planes`` float32 (N, 3, P, P), blue, green, red, darkness as a share of the board's
    light paper (0 paper, 1 black), P = S · CELL + 2 · MARGIN; ``place`` float32 (N, 2, S, S): 1
    where a cell lies on the falling, on the rising diagonal. Output: log-odds: ``upright`` (N,
    EDGES, S, S - 1) of the edges between cells side by side, ``level`` (N, EDGES, S - 1, S) of
    those between cells above each other, ``cells`` (N, CELLS, S, S) and ``board`` (N, BOARD), as
    :mod:`papernudge.vision.boards.printed` names them.
    """

    def __init__(self) -> None:
        super().__init__()
        self.start = nn.Sequential(
            nn.Conv2d(3, 12, 4, 2, 1, bias=False),
            nn.BatchNorm2d(12),
            nn.ReLU(inplace=True),
            apart(12, 24, 4, 2),
        )
        self.near = apart(24, 24, 3, 1)
        self.lower = apart(24, WIDE, 4, 2)
        self.far = apart(WIDE, WIDE, 3, 1)
        self.tone = nn.Conv2d(6, 16, 2, 2)
        self.window = nn.Sequential(
            nn.Conv2d(WIDE, WIDE, 8, 4, 0, 1, WIDE, bias=False), nn.BatchNorm2d(WIDE)
        )
        self.joined = mixed(2 * WIDE + 18, DEEP)
        self.around = nn.ModuleList(apart(DEEP, DEEP, 3, 1, wide) for wide in (1, 2, 1))
        self.whole = nn.Sequential(
            nn.Conv2d(2 * DEEP, 12, 1), nn.ReLU(inplace=True), nn.Conv2d(12, DEEP, 1)
        )
        self.cells = nn.Conv2d(DEEP, CELLS, 1)
        self.board = nn.Linear(4 * DEEP, BOARD)
        self.upright, self.level = _edge((4, 6)), _edge((6, 4))
        self.beside = mixed(DEEP, 8)
        self.edges = nn.Sequential(mixed(3 * EDGE + 16, EDGE), nn.Conv2d(EDGE, EDGES, 1))

    def forward(
        self, planes: torch.Tensor, place: torch.Tensor
    ) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor, torch.Tensor]:
        """Run the network; shapes as in the class's docstring."""
        return self.tell(*self.look(planes, place), place)

    def look(
        self, planes: torch.Tensor, place: torch.Tensor
    ) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor]:
        """What is seen of cells, (N, 2 WIDE + 18, S, S), and of both courses of edges, (N, EDGE, S,
        S - 1) and (N, EDGE, S - 1, S).
        """
        seen = self.start(planes)
        seen = self.lower(seen + self.near(seen))
        seen = seen + self.far(seen)  # four places a cell, half a cell of rim
        inner = seen[:, :, 2:-2, 2:-2]
        parts = [self.window(seen), nn.functional.max_pool2d(inner, 4), self.tone(_paper(planes))]
        upright, level = self.upright(seen[:, :, 2:-2, 3:-3]), self.level(seen[:, :, 3:-3, 2:-2])
        return torch.cat([*parts, place], 1), upright, level

    def tell(
        self, known: torch.Tensor, upright: torch.Tensor, level: torch.Tensor, place: torch.Tensor
    ) -> tuple[torch.Tensor, torch.Tensor, torch.Tensor, torch.Tensor]:
        """What that means, cells beside cells; shapes as in the class's docstring."""
        cells = self.joined(known)
        for number, around in enumerate(self.around):
            cells = cells + around(cells)
            if number == 1:
                pooled = torch.cat([cells.mean((2, 3), True), cells.amax((2, 3), True)], 1)
                cells = cells + self.whole(pooled)
        told = self.beside(cells)
        upright = self._edges(upright, told[:, :, :, :-1], told[:, :, :, 1:])
        level = self._edges(level, told[:, :, :-1], told[:, :, 1:])
        lines = [
            (cells * place[:, k : k + 1]).sum((2, 3)) / place[:, k : k + 1].sum((2, 3))
            for k in (0, 1)
        ]
        board = self.board(torch.cat([cells.mean((2, 3)), cells.amax((2, 3)), *lines], 1))
        return upright, level, self.cells(cells), board

    def _edges(self, seen: torch.Tensor, one: torch.Tensor, two: torch.Tensor) -> torch.Tensor:
        """What edges are, beside all others of their course and the cells on both sides."""
        usual = seen.mean((2, 3), True).expand_as(seen)
        most = seen.amax((2, 3), True).expand_as(seen)
        told: torch.Tensor = self.edges(torch.cat([seen, usual, most, one, two], 1))
        return told


def _edge(size: tuple[int, int]) -> nn.Sequential:
    """A look at a window around each edge."""
    return nn.Sequential(
        nn.Conv2d(WIDE, WIDE, size, 4, 0, 1, WIDE, bias=False),
        nn.BatchNorm2d(WIDE),
        mixed(WIDE, EDGE),
    )


def _paper(planes: torch.Tensor) -> torch.Tensor:
    """How dark the paper of each quarter of a cell is, (N, 6, 2 S, 2 S): against what is around it,
    and against the lightest there.
    """
    rim = MARGIN // 4
    spots = nn.functional.avg_pool2d(planes, 4)[:, :, rim:-rim, rim:-rim]
    dark = -nn.functional.max_pool2d(-spots, CELL // 8)
    tone = -torch.log((1 - dark).clamp(min=0.05))
    around = nn.functional.avg_pool2d(tone, 9, 1, 4, count_include_pad=False)
    least = -nn.functional.max_pool2d(-tone, 9, 1, 4)
    return torch.cat([(12 * (tone - around)).clamp(-3, 3), (12 * (tone - least)).clamp(max=4)], 1)
