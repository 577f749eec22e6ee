"""Weights to the ONNX files that ship.

python -m papernudge.digits_model.training.export --weights .work/run/weights.pt --to .work/run
"""

from __future__ import annotations

import argparse
import copy
import warnings
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch import nn

from papernudge.digits_model.files import session_of
from papernudge.digits_model.training.network import TwoLooks, context
from papernudge.digits_model.training.network_notes import NotesNet
from papernudge.vision.patches import FINE_SIDE, SIDE

ROUNDING = 0.05
"""By how much of their spread logits may move when weights are rounded to 8 bits."""
MOVED = 0.1
"""By how much log-odds of notes may in any case: no chance moves by more than a fortieth."""


def load(weights: Path) -> TwoLooks:
    """Both looks with these weights, ready to run on the CPU."""
    net = TwoLooks()
    net.load_state_dict(torch.load(weights, map_location="cpu", weights_only=True))
    return net.eval()


def export(net: TwoLooks, folder: Path, first: str = "model", closer: str = "closer") -> None:
    """Write both looks into ``folder`` as ONNX, with a free number of patches.

    Weights are stored in 8 bits and widened when the file is loaded: the arithmetic is fp32.
    Raises RuntimeError where onnxruntime's answers differ from the network's own by more than
    that rounding explains.
    """
    patches = torch.from_numpy(
        np.random.default_rng(0).integers(0, 256, (81, 3, SIDE, SIDE)).astype(np.float32)
    )
    with torch.no_grad():
        page = context(*net.first(patches))[None]
    quick = copy.deepcopy(net.first)
    with torch.no_grad():
        next(quick.parameters()).mul_(quick.scale)  # the first convolution's weights
    quick.scale = 1.0
    named = {"patches": patches}
    write(quick, named, ["logits", "features"], folder / f"{first}.onnx", [0])
    named = {"patches": patches[None, :20], "page": page}
    write(net.closer, named, ["logits"], folder / f"{closer}.onnx", [1])


def write(
    net: nn.Module,
    inputs: dict[str, torch.Tensor],
    outputs: list[str],
    to: Path,
    free: list[int],
    moved: float = 0.0,
    small: int = 0,
) -> None:
    """Export, narrow the weights, and compare all outputs.

    ``free``: axes of any length; ``moved``: by how much an output may be off in any case;
    ``small``: see :func:`narrow`. Raises RuntimeError as :func:`export` does.
    """
    import onnx

    with warnings.catch_warnings():
        # The tracing exporter is deprecated but needs no shape hints for networks this plain.
        warnings.simplefilter("ignore")
        torch.onnx.export(
            net,
            tuple(inputs.values()),
            str(to),
            input_names=list(inputs),
            output_names=outputs,
            dynamic_axes={n: {axis: f"{n} {axis}" for axis in free} for n in [*inputs, *outputs]},
            dynamo=False,
        )
    model = onnx.load(str(to))
    narrow(model, small)
    onnx.save(model, str(to))
    _same(net, inputs, to, outputs, moved)


def narrow(model: Any, small: int = 0) -> None:
    """Store all but the smallest weights in 8 bits: integers and one scale a row.

    ``model``: onnx.ModelProto, changed in place; ``small``: how many weights are few, otherwise as
    many as suits networks of a hundred times as many. A Cast and a Mul bring each back; onnxruntime
    works them out once, when it loads the file. Small convolutions stand at the start, where
    all that follows would feel the rounding, and little would be saved.
    """
    from onnx import TensorProto, helper, numpy_helper

    graph = model.graph
    for held in list(graph.initializer):
        weights = numpy_helper.to_array(held)
        least = small or (6000 if weights.ndim == 4 else 2000)
        if weights.dtype != np.float32 or weights.size < least or weights.ndim < 2:
            continue
        # Rows of a matrix that is multiplied from the right are its columns.
        users = [n.op_type for n in graph.node if held.name in n.input]
        over = (0,) if users == ["MatMul"] else tuple(range(1, weights.ndim))
        scale = np.maximum(np.abs(weights).max(axis=over, keepdims=True), 1e-12) / 127
        whole = np.round(weights / scale).astype(np.int8)
        name = held.name
        graph.initializer.remove(held)
        graph.initializer.append(numpy_helper.from_array(whole, f"{name}.whole"))
        graph.initializer.append(numpy_helper.from_array(scale.astype(np.float32), f"{name}.scale"))
        cast = helper.make_node("Cast", [f"{name}.whole"], [f"{name}.wide"], to=TensorProto.FLOAT)
        back = helper.make_node("Mul", [f"{name}.wide", f"{name}.scale"], [name])
        graph.node.insert(0, back)
        graph.node.insert(0, cast)


class _OnePage(nn.Module):
    """The notes' network as it ships: cells of one page, (N, 1, S, S) to (N, 9)."""

    def __init__(self, net: NotesNet) -> None:
        super().__init__()
        self.net = net

    def forward(self, patches: torch.Tensor) -> torch.Tensor:
        notes: torch.Tensor = self.net(patches[None])[0][0]
        return notes


def export_notes(net: NotesNet, to: Path) -> None:
    """Write the network of the notes as ONNX, for any number of one page's patches.

    Stored and checked as :func:`export` does it.
    """
    patches = np.random.default_rng(0).integers(0, 256, (7, 1, FINE_SIDE, FINE_SIDE))
    named = {"patches": torch.from_numpy(patches.astype(np.float32))}
    write(_OnePage(net).eval(), named, ["notes"], to, [0], MOVED)


def _same(
    net: nn.Module, inputs: dict[str, torch.Tensor], path: Path, outputs: list[str], moved: float
) -> None:
    session = session_of(path.read_bytes())
    shipped = session.run(outputs, {name: value.numpy() for name, value in inputs.items()})
    with torch.no_grad():
        answer = net(*inputs.values())
    own = answer if isinstance(answer, tuple) else (answer,)
    for name, theirs, ours in zip(outputs, shipped, own, strict=True):
        off = float(np.sqrt(np.mean((theirs - ours.numpy()) ** 2)))
        if off > max(moved, ROUNDING * float(ours.std())):
            raise RuntimeError(f"{name} of the exported network is off by {off:.2g}")


def main() -> None:
    """Export one set of weights."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--weights", type=Path, required=True)
    parser.add_argument("--to", type=Path, required=True, help="folder")
    given = parser.parse_args()
    export(load(given.weights), given.to)
    for name in ("model", "closer"):
        size = (given.to / f"{name}.onnx").stat().st_size
        print(f"{given.to / name}.onnx: {size / 2**20:.2f} MiB")


if __name__ == "__main__":
    main()
