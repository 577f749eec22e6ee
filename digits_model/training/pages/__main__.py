"""``python -m papernudge.digits_model.training.pages``: pack, preview, draw, fixtures."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from papernudge.digits_model.training.pages.draw import draw
from papernudge.digits_model.training.pages.fixtures import write_fixtures
from papernudge.digits_model.training.pages.fonts import MissingSuppliesError, write_pack
from papernudge.digits_model.training.pages.presets import PRESETS, preset
from papernudge.digits_model.training.pages.preview import contact_sheet, save
from papernudge.digits_model.training.pages.spec import SPLITS
from papernudge.digits_model.training.pages.store import ENDINGS, write_page


def main(words: list[str] | None = None) -> int:
    """Runs one command; returns the exit code."""
    parser = argparse.ArgumentParser(prog="python -m papernudge.digits_model.training.pages")
    commands = parser.add_subparsers(dest="command", required=True)
    pack = commands.add_parser("pack", help="write glyphs and strokes into one .npz")
    pack.add_argument("out", type=Path)
    preview = commands.add_parser("preview", help="a contact sheet with the truth laid over")
    preview.add_argument("out", type=Path)
    preview.add_argument("--preset", default="newspaper", choices=sorted(PRESETS))
    preview.add_argument("--first", type=int, default=0, help="seed of the first page")
    preview.add_argument("--count", type=int, default=9)
    preview.add_argument("--split", default="train", choices=SPLITS)
    many = commands.add_parser("draw", help="draw a set of pages into a folder, with truth")
    many.add_argument("out", type=Path)
    many.add_argument("--preset", default="newspaper", choices=sorted(PRESETS))
    many.add_argument("--first", type=int, default=0, help="seed of the first page")
    many.add_argument("--count", type=int, default=10)
    many.add_argument("--split", default="test", choices=SPLITS)
    many.add_argument("--ending", default=".jpg", choices=ENDINGS)
    fixtures = commands.add_parser("fixtures", help="draw the published fixtures anew")
    fixtures.add_argument("--to", type=Path, default=Path("fixtures"))
    told = parser.parse_args(words)
    try:
        if told.command == "preview":
            seeds = range(told.first, told.first + told.count)
            pages = [draw(preset(told.preset, seed, split=told.split)) for seed in seeds]
            save(contact_sheet(pages), told.out)
            print(f"{told.out}: {len(pages)} pages")
            return 0
        if told.command == "draw":
            for seed in range(told.first, told.first + told.count):
                page = draw(preset(told.preset, seed, split=told.split))
                write_page(page, told.out, f"{told.preset}-{seed:06d}", told.ending)
            print(f"{told.out}: {told.count} pages")
            return 0
        if told.command == "fixtures":
            sizes = write_fixtures(told.to)
            for name, size in sizes:
                print(f"{name:28} {size / 1024:7.0f} KiB")
            print(f"{'all':28} {sum(size for _, size in sizes) / 1024:7.0f} KiB")
            return 0
        size = write_pack(told.out)
        print(f"{told.out}: {size / 2**20:.2f} MiB")
    except MissingSuppliesError as error:
        print(error, file=sys.stderr)
        return 5
    return 0


if __name__ == "__main__":
    sys.exit(main())
