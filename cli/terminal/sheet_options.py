"""The words of ``drill``, ``mark`` and ``progress``."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated

import typer

from papernudge.cli.base.helping import Command
from papernudge.cli.base.limits import OF_A_FILE
from papernudge.cli.base.settings import DEFAULTS
from papernudge.cli.terminal.options import Blocks, Diagonals, Extra, Regions, Side

_Source = Annotated[
    str | None,
    typer.Argument(
        metavar="[SOURCE]",
        help="A book, or a file with a line a puzzle; puzzles of our own if unsaid.",
    ),
]
_Out = Annotated[str, typer.Option("--out", metavar="SHEET.pdf", help="The sheet to write.")]
_Reason = Annotated[
    list[str] | None,
    typer.Option(
        "--reason",
        metavar="NAME",
        help="What to practise: 'hidden pair', 'hidden single in a block', 'several cells in a"
        " row with 3 blanks'. May be repeated.",
    ),
]
_Positions = Annotated[
    int | None,
    typer.Option(
        "--positions",
        metavar="N",
        min=1,
        max=400,
        help="How many, for each reason: 12 if unsaid, with --scan 1.",
    ),
]
_Each = Annotated[
    int, typer.Option("--each", metavar="N", min=1, max=9, help="Positions on a page.")
]
_Scan = Annotated[
    int | None,
    typer.Option(
        "--scan",
        metavar="MINUTES",
        min=1,
        max=60,
        help="One position a page: as many digits as you can find in that time.",
    ),
]
_Seed = Annotated[
    int,
    typer.Option(
        "--seed", metavar="N", min=0, max=999_999_999, help="Another one, another choice."
    ),
]


def drill(
    source: _Source = None,
    out: _Out = "",
    reason: _Reason = None,
    positions: _Positions = None,
    each: _Each = 4,
    scan: _Scan = None,
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="a4 or letter.")] = "a4",
    seed: _Seed = 0,
    blocks: Blocks = None,
    regions: Regions = None,
    diagonals: Diagonals = False,
    extra: Extra = None,
) -> None:
    """A sheet to practise one kind of reason on, with answers behind and a code that mark reads."""
    from papernudge.cli.base.exits import bad_words
    from papernudge.cli.base.say import short
    from papernudge.cli.terminal.find import DrillWishes, run_drill
    from papernudge.cli.terminal.sources import board_named, is_board

    if not out:
        raise bad_words("name the sheet to write")
    if paper.lower() not in ("a4", "letter"):
        raise bad_words("paper is", got=short(paper))
    board = board_named(blocks, regions, diagonals, extra)
    raise typer.Exit(
        run_drill(
            DrillWishes(
                Path(source) if source is not None else None,
                Path(out),
                reason or (),
                positions or (1 if scan else 12),
                each,
                paper.lower(),
                seed,
                scan or 0,
                board if is_board(blocks, regions, diagonals, extra) else None,
            )
        )
    )


_Photos = Annotated[
    list[str] | None,
    typer.Argument(metavar="[PHOTO]...", help=f"Photos of sheets that drill drew. {OF_A_FILE}"),
]
_Log = Annotated[
    str | None,
    typer.Option(
        "--log",
        metavar="FILE",
        envvar=DEFAULTS["log"],
        help="Keep the results: a log, made or added to.",
    ),
]
_Seconds = Annotated[
    float | None,
    typer.Option(
        "--seconds",
        metavar="N",
        min=0.1,
        max=86_400,
        help="What the page took, for the log; at most a day.",
    ),
]
_Day = Annotated[
    str | None,
    typer.Option("--day", metavar="2026-05-01", help="When it was solved; today if unsaid."),
]
_Pupil = Annotated[
    str | None,
    typer.Option("--pupil", metavar="NAME", help="Whose sheets they are, for the log."),
]
_Assume = Annotated[
    list[str] | None,
    typer.Option(
        "--assume",
        metavar="N:R4C7=1",
        help="What stands in a cell of position N, or =. for nothing. May be repeated.",
    ),
]
_Picture = Annotated[
    str | None,
    typer.Option(
        "--picture",
        metavar="OUT",
        help="Also draw right, wrong and unsure on the photo: OUT ends in .png or .jpg.",
    ),
]
_JsonLines = Annotated[bool, typer.Option("--json-lines", help="Print one JSON object a line.")]


def mark(
    photos: _Photos = None,
    log: _Log = None,
    seconds: _Seconds = None,
    day: _Day = None,
    pupil: _Pupil = None,
    assume: _Assume = None,
    picture: _Picture = None,
    side: Side = 1600,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
    json_lines: _JsonLines = False,
) -> None:
    """Marks photographed practice sheets: right, wrong, blank, or also valid."""
    from papernudge.cli.base.exits import bad_words
    from papernudge.cli.session.assume import parse_assumption
    from papernudge.cli.sheets.log import pupil_named
    from papernudge.cli.terminal.marking import MarkWishes, day_of, run_mark

    if seconds is not None and not math.isfinite(seconds):  # not a number is in no range
        raise bad_words("seconds are")
    if as_json and json_lines:
        raise bad_words("json or json lines")
    output = "json" if as_json else "json lines" if json_lines else "text"
    assumptions = tuple(parse_assumption(text) for text in assume or ())
    where = Path(log) if log is not None else None
    drawn = Path(picture) if picture is not None else None
    name = pupil_named(pupil) if pupil is not None else ""
    wishes = MarkWishes(output, where, seconds, day_of(day), assumptions, drawn, side, name)
    raise typer.Exit(run_mark(photos or [], wishes))


_ProgressLog = Annotated[
    str,
    typer.Argument(metavar="[FILE]", envvar=DEFAULTS["log"], help="A log that mark wrote."),
]
_ProgressPicture = Annotated[
    str | None,
    typer.Option("--picture", metavar="OUT", help="Also draw it: OUT ends in .svg or .png."),
]
_ProgressPupil = Annotated[
    str | None,
    typer.Option(
        "--pupil", metavar="NAME", help="One pupil's sheets alone, with a curve a reason."
    ),
]


def progress(
    log: _ProgressLog = "",
    picture: _ProgressPicture = None,
    pupil: _ProgressPupil = None,
    as_json: Annotated[bool, typer.Option("--json", help="Print one JSON document.")] = False,
) -> None:
    """How practice goes: for each reason and week, how much was right and how long it took.

    Where the log names several pupils, each has its own lines and its own curve.
    """
    from papernudge.cli.base.exits import bad_words
    from papernudge.cli.terminal.progress import run_progress

    if not log:
        raise bad_words("name the log to draw")
    drawn = Path(picture) if picture is not None else None
    raise typer.Exit(run_progress(Path(log), drawn, as_json, pupil))


def register(app: typer.Typer) -> None:
    """Adds the commands."""
    app.command(cls=Command)(drill)
    app.command(cls=Command)(mark)
    app.command(cls=Command)(progress)
