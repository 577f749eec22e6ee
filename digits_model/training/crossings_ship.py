"""Weights of the network of crossings to the ONNX file that ships, with its manifest.

    python -m papernudge.digits_model.training.crossings_ship --pages 60 --to vision
        --weights .work/crossings/weights.pt --log .work/crossings/log.txt

The accuracy in the manifest is the network's own, before anything is flattened, on drawn pages
of the split that training never saw.
"""

from __future__ import annotations

import argparse
import hashlib
import json
from pathlib import Path
from typing import Any

import numpy as np
import torch

from papernudge.digits_model.files import session_of
from papernudge.digits_model.training.crossings_net import CrossingNet
from papernudge.digits_model.training.crossings_truth import cell_of, grids_of
from papernudge.digits_model.training.export import write
from papernudge.digits_model.training.pages import draw, preset
from papernudge.vision.crossings import COARSE, FINE, PAPER, Kind, Seen, Sketch
from papernudge.vision.find import work_view

OUTPUTS = ("fine", "coarse")
COMMANDS = (
    "python -m papernudge.digits_model.training.pages pack .work/pages.npz",
    "python -m papernudge.digits_model.training.crossings --pages .work/pages.npz"
    " --out .work/crossings --minutes 8.2 --workers 15",
    "python -m papernudge.digits_model.training.crossings_ship"
    " --weights .work/crossings/weights.pt --log .work/crossings/log.txt --pages 60 --to vision",
)
DATA = (
    {
        "what": "drawn pages: typefaces as listed in digits_model/training/pages/fonts.json, pen"
        " strokes, own puzzles; no photo",
        "licence": "typefaces: free licences, each named in that file; none is shipped",
    },
    {
        "what": "Pen-Based Recognition of Handwritten Digits, pen trajectories of 30 writers",
        "source": "E. Alpaydin, F. Alimoglu, UCI Machine Learning Repository, 1998",
        "licence": "CC-BY-4.0",
    },
)
FIRST = 880_000
"""Seed of the first page that is judged."""
RIGHT = 0.35
"""Cells within which every crossing of block lines must lie for a grid to count as seen."""


def load(weights: Path) -> CrossingNet:
    """The network with these weights, ready to run on the CPU."""
    net = CrossingNet()
    net.load_state_dict(torch.load(weights, map_location="cpu", weights_only=True))
    return net.eval()


def export(net: CrossingNet, to: Path) -> None:
    """Write the network as ONNX for pictures of any size, weights in 8 bits, arithmetic in fp32.

    Raises RuntimeError where onnxruntime's answers differ from the network's own by more than
    that rounding explains.
    """
    page = torch.from_numpy(np.random.default_rng(0).normal(66, 8, (1, 1, 64, 96)))
    write(net, {"page": page.round().float()}, list(OUTPUTS), to, [2, 3])


def judged(path: Path, pages: int, name: str = "hard") -> dict[str, Any]:
    """How the network of an ONNX file does on drawn pages of the test split.

    Of their whole 9×9 grids, how many are seen with every crossing of block lines within RIGHT
    cells and called plain, and how far those lie off; and how many others it calls plain.
    """
    session = session_of(path.read_bytes())
    whole = seen = wrong = 0
    off: list[float] = []
    for seed in range(FIRST, FIRST + pages):
        page = draw(preset(name, seed, split="test"))
        view, scale = work_view(page.image)
        sketches = [s for s in Seen(view, session).grids() if s.chance > 0.6 and s.plain > 0.5]
        for truth, grid in zip(page.truth.grids, grids_of(page.truth.grids), strict=True):
            middle = (truth.corners.mean(axis=0) + 0.5) / scale - 0.5
            near = [s for s in sketches if _holds(s, middle)]
            if not grid.plain or grid.crossings is None:
                wrong += bool(near)
                continue
            if truth.kind != "puzzle":
                continue
            whole += 1
            true = (grid.crossings + 0.5) / scale - 0.5
            errors = [_error(s, true) for s in near]
            best = min(errors, key=lambda e: float(e.max()), default=np.full(16, np.inf))
            if best.max() < RIGHT:
                seen += 1
                off += best.tolist()
    spread = np.percentile(off, [50, 95]).round(4).tolist() if off else []
    return {
        "pages": pages,
        "whole grids": whole,
        "seen": seen,
        "grids of other kinds called plain": wrong,
        "crossings of block lines, cells off, 50 and 95 %": spread,
    }


def _holds(sketch: Sketch, point: Any) -> bool:
    import cv2

    x, y = (float(v) for v in point)
    return cv2.pointPolygonTest(sketch.corners.astype(np.float32), (x, y), False) > 0


def _error(sketch: Sketch, true: Any) -> Any:
    """Distances (16,) of the crossings of block lines, cells, in the best of the four turns."""
    turns = [np.rot90(sketch.blocks, k) - true[::3, ::3] for k in range(4)]
    errors = [np.linalg.norm(turn, axis=-1).ravel() / cell_of(true) for turn in turns]
    return min(errors, key=lambda e: float(np.median(e)))


def manifest(path: Path, log: Path | None, pages: int) -> dict[str, Any]:
    """What is to be known of the ONNX file."""
    data = path.read_bytes()
    return {
        "sha256": hashlib.sha256(data).hexdigest(),
        "bytes": len(data),
        "input": {
            "name": "page",
            "shape": ["1", 1, "height", "width, both multiples of 32"],
            "type": "float32, 0-255: how much darker than its surroundings, see"
            " papernudge.vision.crossings.relative",
            "paper": PAPER,
            "normalisation": f"inside the network: (value - {PAPER}) / 32",
        },
        "output": {
            "fine": f"every {FINE} pixels: log-odds of corners, sides, inner crossings of block"
            " lines, other crossings and middles of grids; x and y to the nearest crossing, units"
            f" of {FINE} pixels",
            "coarse": f"every {COARSE} pixels: five numbers of the steps from block to block;"
            f" logits of {', '.join(kind.name.lower() for kind in Kind)}",
        },
        "data": list(DATA),
        "commands": list(COMMANDS),
        "training_log": log.read_text("utf-8").splitlines()[-2:] if log else [],
        "accuracy": {f"drawn {name}": judged(path, pages, name) for name in ("newspaper", "hard")},
    }


def main() -> None:
    """Export one set of weights."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--weights", type=Path, required=True)
    parser.add_argument("--log", type=Path, help="what training printed")
    parser.add_argument("--pages", type=int, default=60, help="drawn pages to be judged on")
    parser.add_argument("--to", type=Path, required=True, help="folder")
    given = parser.parse_args()
    path = given.to / "crossings.onnx"
    export(load(given.weights), path)
    told = manifest(path, given.log, given.pages)
    path.with_suffix(".json").write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n")
    print(f"{path}: {path.stat().st_size / 2**20:.2f} MiB; {told['accuracy']}")


if __name__ == "__main__":
    main()
