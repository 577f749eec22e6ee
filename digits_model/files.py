"""Files of the networks that ship, each with a manifest beside it that names its hash."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from importlib import resources
from typing import Any


def manifest_of(package: str, name: str) -> dict[str, Any]:
    """What ``name``.json in a package tells."""
    text = resources.files(package).joinpath(f"{name}.json").read_text("utf-8")
    return dict(json.loads(text))


def network_of(package: str, name: str, told: Mapping[str, Any]) -> bytes:
    """``name``.onnx in a package, the one that ``told`` of it names by its ``sha256``.

    Raises RuntimeError where it is another: calibration of another network would make every chance
    a lie.
    """
    data = resources.files(package).joinpath(f"{name}.onnx").read_bytes()
    if hashlib.sha256(data).hexdigest() != told["sha256"]:
        raise RuntimeError(
            f"{name}.onnx is not the file its manifest describes; install papernudge again"
        )
    return data


def session_of(model: bytes) -> Any:
    """An onnxruntime session over an ONNX file's bytes, on one core."""
    import onnxruntime

    options = onnxruntime.SessionOptions()
    # One page is a few milliseconds of work: more threads cost more than they give.
    options.intra_op_num_threads = 1
    options.inter_op_num_threads = 1
    # What a run needs is given back after it: kept for the next, it would stay a large photo's.
    options.enable_cpu_mem_arena = False
    options.enable_mem_pattern = False
    return onnxruntime.InferenceSession(model, options, providers=["CPUExecutionProvider"])
