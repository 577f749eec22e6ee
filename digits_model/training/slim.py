"""Shortens the names inside ONNX files: what they compute stays the same to the last bit.

    python -m papernudge.digits_model.training.slim --to digits_model symbols notes

Names of tensors and nodes take up to an eighth of a small network's file. Inputs and outputs keep
theirs. The hash and size in the manifest beside each file, and where another manifest names it, are
told anew.
"""

from __future__ import annotations

import argparse
import hashlib
import itertools
import string
from collections.abc import Iterator
from pathlib import Path


def _names() -> Iterator[str]:
    for long in itertools.count(1):
        yield from map("".join, itertools.product(string.ascii_letters, repeat=long))


def slim(path: Path) -> int:
    """Rewrites the file; returns how many bytes it has now."""
    import onnx

    model = onnx.load(str(path))
    graph = model.graph
    known: dict[str, str] = {"": ""}
    known |= {held.name: held.name for held in (*graph.input, *graph.output)}
    fresh = (name for name in _names() if name not in known.values())

    def named(old: str) -> str:
        if old not in known:
            known[old] = next(fresh)
        return str(known[old])

    for node in graph.node:
        node.name, node.doc_string = "", ""
        node.input[:] = [named(old) for old in node.input]
        node.output[:] = [named(old) for old in node.output]
    for held in graph.initializer:
        held.name, held.doc_string = named(held.name), ""
    del graph.value_info[:]
    graph.doc_string = model.doc_string = ""
    onnx.save(model, str(path))
    return path.stat().st_size


def main() -> None:
    """Shorten, and tell the manifests."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="+", help="of networks: NAME.onnx")
    parser.add_argument("--to", type=Path, required=True, help="their folder")
    given = parser.parse_args()
    for name in given.names:
        path = given.to / f"{name}.onnx"
        before = path.read_bytes()
        slim(path)
        after = path.read_bytes()
        print(f"{path}: {len(before)} bytes, now {len(after)}")
        changes = {
            hashlib.sha256(before).hexdigest(): hashlib.sha256(after).hexdigest(),
            f'"bytes": {len(before)}': f'"bytes": {len(after)}',
        }
        for described in sorted(given.to.glob("*.json")):
            text = told = described.read_text("utf-8")
            if hashlib.sha256(before).hexdigest() not in text:
                continue
            for old, new in changes.items():
                told = told.replace(old, new)
            described.write_text(told, encoding="utf-8")


if __name__ == "__main__":
    main()
