"""Weights between those of two runs, one of which went on from the other.

    python -m papernudge.digits_model.training.between --one .work/start --two .work/harmed \
        --share 0.5 --to .work/between

What a leg on harmed pages gains is kept, and little of what came before is lost (M. Wortsman et
al., "Robust fine-tuning of zero-shot models", CVPR 2022). Takes every fold0.pt … final.pt.
"""

from __future__ import annotations

import argparse
import shutil
from pathlib import Path

import torch

Weights = dict[str, torch.Tensor]


def between(one: Weights, two: Weights, share: float) -> Weights:
    """``share`` of the way from ``one`` to ``two``; whole numbers are ``two``'s."""
    return {
        name: one[name].lerp(value, share) if value.dtype.is_floating_point else value
        for name, value in two.items()
    }


def main() -> None:
    """Average all weights of two folders."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--one", type=Path, required=True)
    parser.add_argument("--two", type=Path, required=True)
    parser.add_argument("--share", type=float, default=0.5)
    parser.add_argument("--to", type=Path, required=True)
    given = parser.parse_args()
    given.to.mkdir(parents=True, exist_ok=True)
    for path in sorted(given.two.glob("*.pt")):
        held = [torch.load(f / path.name, map_location="cpu", weights_only=True)
                for f in (given.one, given.two)]  # fmt: skip
        torch.save(between(held[0], held[1], given.share), given.to / path.name)
    shutil.copy(given.two / "folds.json", given.to / "folds.json")


if __name__ == "__main__":
    main()
