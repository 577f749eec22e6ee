"""The network: four small convolutions more than a pocket calculator, sized for one core."""

from __future__ import annotations

import torch
from torch import nn

from papernudge.digits_model.layout import FEATURES, OUTPUTS
from papernudge.vision.patches import FINE_SIDE


def _block(inputs: int, outputs: int, stride: int) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, stride, 1, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )


class CellNet(nn.Module):
    """Patch to logits and features.

    Input: float32 (N, 3, 48, 48), channels blue, green, red, 0–255 as cut by
    ``papernudge.vision.patches``. Output: logits (N, OUTPUTS) in the order of
    ``papernudge.digits_model.layout`` and features (N, FEATURES), both float32.
    Width is chosen so that 324 patches pass in 15 ms on one core: 3.7 million
    multiplications a patch, in channel counts that are multiples of 16.
    """

    def __init__(self) -> None:
        super().__init__()
        self.start = nn.Sequential(_block(3, 16, 2), _block(16, 32, 2))
        self.look = _block(32, 32, 1)
        self.end = nn.Sequential(_block(32, 48, 2), _block(48, 48, 1))
        self.squeeze = nn.Sequential(
            nn.Flatten(), nn.Linear(48 * 6 * 6, FEATURES), nn.ReLU(inplace=True)
        )
        self.heads = nn.Linear(FEATURES, OUTPUTS)

    def forward(self, patches: torch.Tensor) -> tuple[torch.Tensor, torch.Tensor]:
        """Run the network; shapes as in the class's docstring."""
        # Darkness instead of brightness: paper becomes zero, which padding also is.
        wide = self.start((224.0 - patches) * (1.0 / 96.0))
        features = self.squeeze(self.end(wide + self.look(wide)))
        return self.heads(nn.functional.dropout(features, 0.2, self.training)), features


class NotesNet(nn.Module):
    """Fine patch to the small notes it holds.

    Input: float32 (N, 1, 80, 80), grey, 0–255, as cut by ``papernudge.vision.patches.cut_fine``.
    Output: log-odds (N, 9) that a note of each digit stands there, wherever it stands. Every place
    of a 20×20 raster says whether a digit is centred there; a digit is noted unless no
    place shows it (noisy-or pooling over instances: P. Viola, J. Platt and C. Zhang, "Multiple
    instance boosting for object detection", NIPS 2005). So one shape learnt in one corner
    is known in all, from few examples. A struck-out note counts as none.
    """

    def __init__(self) -> None:
        super().__init__()
        self.start = nn.Sequential(_block(1, 12, 2), _block(12, 24, 2))
        self.look = nn.Sequential(_block(24, 32, 1), _wide(32, 40))
        last = nn.Conv2d(48, 9, 1)
        self.digits = nn.Sequential(nn.Conv2d(42, 48, 1), nn.ReLU(), last)
        # Where in the cell a place is: solvers who keep a raster in mind put a 5 in the middle.
        at = torch.linspace(-1, 1, FINE_SIDE // 4)
        place = torch.stack(torch.meshgrid(at, at, indexing="ij"))
        self.place = nn.Buffer(place[None], persistent=False)
        if last.bias is not None:  # nearly every place shows nothing
            nn.init.constant_(last.bias, -7.0)

    def forward(self, patches: torch.Tensor) -> torch.Tensor:
        """Run the network; shapes as in the class's docstring."""
        seen = self.look(self.start((224.0 - patches) * (1.0 / 96.0)))
        place = torch.zeros_like(seen[:, :2]) + self.place  # any number of patches, when exported
        seen = torch.cat([seen, place], 1)
        # -log of the chance that no place shows the digit; the floor keeps the logarithm finite.
        shown = nn.functional.softplus(self.digits(seen)).sum((2, 3)).clamp(1e-5, 40.0)
        return shown + torch.log1p(-torch.exp(-shown))


def _wide(inputs: int, outputs: int) -> nn.Sequential:
    """A block that sees twice as far: a whole note and what surrounds it."""
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, 3, 1, 2, dilation=2, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU(inplace=True),
    )
