"""Words that several commands share."""

from __future__ import annotations

from typing import Annotated

import typer

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
