"""Feeds bad files to the commands: ``python tests/cli/bench_bad_files.py [COUNT] [SEED]``.

Mutated files: JPEG, PNG, HEIC, WebP, TIFF, BMP, GIF, PDF, cut short, with bits flipped, bytes
zeroed, blocks moved, headers enlarged, or under a wrong name. They are read many to a process, as a
batch is: a third of them by ``papernudge digitise``, PDFs all, the others by ``read --json-lines``
and ``check --json-lines``. Crafted files (``crafted.py``): each by each of the three in a process
of its own.

A run is at fault if it ends in another code than 0, 1, 3–6, says less or more than a sentence about
a file, shows a traceback, hangs, if a crafted file takes more than 5 s of processor time with all
children (on a busy machine the clock says what the others do), or if it and its children together
hold more than 1 GB at any moment.
"""

from __future__ import annotations

import importlib.util
import io
import json
import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy

import numpy as np

KINDS = ("JPEG", "PNG", "HEIF", "WEBP", "TIFF", "BMP", "GIF", "PDF")
GOOD_CODES = {0, 1, 3, 4, 5, 6}
MOST_SECONDS, MOST_BYTES, HANGS = 5.0, 1e9, 900.0
BATCH = 100


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
        picture.copy().save(buffer, kind)
        out[kind] = buffer.getvalue()
    for name, mode, how in (("CMYK JPEG", "CMYK", {}), ("progressive", "RGB", {"progressive": 1})):
        buffer = io.BytesIO()
        picture.convert(mode).save(buffer, "JPEG", **how)
        out[name] = buffer.getvalue()
    frames = io.BytesIO()
    picture.copy().save(frames, "TIFF", save_all=True, append_images=[picture.copy()])
    out["two frames"] = frames.getvalue()
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


# ---------------------------------------------------------------- a run, watched


@dataclass(frozen=True)
class Watched:
    """A run and what it took, with its children. ``seconds``: of processor time; ``peak``: bytes
    that all together held at once.
    """

    code: int
    out: str
    err: str
    seconds: float
    peak: float
    hung: bool

    @property
    def fault(self) -> str:
        """What was wrong with it, "" for nothing."""
        if self.hung:
            return "hangs"
        if self.code not in GOOD_CODES:
            return f"exit code {self.code}: {self.err.strip()[-160:]}"
        if "Traceback" in self.err or "Warning" in self.err or "fault of papernudge" in self.err:
            return f"a fault: {self.err.strip()[-160:]}"
        return f"{self.peak / 1e6:.0f} MB" if self.peak > MOST_BYTES else ""


def watched(words: Sequence[str]) -> Watched:
    """Runs the command and looks at what it holds fifty times a second."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        run = subprocess.Popen(
            [sys.executable, "-m", "papernudge.cli", *words],
            stdin=subprocess.DEVNULL, stdout=out, stderr=err,
        )  # fmt: skip
        began, peak, hung = time.monotonic(), 0.0, False
        while run.poll() is None and not hung:
            peak = max(peak, held(run.pid))
            hung = time.monotonic() - began > HANGS
            time.sleep(0.02)
        run.kill()
        code = run.wait()
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        spent = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
        told = []
        for stream in (out, err):
            stream.seek(0)
            told.append(stream.read().decode("utf-8", "replace"))
    return Watched(code, told[0], told[1], spent, peak, hung)


def held(process: int) -> float:
    """Resident bytes of a process and its children; what they share is counted for each."""
    total = 0.0
    for one in family(process):
        try:
            text = Path(f"/proc/{one}/statm").read_text("ascii")
        except OSError:
            continue
        total += int(text.split()[1]) * resource.getpagesize()
    return total


def family(process: int) -> list[int]:
    """A process and all below it."""
    found = [process]
    try:
        for task in Path(f"/proc/{process}/task").iterdir():
            for child in (task / "children").read_text("ascii").split():
                found += family(int(child))
    except OSError:
        pass
    return found


# ---------------------------------------------------------------- mutated


def judged(command: str, files: list[Path], desk: Path) -> tuple[Watched, str]:
    """One run over many files, and what was wrong with it."""
    if command == "digitise":
        words = ["digitise", *map(str, files), "--book", str(desk / "b.book"), "--json"]
        for old in desk.glob("b.book*"):
            old.unlink()
        run = watched(words)
        return run, run.fault or few(json.loads(run.out or "{}"), len(files))
    run = watched([command, "--json-lines", *map(str, files)])
    if run.fault:
        return run, run.fault
    told = [json.loads(line) for line in run.out.splitlines()]
    names = [one["photo"] for one in told]
    if names != list(map(str, files)):
        return run, f"{len(names)} answers for {len(files)} files"
    odd = [t["error"] for t in told if "error" in t and not t["error"]["sentence"].endswith(".")]
    faults = [t["error"] for t in told if t.get("error", {}).get("reason") == "fault"]
    return run, str((odd or faults or [""])[0])


def few(document: dict[str, object], files: int) -> str:
    """Whether a run of ``digitise`` lost files: each is read or told."""
    return "" if document.get("format") == 1 else f"no document for {files} files"


def mutated_files(count: int, seed: int) -> tuple[int, int, Counter[str]]:
    """Prints what became of the mutated files; files, faults, and files by kind."""
    kinds: Counter[str] = Counter()
    faults = total = 0
    worst = slowest = 0.0
    with tempfile.TemporaryDirectory() as name:
        desk = Path(name)
        made = cases(count, seed)
        while True:
            files = []
            for kind, how, data in made:
                ending = "pdf" if kind == "PDF" else "tif" if kind == "two frames" else "jpg"
                file = desk / f"{total + len(files):05}-{kind}-{how}.{ending}".replace(" ", "_")
                file.write_bytes(data)
                kinds[kind] += 1
                files.append(file)
                if len(files) == 3 * BATCH:
                    break
            if not files:
                break
            total += len(files)
            third = len(files) // 3
            rest = [f for f in files[third:] if f.suffix != ".pdf"]
            pdfs = [f for f in files[third:] if f.suffix == ".pdf"]
            parts = {"digitise": files[:third] + pdfs}
            parts |= {"read": rest[: len(rest) // 2], "check": rest[len(rest) // 2 :]}
            for command, some in parts.items():
                if not some:
                    continue
                run, fault = judged(command, some, desk)
                worst, slowest = max(worst, run.peak), max(slowest, run.seconds / len(some))
                if fault:
                    faults += 1
                    print("at fault:", command, some[0].name, "and on:", fault)
            for file in files:
                file.unlink()
            print(f"{total} files, {faults} runs at fault so far", file=sys.stderr, flush=True)
    print(
        f"{total} mutated files by three commands: {faults} runs at fault; {1000 * slowest:.0f} ms"
        f" of processor time a file in the slowest run; peak {worst / 1e6:.0f} MB"
    )
    return total, faults, kinds


# ---------------------------------------------------------------- crafted


def crafted_files() -> int:
    """Prints what became of each crafted file; how many runs were at fault."""
    faults = runs = 0
    slowest = worst = 0.0
    print(f"{'crafted':<48}{'bytes':>10}  code, s of processor, MB: read, check, digitise")
    with tempfile.TemporaryDirectory() as name:
        desk = Path(name)
        crafted = beside("crafted")
        for number, (called, (ending, make)) in enumerate(crafted.CRAFTED.items()):
            file = desk / f"{number}.{ending}"
            file.write_bytes(make())
            row, told = f"{called:<48}{file.stat().st_size:>10}  ", []
            for words in (
                ["read", "--json", str(file)],
                ["check", "--json", str(file)],
                ["digitise", str(file), "--book", str(desk / f"{number}.book"), "--workers", "1"],
            ):
                run = watched(words)
                runs += 1
                slowest, worst = max(slowest, run.seconds), max(worst, run.peak)
                row += f"{run.code:>4} {run.seconds:5.2f} {run.peak / 1e6:4.0f}"
                late = f"{run.seconds:.1f} s" if run.seconds > MOST_SECONDS else ""
                if fault := run.fault or late:
                    faults += 1
                    told.append(f"   at fault: {words[0]}: {fault}")
            print("\n".join([row, *told]), flush=True)
            file.unlink()
    print(
        f"{len(crafted.CRAFTED)} crafted files, {runs} runs, {faults} at fault; slowest"
        f" {slowest:.2f} s of processor; peak {worst / 1e6:.0f} MB"
    )
    return faults


def beside(name: str) -> ModuleType:
    """A module of this folder, which is no package."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def main(count: int, seed: int) -> int:
    """Runs all cases and prints the tables; 1 if any was at fault."""
    _, faults, kinds = mutated_files(count, seed)
    print(", ".join(f"{kind} {many}" for kind, many in sorted(kinds.items())), flush=True)
    return int(bool(faults + crafted_files()))


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        words = [int(word) for word in sys.argv[1:3]]
        sys.exit(main(*(words + [5000, 1][len(words) :])))
