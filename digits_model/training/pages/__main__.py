"""``python -m papernudge.digits_model.training.pages``: pack, preview, draw, fixtures."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from papernudge.digits_model.training.pages.board_pages import (
    NAMES,
    board_page,
    mixed,
    named,
    other_page,
)
from papernudge.digits_model.training.pages.boards import FIGURES, LETTERS, MARKS
from papernudge.digits_model.training.pages.draw import draw
from papernudge.digits_model.training.pages.fixtures import write_fixtures
from papernudge.digits_model.training.pages.fonts import MissingSuppliesError, write_pack
from papernudge.digits_model.training.pages.presets import PRESETS, preset
from papernudge.digits_model.training.pages.preview import contact_sheet, save
from papernudge.digits_model.training.pages.spec import SPLITS, PageSpec
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
    for command in (preview, many):
        _add_boards(command)
    fixtures = commands.add_parser("fixtures", help="draw the published fixtures anew")
    fixtures.add_argument("--to", type=Path, default=Path("fixtures"))
    told = parser.parse_args(words)
    try:
        if told.command == "preview":
            seeds = range(told.first, told.first + told.count)
            pages = [draw(_spec(told, seed)) for seed in seeds]
            save(contact_sheet(pages), told.out)
            print(f"{told.out}: {len(pages)} pages")
            return 0
        if told.command == "draw":
            for seed in range(told.first, told.first + told.count):
                page = draw(_spec(told, seed))
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


def _add_boards(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--board",
        action="append",
        default=[],
        metavar="WORDS",
        help="a board on each page in place of the newspaper's grid: any, newspaper, or one of "
        + "; ".join(NAMES)
        + ". Several stand on one page; `any` alone has a newspaper's grid beside it at times",
    )
    command.add_argument(
        "--symbols", choices=(FIGURES, LETTERS), help="how 10 and more are printed"
    )
    command.add_argument("--marks", choices=MARKS, help="pages with a puzzle of this other kind")


def _spec(told: argparse.Namespace, seed: int) -> PageSpec:
    """The page of this seed that the words ask for."""
    if told.marks:
        return other_page(told.preset, seed, told.marks, split=told.split)
    if not told.board:
        return preset(told.preset, seed, split=told.split)
    boards = [None if words == "newspaper" else named(words, seed) for words in told.board]
    if told.board == ["any"] and boards[0] is not None:
        boards = mixed(seed, boards[0])
    style = {"symbols": told.symbols} if told.symbols else {}
    return board_page(told.preset, seed, boards, style=style, split=told.split)


if __name__ == "__main__":
    sys.exit(main())
