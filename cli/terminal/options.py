"""Words that several commands share."""

from __future__ import annotations

from typing import Annotated

import typer

GivenLine = Annotated[
    str | None,
    typer.Option(
        "--given-line",
        metavar="TEXT",
        help="81 characters in place of a photo: the printed digits. Of other boards as many as"
        " they have cells, A for 10, B for 11 and so on.",
    ),
]
EntryLine = Annotated[
    str | None,
    typer.Option("--entry-line", metavar="TEXT", help="81 characters: the digits you wrote."),
]
Blocks = Annotated[
    str | None,
    typer.Option(
        "--blocks",
        metavar="2x3",
        help="The board, whatever a photo shows: rows x columns of its blocks, up to 4x4.",
    ),
]
Regions = Annotated[
    str | None,
    typer.Option(
        "--regions",
        metavar="TEXT",
        help="A board with blocks of any form, whatever a photo shows: a letter for each cell, the"
        " same in a block.",
    ),
]
Diagonals = Annotated[
    bool,
    typer.Option("--diagonals", help="Both diagonals of the board hold each digit once."),
]
Extra = Annotated[
    list[str] | None,
    typer.Option(
        "--extra",
        metavar="TEXT",
        help="Extra blocks of the board: a letter for each of their cells and . for others. May be"
        " repeated.",
    ),
]

Side = Annotated[
    int,
    typer.Option(
        "--picture-side",
        metavar="N",
        min=200,
        max=20000,
        help="Longest side of the picture, pixels.",
    ),
]
