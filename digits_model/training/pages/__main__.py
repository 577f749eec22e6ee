"""``python -m papernudge.digits_model.training.pages``: pack, preview, fixtures."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from papernudge.digits_model.training.pages.fonts import MissingSuppliesError, write_pack


def main(words: list[str] | None = None) -> int:
    """Runs one command; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m papernudge.digits_model.training.pages")
    commands = parser.add_subparsers(dest="command", required=True)
    pack = commands.add_parser("pack", help="write glyphs and strokes into one .npz")
    pack.add_argument("out", type=Path)
    told = parser.parse_args(words)
    try:
        size = write_pack(told.out)
        print(f"{told.out}: {size / 2**20:.2f} MiB")
    except MissingSuppliesError as error:
        print(error, file=sys.stderr)
        return 5
    return 0


if __name__ == "__main__":
    sys.exit(main())
