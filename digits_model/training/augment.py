"""Changes to patches that keep their labels, done in batches on the training device."""

from __future__ import annotations

from functools import partial

import torch
from torch.nn import functional as nnf

BEND = 0.03
"""How far a bend moves ink at most, standard deviation in half sides of a patch."""


def _per(count: int, alike: int, *shape: int, normal: bool, device: torch.device) -> torch.Tensor:
    """Random numbers (count, *shape), the same for every ``alike`` patches in a row."""
    draw = torch.randn if normal else torch.rand
    pages = draw(-(-count // alike), *shape, device=device)
    return pages.repeat_interleave(alike, 0)[:count]


def _shift(patches: torch.Tensor, strength: float) -> torch.Tensor:
    """Small turn, scale, shear and shift, as of a mesh a little off, and a bend.

    Bent as no hand bends twice, few writers stand for many (P. Simard, D. Steinkraus and
    J. Platt, "Best practices for convolutional neural networks", ICDAR 2003).
    """
    count, device = len(patches), patches.device
    turn, shear = (torch.randn(2, count, device=device) * 0.05 * strength).unbind()
    size = 1 + torch.randn(2, count, device=device) * 0.04 * strength
    move = torch.randn(count, 2, device=device) * 0.03 * strength
    affine = torch.zeros(count, 2, 3, device=device)
    affine[:, 0, 0], affine[:, 1, 1] = size[0], size[1]
    affine[:, 0, 1], affine[:, 1, 0] = turn + shear, -turn
    affine[:, :, 2] = move
    where = nnf.affine_grid(affine, list(patches.shape), align_corners=False)
    bend = torch.rand(count, 1, 1, 1, device=device) * BEND * strength
    bent = torch.randn(count, 2, 7, 7, device=device) * bend
    bent = nnf.interpolate(bent, list(patches.shape[2:]), mode="bilinear", align_corners=False)
    where = where + bent.permute(0, 2, 3, 1)
    return nnf.grid_sample(patches, where, padding_mode="border", align_corners=False)


def _blur(patches: torch.Tensor, alike: int) -> torch.Tensor:
    """A box over a random third of the patches; a wide one would leave small digits unreadable."""
    narrow, wide = (
        nnf.avg_pool2d(nnf.pad(patches, [k // 2] * 4, mode="replicate"), k, stride=1)
        for k in (3, 5)
    )
    per = partial(_per, len(patches), alike, 1, 1, 1, normal=False, device=patches.device)
    part, which = per(), per()
    soft = torch.where(which < 0.75, narrow, wide)
    part = torch.where(part < 0.67, torch.zeros_like(part), part)
    return patches * (1 - part) + soft * part


def _tint(patches: torch.Tensor, alike: int) -> torch.Tensor:
    """Contrast, brightness, a cast, sometimes no colour at all, and grain."""
    count, device = len(patches), patches.device
    per = partial(_per, count, alike, device=device)
    dark = 224.0 - patches
    gain = torch.exp(per(1, 1, 1, normal=True) * 0.22)
    cast = torch.exp(per(3, 1, 1, normal=True) * 0.08)
    dark = dark * gain * cast
    grey = dark.mean(1, keepdim=True)
    dark = torch.where(per(1, 1, 1, normal=False) < 0.12, grey, dark)
    dark = dark + torch.randn(count, 1, 1, 1, device=device) * 5
    grain = per(1, 1, 1, normal=False) ** 2 * 14
    return (224.0 - dark + torch.randn_like(dark) * grain).clamp(0, 255)


def augment(patches: torch.Tensor, strength: float = 1.0, alike: int = 1) -> torch.Tensor:
    """Random changes of place, focus, light and grain.

    ``patches``: float (N, 3, S, S), 0–255; every ``alike`` of them in a row come from one page
    and are given the same focus and light. Returns the same shape.
    """
    return _tint(_blur(_shift(patches, strength), alike), alike)


def pens(device: torch.device) -> torch.Tensor:
    """Colours of some pens, blue, green, red: float (4, 3)."""
    found = [[40, 40, 40], [150, 60, 40], [45, 45, 190], [110, 110, 110]]
    return torch.tensor(found, dtype=torch.float32, device=device)


def lay_on(
    patches: torch.Tensor, digits: torch.Tensor, colours: torch.Tensor, alike: int = 1
) -> torch.Tensor:
    """Write scanned digits into blank patches in some pen's colour, one of ``colours``.

    ``patches``: float (N, 3, S, S), 0–255, without a mark; ``digits``: float (N, 1, 28, 28), 0
    for paper to 1 for ink; every ``alike`` patches in a row come from one page and share pen and
    size. Returns patches of the same shape.
    """
    count, device = len(patches), patches.device
    per = partial(_per, count, alike, device=device)
    size = 1.3 + per(normal=False) * 0.95
    size = size * torch.exp(torch.randn(count, device=device) * 0.08)
    wide = torch.exp(torch.randn(count, device=device) * 0.08)
    affine = torch.zeros(count, 2, 3, device=device)
    affine[:, 0, 0], affine[:, 1, 1] = size * wide, size / wide
    affine[:, 0, 1] = torch.randn(count, device=device) * 0.12
    affine[:, :, 2] = torch.randn(count, 2, device=device) * 0.13
    where = nnf.affine_grid(affine, [count, 1, *patches.shape[2:]], align_corners=False)
    ink = nnf.grid_sample(digits, where, align_corners=False)
    ink = (ink * (0.6 + 1.2 * torch.rand(count, 1, 1, 1, device=device))).clamp(0, 1)
    pen = colours[(per(normal=False) * len(colours)).long()]
    pen = (pen + per(3, normal=True) * 22).clamp(0, 200)[:, :, None, None]
    strong = 0.55 + 0.45 * per(1, 1, 1, normal=False)
    return patches * (1 - ink * strong) + pen * ink * strong
