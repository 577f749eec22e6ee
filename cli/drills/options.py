"""The words of ``drill``."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def drill(
    source: Annotated[
        str | None,
        typer.Argument(
            metavar="SOURCE",
            help="A book, or a file of 81-character lines; puzzles of our own if unsaid.",
        ),
    ] = None,
    out: Annotated[
        str, typer.Option("--out", metavar="SHEET.pdf", help="The sheet to write.")
    ] = "",
    reason: Annotated[
        list[str] | None,
        typer.Option(
            "--reason",
            metavar="NAME",
            help="What to practise: 'hidden pair', 'hidden single in a block', 'several cells in a"
            " row with 3 blanks'. May be repeated.",
        ),
    ] = None,
    positions: Annotated[
        int | None,
        typer.Option(
            "--positions",
            metavar="N",
            min=1,
            max=400,
            help="How many, for each reason: 12 if unsaid, with --scan 1.",
        ),
    ] = None,
    each: Annotated[
        int, typer.Option("--each", metavar="N", min=1, max=9, help="Positions on a page.")
    ] = 4,
    scan: Annotated[
        int | None,
        typer.Option(
            "--scan",
            metavar="MINUTES",
            min=1,
            max=60,
            help="One position a page: as many digits as you can find in that time.",
        ),
    ] = None,
    paper: Annotated[str, typer.Option("--paper", metavar="SIZE", help="a4 or letter.")] = "a4",
    seed: Annotated[
        int, typer.Option("--seed", metavar="N", min=0, help="Another one, another choice.")
    ] = 0,
) -> None:
    """A sheet to practise one kind of reason on, with answers behind and a code that mark reads."""
    from papernudge.cli.drills.find import DrillWishes, run_drill
    from papernudge.cli.exits import bad_words

    if not out:
        raise bad_words("Name the sheet to write: --out SHEET.pdf.")
    if paper.lower() not in ("a4", "letter"):
        raise bad_words(f"--paper is a4 or letter; got {paper!r}.")
    raise typer.Exit(
        run_drill(
            DrillWishes(
                Path(source) if source else None,
                Path(out),
                reason or (),
                positions or (1 if scan else 12),
                each,
                paper.lower(),
                seed,
                scan or 0,
            )
        )
    )


def register(app: typer.Typer) -> None:
    """Adds the commands."""
    app.command()(drill)
