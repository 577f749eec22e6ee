"""Two exported networks with one look at the picture made one file: what is alike is kept once."""

from __future__ import annotations

from pathlib import Path
from typing import Any


def joined(one: Path, two: Path, parts: dict[str, tuple[int, int]], to: Path) -> None:
    """Writes ``one`` with parts of its outputs (axis 1, from and to) the greater of both's.

    Both are ONNX files with the same inputs and outputs. Nodes and weights that are alike in both
    are kept once, those that no output needs are left out.
    """
    import onnx
    from onnx import helper, numpy_helper

    model, other = onnx.load(str(one)), onnx.load(str(two))
    fed = {held.name for held in model.graph.input}
    ends = [held.name for held in model.graph.output]
    for prefix, graph in (("a.", model.graph), ("b.", other.graph)):
        _renamed(graph, prefix, fed)
    graph = model.graph
    graph.node.extend(other.graph.node)
    graph.initializer.extend(other.graph.initializer)
    for end in ends:
        if end not in parts:
            graph.node.append(helper.make_node("Identity", [f"a.{end}"], [end]))
            continue
        first, last = parts[end]
        graph.node.append(helper.make_node("Max", [f"a.{end}", f"b.{end}"], [f"{end}.most"]))
        names = []
        for k, (source, low, high) in enumerate(
            ((f"a.{end}", 0, first), (f"{end}.most", first, last), (f"a.{end}", last, 1 << 30))
        ):
            ranges = [f"{end}.{k}.{what}" for what in ("from", "to", "axis")]
            for name, value in zip(ranges, (low, high, 1), strict=True):
                graph.initializer.append(numpy_helper.from_array(_whole(value), name))
            names.append(f"{end}.{k}")
            graph.node.append(helper.make_node("Slice", [source, *ranges], [names[-1]]))
        graph.node.append(helper.make_node("Concat", names, [end], axis=1))
    _merge_alike(graph)
    _drop_idle(graph, ends)
    onnx.checker.check_model(model)
    onnx.save(model, str(to))


def _whole(value: int) -> Any:
    import numpy as np

    return np.array([value], np.int64)


def _renamed(graph: Any, prefix: str, fed: set[str]) -> None:
    """Sets a prefix before all names but those of inputs and of nothing."""
    for node in graph.node:
        node.name = ""
        for names in (node.input, node.output):
            names[:] = [n if n in fed or not n else prefix + n for n in names]
    for held in graph.initializer:
        held.name = prefix + held.name
    del graph.value_info[:]


def _merge_alike(graph: Any) -> None:
    """Weights of the same bytes and nodes of the same work on the same inputs become one."""
    same: dict[str, str] = {}
    seen: dict[Any, str] = {}
    kept = []
    for held in graph.initializer:
        key = (held.data_type, tuple(held.dims), held.raw_data or held.SerializeToString())
        if key in seen:
            same[held.name] = seen[key]
        else:
            seen[key] = held.name
            kept.append(held)
    del graph.initializer[:]
    graph.initializer.extend(kept)
    nodes = []
    done: dict[Any, list[str]] = {}
    for node in graph.node:
        node.input[:] = [same.get(name, name) for name in node.input]
        attributes = sorted(part.SerializeToString() for part in node.attribute)
        work = (node.op_type, tuple(node.input), tuple(attributes))
        if work in done:
            same.update(zip(node.output, done[work], strict=True))
        else:
            done[work] = list(node.output)
            nodes.append(node)
    del graph.node[:]
    graph.node.extend(nodes)


def _drop_idle(graph: Any, ends: list[str]) -> None:
    """Leaves out what no output needs."""
    needed = set(ends)
    nodes = []
    for node in reversed(list(graph.node)):
        if needed.intersection(node.output):
            needed.update(node.input)
            nodes.append(node)
    del graph.node[:]
    graph.node.extend(reversed(nodes))
    kept = [held for held in graph.initializer if held.name in needed]
    del graph.initializer[:]
    graph.initializer.extend(kept)
