"""What ``--help`` shows: what a person types and what it does, nothing of how it is made."""

from __future__ import annotations

from typing import Any

import typer.core

from papernudge.cli.base.settings import DEFAULTS, settings_file


class Command(typer.core.TyperCommand):
    """A command whose help names each word as it is typed, with its range and default in words.
    Where a word has a default of the user's own, the help ends by saying where that is looked for.
    """

    def get_short_help_str(self, limit: int = 45) -> str:
        """The first sentence of the help, whole however long."""
        return (self.help or "").split("\n\n")[0]

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """The words of the command: a word that may be left out in brackets."""
        return [
            "[OPTIONS]",
            *(str(one.metavar) for one in self.params if one.param_type_name == "argument"),
        ]

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """The words, then the options."""
        for title, kind in (("Words", "argument"), ("Options", "option")):
            ours = [one for one in self.get_params(ctx) if one.param_type_name == kind]
            rows = [_row(one) for one in ours if not getattr(one, "hidden", False)]
            if rows:
                with formatter.section(title):
                    formatter.write_dl(rows)

    def format_epilog(self, ctx: Any, formatter: Any) -> None:
        """Where a book or a log is looked for that was left out."""
        for name, variable in DEFAULTS.items():
            if any(getattr(one, "envvar", None) == variable for one in self.params):
                formatter.write_paragraph()
                formatter.write_text(
                    f"Where no {name} is named, it is the one that {variable} names (an environment"
                    f' variable), or the line {name} = "FILE" in {settings_file()}.'
                )


def _row(one: Any) -> tuple[str, str]:
    if one.param_type_name == "argument":
        return one.metavar, one.help or ""
    takes = "" if one.is_flag else f" {one.metavar}"
    extra = _extra(one)
    return ", ".join(sorted(one.opts, key=len)) + takes, " ".join(filter(None, (one.help, extra)))


def _extra(one: Any) -> str:
    """Range and default, in words, of an option that takes a number or a word."""
    low, high = (getattr(one, name, None) for name in ("min", "max"))
    known = not (one.is_flag or one.default in (None, "") or callable(one.default))
    parts = [f"{one.default} if unsaid" if known else ""]
    if high is not None:
        parts.append(f"{low} to {high}")
    elif low is not None:
        parts.append(f"{low} or more")
    said = "; ".join(part for part in parts if part)
    return f"({said})" if said else ""
