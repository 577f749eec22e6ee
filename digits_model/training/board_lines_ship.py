"""Weights of the network of a board's lines to the ONNX file that ships, with its manifest.

    python -m papernudge.digits_model.training.board_lines_ship --pages 100 --to vision/boards \
        --puzzles .work/boards.json --weights .work/lines/weights.pt --log .work/lines/log.txt

The accuracy in the manifest is that of the lattices traced in what the network says of frames, on
drawn pages of the split that training never saw, before a page is searched for frames. With
``--again`` the shipped network is measured and only its figures are written anew.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import warnings
from collections import Counter
from pathlib import Path
from typing import Any

import numpy as np
import torch

from papernudge.digits_model.files import session_of
from papernudge.digits_model.training.board_lines_net import BoardLinesNet
from papernudge.digits_model.training.board_lines_truth import frames, recipe, supplied
from papernudge.digits_model.training.crossings_ship import DATA
from papernudge.digits_model.training.crossings_truth import cell_of
from papernudge.digits_model.training.measure import Rate
from papernudge.digits_model.training.pages import draw
from papernudge.vision.boards.cleaned import AREA_STEP, GAIN, PAPER, SIDE, STEP
from papernudge.vision.boards.lattice import lattice_in

OUTPUTS = ("lines", "area")
COMMANDS = (
    "python -m papernudge.digits_model.training.pages pack .work/pages.npz",
    "python -m papernudge.digits_model.training.board_lines pack --puzzles .work/boards.json",
    "python -m papernudge.digits_model.training.board_lines train --pages .work/pages.npz"
    " --puzzles .work/boards.json --out .work/lines --minutes 3.3 --workers 15 --held-back 24"
    " --first 1200",
    "python -m papernudge.digits_model.training.board_lines_ship --weights .work/lines/weights.pt"
    " --log .work/lines/log.txt --puzzles .work/boards.json --pages 100 --to vision/boards",
)
FIRST = 870_000_000
"""Seed of the first page that is judged."""
MOVED = 0.35
"""By how much log-odds may move, in the mean square, when weights are rounded to 8 bits."""


def load(weights: Path) -> BoardLinesNet:
    """The network with these weights, ready to run on the CPU."""
    net = BoardLinesNet()
    net.load_state_dict(torch.load(weights, map_location="cpu", weights_only=True))
    return net.eval()


def export(net: BoardLinesNet, to: Path) -> None:
    """Write the network as ONNX, weights in 8 bits, arithmetic in fp32.

    Raises RuntimeError where onnxruntime's answers differ from the network's own by more than
    that rounding explains.
    """
    import onnx

    board = torch.full((1, 1, SIDE, SIDE), float(PAPER))
    board[..., 40:310:30, 40:310] += 60
    board[..., 40:310, 40:310:30] += 60
    board += torch.from_numpy(np.random.default_rng(0).normal(0, 4, (SIDE, SIDE))).float().round()
    with warnings.catch_warnings():
        # The tracing exporter is deprecated but needs no shape hints for networks this plain.
        warnings.simplefilter("ignore")
        torch.onnx.export(
            net, (board,), str(to), input_names=["board"], output_names=list(OUTPUTS), dynamo=False
        )
    model = onnx.load(str(to))
    slim(model)
    onnx.checker.check_model(model)
    onnx.save(model, str(to))
    shipped = session_of(to.read_bytes()).run(None, {"board": board.numpy()})
    with torch.no_grad():
        own = net(board)
    for name, theirs, ours in zip(OUTPUTS, shipped, own, strict=True):
        off = float(np.sqrt(np.mean((theirs - ours.numpy()) ** 2)))
        if off > MOVED:
            raise RuntimeError(f"{name} of the exported network is off by {off:.2g}")


def slim(model: Any) -> None:
    """Weights as integers with one scale a channel, and no names longer than they need be.

    ``model``: onnx.ModelProto, changed in place. A Cast and a Mul bring each weight back;
    onnxruntime works them out once, when it loads the file, which it does not do for
    DequantizeLinear. In a network this small names would take
    as much room as the weights.
    """
    from onnx import TensorProto, helper, numpy_helper

    graph = model.graph
    kept = {held.name for held in (*graph.input, *graph.output)}
    names: dict[str, str] = {}

    def short(name: str) -> str:
        return name if name in kept or not name else names.setdefault(name, f"{len(names):x}")

    for node in graph.node:
        node.name = ""
        node.input[:] = [short(name) for name in node.input]
        node.output[:] = [short(name) for name in node.output]
    for held in list(graph.initializer):
        name, weights = short(held.name), numpy_helper.to_array(held)
        graph.initializer.remove(held)
        if weights.ndim != 4:
            graph.initializer.append(numpy_helper.from_array(weights, name))
            continue
        scale = np.maximum(np.abs(weights).max(axis=(1, 2, 3), keepdims=True), 1e-12) / 127
        whole = np.round(weights / scale).astype(np.int8)
        graph.initializer.append(numpy_helper.from_array(whole, f"{name}.w"))
        graph.initializer.append(numpy_helper.from_array(scale.astype(np.float32), f"{name}.s"))
        cast = helper.make_node("Cast", [f"{name}.w"], [f"{name}.f"], to=TensorProto.FLOAT)
        back = helper.make_node("Mul", [f"{name}.f", f"{name}.s"], [name])
        graph.node.insert(0, back)
        graph.node.insert(0, cast)
    del graph.value_info[:]


def judged(path: Path, pages: int) -> dict[str, Any]:
    """How the lattice does that is traced in what the network of an ONNX file says.

    Of frames of boards, how many are told with the right number of cells, how many with a wrong
    one, and how far crossings lie off; of frames that are none's, how many are called a board's.
    """
    session = session_of(path.read_bytes())
    told: Counter[str] = Counter()
    off: list[float] = []
    for seed in range(FIRST, FIRST + pages):
        page = draw(recipe(seed, "test"))
        for grey, quad, mesh in frames(page, np.random.default_rng([seed, 53]), 4):
            found = lattice_in(grey, quad, session)
            if not mesh.size:
                told["none, called a board" if found else "none"] += 1
            elif found is None:
                told["board, not told"] += 1
            elif found.side != len(mesh) - 1:
                told["board, wrong number"] += 1
            else:
                told["board"] += 1
                turns = [np.rot90(found.mesh.crossings, k) - mesh for k in range(4)]
                errors = [np.linalg.norm(turn, axis=-1).ravel() / cell_of(mesh) for turn in turns]
                off += min(errors, key=lambda e: float(np.median(e))).tolist()
    boards = sum(told[k] for k in ("board", "board, not told", "board, wrong number"))
    nones = told["none"] + told["none, called a board"]
    return {
        "pages": pages,
        "frames of boards, told right": Rate(told["board"], boards).as_json(),
        "told with a wrong number of cells": told["board, wrong number"],
        "frames of no board, left alone": Rate(told["none"], nones).as_json(),
        "crossings, cells off, 50, 95 and 99.9 %": np.percentile(off, [50, 95, 99.9])
        .round(4)
        .tolist(),
    }


def manifest(path: Path, log: Path | None) -> dict[str, Any]:
    """What is to be known of the ONNX file, but its accuracy."""
    data = path.read_bytes()
    return {
        "sha256": hashlib.sha256(data).hexdigest(),
        "bytes": len(data),
        "input": {
            "name": "board",
            "shape": [1, 1, SIDE, SIDE],
            "type": "float32, 0-255: a frame laid square, how much darker than its surroundings,"
            " see papernudge.vision.boards.cleaned.laid",
            "paper": PAPER,
            "gain": GAIN,
            "normalisation": f"inside the network: (value - {PAPER}) / 32",
        },
        "output": {
            "lines": f"every {STEP} pixels: log-odds of a line along the board, and of one down it",
            "area": f"every {AREA_STEP} pixels: log-odds of the board",
        },
        "data": list(DATA),
        "commands": list(COMMANDS),
        "training_log": log.read_text("utf-8").splitlines() if log else [],
    }


def main() -> None:
    """Export one set of weights."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--weights", type=Path)
    parser.add_argument("--again", action="store_true", help="measure what ships")
    parser.add_argument("--log", type=Path, help="what training printed")
    parser.add_argument("--pages", type=int, default=100, help="drawn pages to be judged on")
    parser.add_argument("--supplies", type=Path, help="pack of typefaces and strokes")
    parser.add_argument("--puzzles", type=Path, help="the boards' puzzles")
    parser.add_argument("--to", type=Path, required=True, help="folder")
    given = parser.parse_args()
    supplied(given.supplies, given.puzzles)
    path, described = given.to / "lines.onnx", given.to / "lines.json"
    if given.again:
        told = json.loads(described.read_text(encoding="utf-8"))
    else:
        export(load(given.weights), path)
        told = manifest(path, given.log)
    told["accuracy"] = {"drawn frames, split test": judged(path, given.pages)}
    described.write_text(json.dumps(told, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    print(f"{path}: {path.stat().st_size} bytes; {told['accuracy']}")


if __name__ == "__main__":
    main()
