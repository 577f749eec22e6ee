"""Feeds mutated files to the command: ``python tests/cli/bench_bad_files.py [COUNT] [SEED]``.

JPEG, PNG, HEIC, WebP, TIFF and BMP, cut short, with bits flipped, bytes zeroed, blocks moved,
headers enlarged, or under a wrong name. Each is read in a process of limited memory by
``papernudge read --json``; the table says how the runs ended. A run is at fault if it ends in
another code than 0, 2–6, prints other than one sentence where it fails, takes more than 5 s,
or more than 1 GB.
"""

from __future__ import annotations

import io
import multiprocessing
import os
import random
import resource
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy

import numpy as np

KINDS = ("JPEG", "PNG", "HEIF", "WEBP", "TIFF", "BMP", "GIF")
GOOD_CODES = {0, 2, 3, 4, 5, 6}


def page(size: tuple[int, int] = (640, 480)) -> np.ndarray:
    """A drawn page with a grid and some digits' worth of strokes."""
    import cv2

    width, height = size
    dice = np.random.default_rng(5)
    paper = np.full((height, width, 3), 215, np.uint8)
    cell = height // 11
    for n in range(10):
        at, thick = cell + n * cell, 3 if n % 3 == 0 else 1
        cv2.line(paper, (cell, at), (10 * cell, at), (40, 40, 40), thick)
        cv2.line(paper, (at, cell), (at, 10 * cell), (40, 40, 40), thick)
    for _ in range(28):
        x, y = cell * dice.integers(1, 10, 2)
        text = str(dice.integers(1, 10))
        where = (int(x + cell * 0.3), int(y + cell * 0.75))
        cv2.putText(paper, text, where, cv2.FONT_HERSHEY_DUPLEX, cell / 45, (30, 30, 30), 1)
    return paper


def whole_files() -> dict[str, bytes]:
    """One good file of each kind."""
    import pillow_heif
    from PIL import Image

    pillow_heif.register_heif_opener()
    picture = Image.fromarray(page()[..., ::-1].copy())
    out = {}
    for kind in KINDS:
        buffer = io.BytesIO()
        picture.save(buffer, kind)
        out[kind] = buffer.getvalue()
    cmyk = io.BytesIO()
    picture.convert("CMYK").save(cmyk, "JPEG")
    out["CMYK JPEG"] = cmyk.getvalue()
    progressive = io.BytesIO()
    picture.save(progressive, "JPEG", progressive=True)
    out["progressive JPEG"] = progressive.getvalue()
    return out


def mutated(data: bytes, dice: random.Random) -> tuple[str, bytes]:
    """One way of damaging a file."""
    how = dice.choice(["cut", "flip", "flip head", "zero", "move", "grow", "join", "huge"])
    out = bytearray(data)
    if how == "cut":
        return how, data[: dice.choice([0, 1, 4, 30, dice.randrange(len(data))])]
    if how in ("flip", "flip head"):
        end = len(out) if how == "flip" else min(len(out), 400)
        for _ in range(dice.choice([1, 3, 10, 60])):
            out[dice.randrange(end)] ^= 1 << dice.randrange(8)
    elif how == "zero":
        start = dice.randrange(len(out))
        length = dice.choice([1, 8, 200, 5000])
        out[start : start + length] = bytes(min(length, len(out) - start))
    elif how == "move":
        a, b, n = dice.randrange(len(out)), dice.randrange(len(out)), dice.choice([4, 64, 2000])
        out[a : a + n] = out[b : b + n]
    elif how == "grow":
        at = dice.randrange(len(out))
        out[at:at] = dice.randbytes(dice.choice([1, 10, 3000]))
    elif how == "join":
        out = bytearray(data[: dice.randrange(len(data))] + data)
    else:  # sizes live in the first bytes of most kinds: write large numbers there
        for _ in range(dice.choice([1, 2, 6])):
            at = dice.randrange(min(len(out), 250))
            out[at : at + 2] = dice.choice([b"\xff\xff", b"\x7f\xff", b"\x4e\x20", b"\x00\x00"])
    return how, bytes(out)


def cases(count: int, seed: int) -> Iterator[tuple[str, str, bytes]]:
    """``count`` damaged files: kind, way of damage, bytes."""
    dice = random.Random(seed)
    whole = whole_files()
    for _ in range(count):
        kind = dice.choice(list(whole))
        how, data = mutated(whole[kind], dice)
        yield kind, how, data


def judge(path: Path) -> tuple[int, str, float]:
    """Exit code, what was wrong with the run ("" for nothing), seconds."""
    from papernudge.cli.app import run

    out, err = io.StringIO(), io.StringIO()
    began = time.process_time()
    try:
        with redirect_stdout(out), redirect_stderr(err):
            code = run(["read", "--json", str(path)])
    except BaseException as escaped:
        return 70, f"{type(escaped).__name__} escaped", time.process_time() - began
    spent = time.process_time() - began
    said = err.getvalue()
    fault = ""
    if code not in GOOD_CODES:
        fault = f"exit code {code}: {said.strip()[:160]}"
    elif "Traceback" in said or "Warning" in said:
        fault = "a traceback or a warning"
    elif code == 5 and (said.count("\n") != 1 or not said.rstrip().endswith(".")):
        fault = f"not one sentence: {said!r}"
    elif spent > 5:
        fault = f"{spent:.1f} s"
    return code, fault, spent


def work(jobs: multiprocessing.Queue, done: multiprocessing.Queue) -> None:  # type: ignore[type-arg]
    """Judges paths until None comes, in a process of its own, so that a crash is seen."""
    with tempfile.NamedTemporaryFile(suffix=".png") as warm:  # imports are not the file's fault
        warm.write(whole_files()["PNG"])
        warm.flush()
        judge(Path(warm.name))
    for path in iter(jobs.get, None):
        peak = lambda: resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6  # noqa: E731
        done.put((*judge(path), peak()))


def main(count: int, seed: int) -> int:
    """Runs all cases and prints the table; 1 if any was at fault."""
    codes: Counter[tuple[str, int]] = Counter()
    faults, slowest, peak = [], 0.0, 0.0
    context = multiprocessing.get_context("spawn")
    jobs, done = context.Queue(), context.Queue()
    worker = context.Process(target=work, args=(jobs, done), daemon=True)
    worker.start()
    with tempfile.TemporaryDirectory() as folder:
        for number, (kind, how, data) in enumerate(cases(count, seed)):
            path = Path(folder) / f"{number}.jpg"
            path.write_bytes(data)
            jobs.put(path)
            try:
                code, fault, spent, peak = done.get(timeout=60)
            except Exception:  # the process died or hangs
                code, fault, spent = 70, "crash or hang", 60.0
                worker.kill()
                worker = context.Process(target=work, args=(jobs, done), daemon=True)
                worker.start()
            codes[kind, code] += 1
            slowest = max(slowest, spent)
            if fault:
                faults.append((number, kind, how, fault))
            path.unlink()
    jobs.put(None)
    columns = sorted({code for _, code in codes})
    print("kind".ljust(18), *(f"exit {c}".rjust(8) for c in columns))
    for kind in sorted({k for k, _ in codes}):
        print(kind.ljust(18), *(str(codes[kind, c]).rjust(8) for c in columns))
    print(f"{count} files, {len(faults)} at fault; slowest {slowest:.2f} s; peak {peak:.2f} GB")
    for fault in faults[:20]:
        print(*fault)
    return int(bool(faults) or peak > 1.0)


if __name__ == "__main__":
    words = [int(word) for word in sys.argv[1:3]]
    sys.exit(main(*(words + [2000, 1][len(words) :])))
