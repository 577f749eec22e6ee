"""The words of ``digitise`` and ``export``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from papernudge.cli.base.helping import Command
from papernudge.cli.base.limits import OF_A_PAGE
from papernudge.cli.base.settings import DEFAULTS
from papernudge.cli.terminal.options import Blocks, Diagonals, Extra, Regions

if TYPE_CHECKING:
    from papernudge.cli.books.digitise import Ran

_Sources = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="[SOURCE]...",
        help=f"Folders, photos, PDFs, multi-page TIFFs, in any mix. {OF_A_PAGE}",
    ),
]
_Book = Annotated[
    str,
    typer.Option(
        "--book",
        metavar="FILE",
        envvar=DEFAULTS["book"],
        help="The book: made, or added to.",
    ),
]
_Workers = Annotated[
    int | None,
    typer.Option(
        "--workers", metavar="N", min=1, max=256, help="Processes; one for each core if unsaid."
    ),
]
_Cluster = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        metavar="ADDRESS",
        help="Read on this Dask scheduler's workers, as tcp://host:8786: your photos travel to"
        " that address, with their names, without metadata or folders. Whoever runs the"
        " scheduler or a worker can run code on this machine (answers come pickled): name only"
        " what you trust. Needs papernudge[cluster] here and there.",
    ),
]
_Again = Annotated[
    bool, typer.Option("--again", help="Read pages anew that another version has read.")
]
_Review = Annotated[
    str | None,
    typer.Option(
        "--review",
        metavar="SHEET.html",
        help="Draw what a person must look at, doubtful cells only; it writes the corrections.",
    ),
]
_Corrections = Annotated[
    str | None,
    typer.Option("--corrections", metavar="FILE", help="Corrections from the review sheet."),
]
_Assume = Annotated[
    list[str] | None,
    typer.Option(
        "--assume",
        metavar="ID:R4C7=1",
        help="One correction: =given:1, =entry:1, =. for nothing; or 'ID ok', 'ID left out',"
        " 'ID label TEXT'. May be repeated.",
    ),
]
_LabelFrom = Annotated[
    str | None,
    typer.Option(
        "--label-from",
        metavar="WHAT",
        help="Call each puzzle that has no label after its file, or with page after its file"
        " and page.",
    ),
]


def digitise(
    sources: _Sources = None,
    book: _Book = "",
    workers: _Workers = None,
    cluster: _Cluster = None,
    again: _Again = False,
    review: _Review = None,
    corrections: _Corrections = None,
    assume: _Assume = None,
    label_from: _LabelFrom = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """Many pages into one book file: every puzzle once, graded and findable.

    Run it again and only new or changed pages are done; stop it anyhow and the next run goes on.
    A book's content may be protected: you answer for the right to copy it.
    """
    from papernudge.cli.base.exits import bad_words
    from papernudge.cli.base.say import short, warn
    from papernudge.cli.books.corrections import parse_correction, read_corrections
    from papernudge.cli.books.digitise import Wishes, run_digitise

    if not book:
        raise bad_words("name the book to write")
    if workers is not None and cluster is not None:
        raise bad_words("workers or cluster")
    if label_from not in (None, "file", "page"):
        raise bad_words("label from", got=short(str(label_from)))
    said, off = read_corrections(Path(corrections)) if corrections is not None else ([], [])
    for text in assume or ():
        said += parse_correction(text)
    sheet = None if review is None else Path(review)
    said_in = None if corrections is None else Path(corrections)
    wishes = Wishes(
        sources or [],
        Path(book),
        workers,
        cluster,
        again,
        said,
        sheet,
        said_in,
        off,
        label_from,
    )
    ran = run_digitise(wishes, warn)
    _say(ran, as_json)
    raise typer.Exit(int(ran.code))


def _say(ran: Ran, as_json: bool) -> None:
    """What the book holds, on standard output; what could not be read, on standard error."""
    import json

    from papernudge.cli.base.say import show, visible, warn

    if as_json:
        show(json.dumps(ran.document, indent=1))
    elif ran.said:
        show("\n".join(map(visible, ran.said)))
    for sentence in ran.told:
        warn(sentence)


_ExportBook = Annotated[
    str,
    typer.Argument(metavar="[FILE]", envvar=DEFAULTS["book"], help="A book that digitise wrote."),
]
_To = Annotated[
    str,
    typer.Option(
        "--to", metavar="OUT", help="Ends in .jsonl, .csv, .txt (a line a puzzle) or .pdf."
    ),
]
_Minutes = Annotated[
    str | None,
    typer.Option("--minutes", metavar="8-12", help="Expected minutes; 8-, -12 and 10 work too."),
]
_Hardest = Annotated[
    list[str] | None,
    typer.Option("--hardest", metavar="NAME", help="Hardest reason needed. May be repeated."),
]
_Needs = Annotated[
    list[str] | None,
    typer.Option(
        "--needs",
        metavar="NAME",
        help="A reason that its solve uses, hardest or not. May be repeated: all of them.",
    ),
]
_Givens = Annotated[str | None, typer.Option("--givens", metavar="24-30", help="How many givens.")]
_Source = Annotated[
    list[str] | None,
    typer.Option(
        "--source", metavar="NAME", help="The file it came from; * and ? work. May be repeated."
    ),
]
_Label = Annotated[
    list[str] | None,
    typer.Option(
        "--label", metavar="TEXT", help="What it is called; * and ? work. May be repeated."
    ),
]
_Status = Annotated[
    list[str] | None,
    typer.Option(
        "--status",
        metavar="STATUS",
        help="clean, review or 'left out'; may be repeated. If unsaid, .txt and .pdf take clean"
        " ones, .jsonl and .csv all.",
    ),
]
_Once = Annotated[bool, typer.Option("--once", help="Each puzzle once, however it is turned.")]
_First = Annotated[
    int | None, typer.Option("--first", metavar="N", min=1, help="No more than N puzzles.")
]
_Each = Annotated[
    int, typer.Option("--each", metavar="N", min=1, max=12, help="Puzzles on a printed page.")
]
_Paper = Annotated[str, typer.Option("--paper", metavar="SIZE", help="a4 or letter, for .pdf.")]
_Force = Annotated[bool, typer.Option("--force", help="Write over OUT if it is there already.")]


def export(
    book: _ExportBook = "",
    to: _To = "",
    minutes: _Minutes = None,
    hardest: _Hardest = None,
    needs: _Needs = None,
    givens: _Givens = None,
    source: _Source = None,
    label: _Label = None,
    status: _Status = None,
    once: _Once = False,
    first: _First = None,
    each: _Each = 4,
    paper: _Paper = "a4",
    force: _Force = False,
    blocks: Blocks = None,
    regions: Regions = None,
    diagonals: Diagonals = False,
    extra: Extra = None,
) -> None:
    """A book, or a part of it, as lines of JSON, a table, plain lines or sheets to print."""
    from papernudge.cli.base.exits import bad_words
    from papernudge.cli.base.say import short, warn
    from papernudge.cli.books.export import Filters, parse_range, run_export
    from papernudge.cli.books.printed import Layout
    from papernudge.cli.terminal.sources import board_named, is_board

    if not book:
        raise bad_words("name the book to take from")
    if not to:
        raise bad_words("name the file to write")
    if paper.lower() not in ("a4", "letter"):
        raise bad_words("paper is", got=short(paper))
    board = board_named(blocks, regions, diagonals, extra)
    filters = Filters(
        parse_range(minutes, "--minutes"),
        parse_range(givens, "--givens"),
        hardest or (),
        needs or (),
        source or (),
        label or (),
        status or (),
        once,
        first,
        board if is_board(blocks, regions, diagonals, extra) else None,
    )
    layout = Layout(each, paper.lower())
    raise typer.Exit(int(run_export(Path(book), Path(to), filters, layout, warn, force)))


def register(app: typer.Typer) -> None:
    """Adds both commands."""
    app.command(cls=Command)(digitise)
    app.command(cls=Command)(export)
