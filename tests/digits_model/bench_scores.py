"""How long the classifier takes on one core: ``python tests/digits_model/bench_scores.py``.

The first look at 81 cells, one grid, and at 324, one grid in all four turns; the closer look at
the unsure cells of a page, of which a photo of print has one or two and a filled page about ten.
Least and median of many runs, beside a matrix product of a fixed size in the same run, so that
tables from busy machines can be compared.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import time
from collections.abc import Callable

import numpy as np

from papernudge.digits_model.scores import closer_look, first_look, manifest
from papernudge.digits_model.tensors import CONTEXT
from papernudge.vision.patches import SIDE


def milliseconds(work: Callable[[], object], runs: int = 60) -> list[float]:
    """Sorted times of ``runs`` runs after one to warm up."""
    work()
    spent = []
    for _ in range(runs):
        began = time.perf_counter()
        work()
        spent.append(1000 * (time.perf_counter() - began))
    return sorted(spent)


def main() -> None:
    """Print the table."""
    rng = np.random.default_rng(0)
    square = rng.normal(size=(512, 512)).astype(np.float32)
    sizes = [manifest()["bytes"], *(manifest()[n]["bytes"] for n in ("closer", "notes"))]
    print(f"models {' + '.join(f'{size / 2**20:.2f}' for size in sizes)} MiB")
    rows: list[tuple[str, Callable[[], object], float | None]] = [
        ("product of two 512 × 512 matrices", lambda: square @ square, None)
    ]
    for count, limit in ((81, 4.0), (324, 15.0)):
        pixels = rng.integers(0, 256, (count, SIDE, SIDE, 3)).astype(np.uint8)
        rows.append((f"{count} patches", lambda p=pixels: first_look(p), limit))  # type: ignore[misc]
    page = rng.random((81, CONTEXT)).astype(np.float32)
    for count in (1, 10):
        pixels = rng.integers(0, 256, (count, SIDE, SIDE, 3)).astype(np.uint8)
        name = f"{count} closer look{'s' if count > 1 else ''}"
        rows.append((name, lambda p=pixels: closer_look(p, page), None))  # type: ignore[misc]
    for name, work, limit in rows:
        times = milliseconds(work)
        wanted = f"  (wanted ≤ {limit} ms)" if limit else ""
        print(
            f"{name:34} least {times[0]:6.2f} ms  median {times[len(times) // 2]:6.2f} ms{wanted}"
        )


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main()
