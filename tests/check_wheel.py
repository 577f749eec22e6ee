"""Compares a built wheel with the tree: a package list omits what it does not name.

python tests/check_wheel.py dist/papernudge-*.whl
"""

from __future__ import annotations

import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("vision", "digits_model", "hints", "cli")
DATA = {".py", ".typed", ".json", ".onnx", ".html", ".css", ".js", ".svg", ".po", ".ttf", ".txt"}


def main() -> None:
    """Leave with 1 and the difference where wheel and tree differ."""
    with zipfile.ZipFile(sys.argv[1]) as wheel:
        shipped = {n for n in wheel.namelist() if n.startswith("papernudge/")}
    there = {
        f"papernudge/{path.relative_to(ROOT).as_posix()}".replace("/cli/root/", "/")
        for room in ROOMS
        for path in (ROOT / room).rglob("*")
        if path.suffix in DATA and "training" not in path.parts and "__pycache__" not in path.parts
    }
    missing, extra = sorted(there - shipped), sorted(shipped - there)
    print(f"wheel: {len(shipped)} files; missing {missing or 'none'}; beyond {extra or 'none'}")
    raise SystemExit(bool(missing or extra))


if __name__ == "__main__":
    main()
