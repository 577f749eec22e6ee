"""What ``--help`` shows: what a person types and what it does, nothing of how it is made; and what
is said of words that are off.

The help of a word stands where the word is made, in English; another language's catalogue has it by
that text. What typer and the words of a command are called (``OUT``, ``--tell``) is typed, and
stays.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import typer
import typer.core

from papernudge.cli.base.breaking import columns, full_width, lines_of, padded
from papernudge.cli.base.settings import DEFAULTS, settings_file
from papernudge.cli.said import in_words, spoken
from papernudge.cli.said.languages import LANGUAGES
from papernudge.hints.catalogue import Either, Message, message


def helped(text: str) -> str:
    """The help of a command or a word, in the language that is spoken."""
    return spoken().said.get(f"help: {text}", text)


class _Told:
    """What commands and their list have in common: titles and texts out of the catalogue."""

    help: Any
    params: Any
    get_params: Any

    def get_short_help_str(self, limit: int = 45) -> str:
        """The first sentence of the help, whole however long."""
        return helped(self.help or "").split("\n\n")[0]

    def format_usage(self, ctx: Any, formatter: Any) -> None:
        """The line that shows all words at once."""
        words = " ".join(self.collect_usage_pieces(ctx))
        formatter.write_usage(ctx.command_path, words, f"{in_words('help, usage')} ")

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """The words of the command: a word that may be left out in brackets."""
        named = [str(one.metavar) for one in self.params if one.param_type_name == "argument"]
        return ["[OPTIONS]", *named]

    def format_help_text(self, ctx: Any, formatter: Any) -> None:
        """What the command does."""
        formatter.write_paragraph()
        with formatter.indentation():
            _write(formatter, helped(self.help or ""))

    def _format_rows(self, ctx: Any, formatter: Any) -> None:
        for title, kind in (("help, words", "argument"), ("help, options", "option")):
            ours = [one for one in self.get_params(ctx) if one.param_type_name == kind]
            rows = [_row(one) for one in ours if not getattr(one, "hidden", False)]
            if kind == "option":
                rows.insert(-1, _language_row())
            if rows:
                with formatter.section(in_words(title)):
                    _write_rows(formatter, rows)


class Command(_Told, typer.core.TyperCommand):
    """A command whose help names each word as it is typed, with its range and default in words.
    Where a word has a default of the user's own, the help ends by saying where that is looked for.
    """

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """The words, then the options."""
        self._format_rows(ctx, formatter)

    def format_epilog(self, ctx: Any, formatter: Any) -> None:
        """Where a book or a log is looked for that was left out."""
        for name, variable in DEFAULTS.items():
            if any(getattr(one, "envvar", None) == variable for one in self.params):
                said = in_words(
                    "help, default place", name=name, variable=variable, settings=settings_file()
                )
                formatter.write_paragraph()
                _write(formatter, said)


class Commands(_Told, typer.core.TyperGroup):
    """The list of the commands, in the language that is spoken."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:
        """The command comes after the options."""
        return ["[OPTIONS]", "COMMAND [ARGS]..."]

    def format_options(self, ctx: Any, formatter: Any) -> None:
        """The options, then the commands."""
        self._format_rows(ctx, formatter)
        rows = [(name, one.get_short_help_str()) for name, one in self.commands.items()]
        with formatter.section(in_words("help, commands")):
            _write_rows(formatter, rows)

    def format_epilog(self, ctx: Any, formatter: Any) -> None:
        """The exit codes."""
        formatter.write_paragraph()
        with formatter.indentation():
            _write(formatter, helped(self.epilog or ""))


def _write(formatter: Any, text: str) -> None:
    """Paragraphs; typer breaks them where letters are one column wide."""
    if not full_width(text):
        formatter.write_text(text)
        return
    blanks = " " * formatter.current_indent
    wide = formatter.width - formatter.current_indent
    paragraphs = [" ".join(part.split("\n")) for part in text.split("\n\n")]
    parts = [lines_of(part, lambda line: columns(line) <= wide) for part in paragraphs]
    formatter.write("\n\n".join("\n".join(f"{blanks}{line}" for line in part) for part in parts))
    formatter.write("\n")


def _write_rows(formatter: Any, rows: list[tuple[str, str]]) -> None:
    """Words and what they do, in two columns."""
    if not any(full_width(said) for _, said in rows):
        formatter.write_dl(rows)
        return
    first = min(30, max(columns(word) for word, _ in rows)) + 2
    blanks = " " * formatter.current_indent
    room = formatter.width - formatter.current_indent - first
    for word, said in rows:
        lines = lines_of(said, lambda line: columns(line) <= room)
        formatter.write(f"{blanks}{padded(word, first)}{lines[0]}\n")
        for line in lines[1:]:
            formatter.write(f"{blanks}{' ' * first}{line}\n")


def texts(app: Any) -> Iterator[str]:
    """Every help text of a command line, once, as it stands where its word is made."""
    root = typer.main.get_command(app)
    seen: dict[str, None] = {}
    for command in (root, *root.commands.values()):  # type: ignore[attr-defined]
        context = command.make_context(command.name, [], resilient_parsing=True)
        told = (command.help, command.epilog, *(one.help for one in command.get_params(context)))
        seen |= dict.fromkeys(text for text in told if text)
    return iter(seen)


def _language_row() -> tuple[str, str]:
    return "--language CODE", in_words("help, language", languages=", ".join(LANGUAGES))


def _row(one: Any) -> tuple[str, str]:
    said = helped(one.help or "")
    if one.param_type_name == "argument":
        return one.metavar, said
    takes = "" if one.is_flag else f" {one.metavar}"
    extra = _extra(one)
    return ", ".join(sorted(one.opts, key=len)) + takes, in_words(
        "help, with aside", help=said, aside=extra
    ) if extra else said


def _extra(one: Any) -> str:
    """Range and default, in words, of an option that takes a number or a word."""
    known = not (one.is_flag or one.default in (None, "") or callable(one.default))
    parts: list[Message | None] = [message("help, unsaid", default=one.default) if known else None]
    parts.append(_range(one))
    return spoken().chained("help, asides", [part for part in parts if part])


def _range(one: Any) -> Message | None:
    low, high = (getattr(one, name, None) for name in ("min", "max"))
    if high is not None:
        return message("help, range", low=low, high=high)
    return None if low is None else message("help, at least", low=low)


def complaint(error: Any, command: Any) -> Message | None:
    """What is wrong with the words, by the kind of typer's own complaint; None for another kind.
    ``command``: the command that they call, None where they call none.
    """
    called = f"papernudge {command.name} --help" if command is not None else "papernudge --help"
    kind = type(error).__name__
    name = getattr(error, "option_name", None)
    if kind == "NoSuchOption":
        meant = [one for one in error.possibilities or () if one != "--help"]
        if meant:
            return message("no such option, meant", option=name, meant=Either(meant))
        return message("no such option", option=name, helped=called)
    if kind == "BadOptionUsage" and command is not None:
        found = next((one for one in command.params if name in one.opts), None)
        return None if found is None else _takes(found, called)
    if kind == "BadParameter" and getattr(error, "param", None) is not None:
        return _takes(error.param, called)
    if kind == "UsageError" and getattr(error, "ctx", None) is not None:
        none = command is None
        return message("no such command") if none else message("words too many", helped=called)
    return None


def _takes(one: Any, called: str) -> Message:
    option = max(one.opts, key=len) if one.param_type_name == "option" else one.metavar
    if getattr(one, "is_flag", False):
        return message("option takes none", option=option, helped=called)
    within = None if any(map(str.isdigit, one.metavar)) else _range(one)
    if within is None:
        return message("option takes", option=option, takes=one.metavar, helped=called)
    return message(
        "option takes, range", option=option, takes=one.metavar, range=within, helped=called
    )
