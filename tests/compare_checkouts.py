"""Whether two checkouts say the same: ``python tests/compare_checkouts.py OLD NEW PHOTO...``.

OLD and NEW are the Python interpreters of two environments, each with its own papernudge
installed; a PHOTO may be a folder, whose photos are taken. ``--drawn N`` adds N pages of the page
maker (drawn once, by the interpreter that runs this). Every photo goes through ``read``, ``hint``
and ``check`` at each depth in both, by the installed command's own entry point, but its pixels are
read only once; exit codes, standard output and standard error are compared byte by byte. Prints a
table and the first differences; leaves with 1 if there is one.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from itertools import zip_longest
from pathlib import Path
from typing import NamedTuple

ENDINGS = {".jpg", ".jpeg", ".png", ".heic", ".tif", ".tiff", ".webp"}
DEPTHS = ("1", "2", "3", "4")

DRIVER = """
import contextlib, hashlib, io, json, sys
from importlib.metadata import entry_points

from papernudge.vision import read

looked, kept = read.read_page, {}
def once(raster, *words, **more):  # the same pixels read the same: a photo is read once
    key = hashlib.sha256(raster.tobytes()).digest(), raster.shape, str(sorted(more))
    if key not in kept:
        kept.clear()
        kept[key] = looked(raster, *words, **more)
    return kept[key]
read.read_page = once

(script,) = entry_points(group="console_scripts", name="papernudge")
main = script.load()
for line in sys.stdin:
    words = json.loads(line)
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        sys.argv = ["papernudge", *words]
        try:
            code = main()
        except SystemExit as left:
            code = left.code
    print(json.dumps([words, code, out.getvalue(), err.getvalue()]), flush=True)
"""
"""Runs in either environment: a line of words in, a line of what came of them out."""


class Said(NamedTuple):
    """What a command line led to."""

    words: list[str]
    code: int | None
    out: str
    err: str


def photos(places: list[Path]) -> Iterator[Path]:
    """The photos that the places name, folders in the order of their names."""
    for place in places:
        inside = sorted(place.iterdir()) if place.is_dir() else [place]
        yield from (path for path in inside if path.suffix.lower() in ENDINGS)


def drawn(count: int, folder: Path) -> Iterator[Path]:
    """Pages of the page maker, half of them as a newspaper prints them, half of them hard."""
    import cv2

    from papernudge.digits_model.training.pages import draw, preset

    for number in range(count):
        name = ("newspaper", "hard")[number % 2]
        path = folder / f"{name}-{number:04d}.png"
        cv2.imwrite(str(path), draw(preset(name, 510_000 + number, split="test")).image[..., ::-1])
        yield path


def command_lines(photo: Path) -> Iterator[list[str]]:
    """All words that a photo is tried with."""
    yield ["read", str(photo), "--json"]
    for command in ("hint", "check"):
        yield from ([command, str(photo), "--json", "--tell", depth] for depth in DEPTHS)
        yield [command, str(photo), "--tell", "3"]


def answers(interpreter: str, lines: Path) -> Iterator[Said]:
    """What the papernudge of this interpreter says to every line of words."""
    with lines.open("rb") as words:
        process = subprocess.Popen([interpreter, "-c", DRIVER], stdin=words, stdout=subprocess.PIPE)
    assert process.stdout is not None
    for line in process.stdout:
        yield Said(*json.loads(line))
    if process.wait():
        raise SystemExit(f"{interpreter} left with {process.returncode}.")


def compared(old: str, new: str, lines: Path) -> tuple[Counter[str], Counter[str], list[str]]:
    """Runs and differences a command, and the first differences in words."""
    runs: Counter[str] = Counter()
    different: Counter[str] = Counter()
    shown: list[str] = []
    for before, after in zip_longest(answers(old, lines), answers(new, lines)):
        if before is None or after is None:
            raise SystemExit("One of the two ended early.")
        runs[before.words[0]] += 1
        if before != after:
            different[before.words[0]] += 1
            shown.append(difference(before, after))
    return runs, different, shown[:12]


def difference(before: Said, after: Said) -> str:
    """The first place where the two part."""
    said = [f"papernudge {' '.join(before.words)}"]
    if before.code != after.code:
        said.append(f"  left with {before.code}, now with {after.code}")
    for name, was, now in (("out", before.out, after.out), ("err", before.err, after.err)):
        if was != now:
            at = next((k for k, (a, b) in enumerate(zip(was, now, strict=False)) if a != b), 0)
            cut = slice(max(0, at - 40), at + 60)
            said.append(f"  {name} at {at}: {was[cut]!r}\n  {' ' * len(name)} now: {now[cut]!r}")
    return "\n".join(said)


def main() -> int:
    """The table."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("old", help="the Python of the environment before")
    parser.add_argument("new", help="the Python of the environment after")
    parser.add_argument("photos", nargs="*", type=Path)
    parser.add_argument("--drawn", type=int, default=0, metavar="N")
    words = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        pages = [*photos(words.photos), *drawn(words.drawn, Path(folder))]
        lines = Path(folder) / "lines"
        lines.write_text(
            "".join(json.dumps(line) + "\n" for page in pages for line in command_lines(page))
        )
        runs, different, shown = compared(words.old, words.new, lines)
    print(f"{len(pages)} photos")
    for command, count in runs.items():
        print(f"{command:<8}{count:>7} runs {different[command]:>7} differ")
    print("\n".join(shown))
    return int(bool(different))


if __name__ == "__main__":
    sys.exit(main())
