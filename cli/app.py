"""The command line: words in, exit codes out. Each command's work is imported when it is run."""

from __future__ import annotations

import errno
import io
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import IO, Annotated

import typer

from papernudge.cli.base import stopping
from papernudge.cli.base.exits import Exit, code_of, from_fault
from papernudge.cli.base.helping import Command, Commands, complaint
from papernudge.cli.base.language import asked_for, in_language
from papernudge.cli.base.limits import OF_A_FILE
from papernudge.cli.base.paths import why
from papernudge.cli.base.say import say, show
from papernudge.cli.base.settings import defaults
from papernudge.cli.base.trouble import Trouble
from papernudge.cli.phone.options import register as register_phone
from papernudge.cli.said import in_words, spoken
from papernudge.cli.terminal.book_options import register
from papernudge.cli.terminal.options import (
    Blocks,
    Diagonals,
    EntryLine,
    Extra,
    GivenLine,
    Regions,
    Side,
)
from papernudge.cli.terminal.sheet_options import register as register_drills

app = typer.Typer(
    name="papernudge",
    help="Photograph a sudoku on paper; get one gentle, exact nudge. Photos stay on this machine.",
    epilog="Exit codes: 0 done, 1 check found a mistake, 2 the command's words are off, 3 no grid"
    " or one too poor to read, 4 not exactly one solution, 5 a file can't be read or written,"
    " 6 a doubt must be answered first, 70 a fault of papernudge, 130 stopped, 143 told"
    " to end, 141 nobody read on.",
    cls=Commands,
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
)

Photos = Annotated[
    list[str] | None,
    typer.Argument(metavar="[PHOTO]...", help=f"Photo files; - reads standard input. {OF_A_FILE}"),
]
OnePhoto = Annotated[
    str | None,
    typer.Argument(metavar="[PHOTO]", help=f"A photo file; - reads standard input. {OF_A_FILE}"),
]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document.")]
JsonLines = Annotated[
    bool, typer.Option("--json-lines", help="Print one JSON object a line, as each is ready.")
]
Picture = Annotated[
    str | None,
    typer.Option(
        "--picture",
        metavar="OUT",
        help="Also draw it on the photo: OUT ends in .png or .jpg. With .svg, and for lines, a"
        " clean board is drawn.",
    ),
]
Assume = Annotated[
    list[str] | None,
    typer.Option(
        "--assume",
        metavar="[N:]R4C7=1",
        help="Overrule a reading: =1, =given:1, =entry:1, =. for nothing. May be repeated.",
    ),
]
Grid = Annotated[
    int | None,
    typer.Option(
        "--grid", metavar="N", min=1, help="Which grid on the page; else the first puzzle."
    ),
]
Tell = Annotated[
    int, typer.Option("--tell", metavar="1-4", min=1, max=4, help="How much to tell: the depth.")
]
TellHint = Annotated[
    int | None,
    typer.Option(
        "--tell",
        metavar="1-4",
        min=1,
        max=4,
        help="How much to tell: the depth. 1 if left out; with --walk 4.",
    ),
]
Walk = Annotated[
    bool,
    typer.Option("--walk", help="The whole solve from here; no digits with --tell 1, 2 or 3."),
]
Route = Annotated[
    bool,
    typer.Option("--route", help="With --walk: in an order that keeps the eye's way short."),
]
Uniqueness = Annotated[
    bool,
    typer.Option("--uniqueness", help="Allow steps that lean on there being one solution."),
]
Since = Annotated[
    str | None,
    typer.Option("--since", metavar="EARLIER", help="An earlier photo of the same grid."),
]
Sentences = Annotated[
    bool, typer.Option("--sentences", help="No drawn boards: sentences only, for a screen reader.")
]


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        show(f"papernudge {version('papernudge')}")
        raise typer.Exit


@app.callback()
def _main(
    version: Annotated[
        bool,
        typer.Option("--version", is_eager=True, callback=_version, help="Say which version."),
    ] = False,
) -> None:
    pass


@app.command(cls=Command)
def read(
    photos: Photos = None,
    as_json: Json = False,
    json_lines: JsonLines = False,
    picture: Picture = None,
    side: Side = 1600,
    assume: Assume = None,
    grid: Grid = None,
    given_line: GivenLine = None,
    entry_line: EntryLine = None,
    blocks: Blocks = None,
    regions: Regions = None,
    diagonals: Diagonals = False,
    extra: Extra = None,
    sentences: Sentences = False,
) -> None:
    """What the page says, and what is in doubt."""
    from papernudge.cli.terminal.commands import Wishes, run_read
    from papernudge.cli.terminal.sources import Lines

    lines = Lines.of(given_line, entry_line, blocks, regions, diagonals, extra)
    wishes = Wishes.of(as_json, json_lines, picture, side, assume, grid, sentences, lines.known)
    raise typer.Exit(run_read(photos or [], lines, wishes))


@app.command(cls=Command)
def hint(
    photo: OnePhoto = None,
    tell: TellHint = None,
    walk: Walk = False,
    route: Route = False,
    since: Since = None,
    uniqueness: Uniqueness = False,
    as_json: Json = False,
    json_lines: JsonLines = False,
    picture: Picture = None,
    side: Side = 1600,
    assume: Assume = None,
    grid: Grid = None,
    given_line: GivenLine = None,
    entry_line: EntryLine = None,
    blocks: Blocks = None,
    regions: Regions = None,
    diagonals: Diagonals = False,
    extra: Extra = None,
    sentences: Sentences = False,
) -> None:
    """The next simplest step, gently.

    Depth 1 says where to look, 2 names the technique, 3 shows the evidence, 4 gives the digit.
    Not for use during a contest round.
    """
    from papernudge.cli.terminal.commands import Wishes, run_hint
    from papernudge.cli.terminal.sources import Lines

    lines = Lines.of(given_line, entry_line, blocks, regions, diagonals, extra)
    wishes = Wishes.of(as_json, json_lines, picture, side, assume, grid, sentences, lines.known)
    photos = [] if photo is None else [photo]
    raise typer.Exit(run_hint(photos, lines, wishes, tell, walk, since, uniqueness, route))


@app.command(cls=Command)
def check(
    photos: Photos = None,
    tell: Tell = 1,
    since: Since = None,
    as_json: Json = False,
    json_lines: JsonLines = False,
    picture: Picture = None,
    side: Side = 1600,
    assume: Assume = None,
    grid: Grid = None,
    given_line: GivenLine = None,
    entry_line: EntryLine = None,
    blocks: Blocks = None,
    regions: Regions = None,
    diagonals: Diagonals = False,
    extra: Extra = None,
    sentences: Sentences = False,
) -> None:
    """Is the paper right so far?

    Depth 1 says how much is wrong, 2 in which houses, 3 in which cells and what to rub out
    first, 4 the right digits.
    """
    from papernudge.cli.terminal.commands import Wishes, run_check
    from papernudge.cli.terminal.sources import Lines

    lines = Lines.of(given_line, entry_line, blocks, regions, diagonals, extra)
    wishes = Wishes.of(as_json, json_lines, picture, side, assume, grid, sentences, lines.known)
    raise typer.Exit(run_check(photos or [], lines, wishes, tell, since))


register(app)  # digitise and export
register_drills(app)  # drill, mark and progress
register_phone(app)


def run(arguments: Sequence[str]) -> int:
    """Runs the command and gives its exit code; nothing but a sentence reaches the user."""
    if sys.stdin is None:  # closed by the caller
        sys.stdin = Path(os.devnull).open(encoding="utf-8")  # noqa: SIM115 - open to the end
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            nowhere = Path(os.devnull).open("w", encoding="utf-8")  # noqa: SIM115 - open to the end
            setattr(sys, name, nowhere)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # odd file names and old terminals must not crash
            stream.reconfigure(errors="backslashreplace")
    code = _in_a_language(list(arguments))
    return stopping.code() or code


def _in_a_language(arguments: list[str]) -> int:
    try:
        language, words = asked_for(arguments)
    except Trouble as trouble:
        with in_language(None):
            return _told(trouble.sentence, code_of(trouble))
    with in_language(language):
        return _ended(words)


def _ended(arguments: list[str]) -> int:
    """The exit code of the command, with its one sentence said."""
    try:
        code = _dispatch(arguments)
        sys.stdout.flush()
    except BrokenPipeError:  # the reader of our output went away, as head does
        return _unheard()
    except KeyboardInterrupt:
        return int(Exit.STOPPED)
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EIO, errno.EBADF):
            return _fault(error)
        _forget(sys.stdout)
        said = why(error) if error.strerror else in_words("it is closed")
        return _told(in_words("answer can't be written", why=said), Exit.FILE)
    except Trouble as trouble:
        return _told(trouble.sentence, code_of(trouble))
    except MemoryError:
        return _told(in_words("not enough memory"), Exit.FAULT)
    except Exception as fault:
        return _fault(fault)
    return code


def _fault(fault: Exception) -> int:
    if stopping.code() is not None:  # a signal, whatever was made of it on its way up
        return int(Exit.STOPPED)
    stop = from_fault(fault)
    return _told(stop.sentence, stop.code)


def _dispatch(arguments: list[str]) -> int:
    try:
        result = app(
            arguments,
            prog_name="papernudge",
            standalone_mode=False,
            default_map=defaults(arguments),
        )
    except typer.Exit as done:
        return int(done.exit_code)
    except typer.Abort:
        return int(Exit.STOPPED)
    except SystemExit as end:  # typer's answer to a closed pipe is 1, which is ours for a mistake
        return _unheard() if isinstance(end.__context__, BrokenPipeError) else int(end.code or 0)
    except _usage_error() as error:
        if type(error).__name__ == "NoArgsIsHelpError":
            show(_message(error), sys.stderr)
            return int(Exit.WORDS)
        return _told(_misused(error, arguments), Exit.WORDS)
    return int(result or 0)


def _misused(error: Exception, arguments: list[str]) -> str:
    """What is wrong with the words, in the language that is spoken."""
    known = getattr(typer.main.get_command(app), "commands", {})
    says = complaint(error, known.get(arguments[0]) if arguments else None)
    if says is not None:
        return spoken().tell(says)
    return in_words("not understood", what=" ".join(_message(error).split()).rstrip("."))


def _usage_error() -> type[Exception]:
    """The root of typer's own complaints about the words; typer exports only a twig of it."""
    family = typer.BadParameter.__mro__
    found = next((c for c in family if c.__name__ == "ClickException"), typer.BadParameter)
    assert issubclass(found, Exception)
    return found


def _message(error: Exception) -> str:
    said = getattr(error, "format_message", None)
    return str(said() if said is not None else error)


def _told(sentence: str, code: Exit) -> int:
    if stopping.code() is None:
        try:
            say(sentence, sys.stderr)
        except BrokenPipeError:
            return _unheard()
    return int(code)


def _unheard() -> int:
    """Whoever read our output went away. What was to be said is not known to have arrived, so the
    code is neither 0 nor 1: it is 141, as of any program that a closed pipe ends.
    """
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError:
            _forget(stream)
    return int(Exit.PIPE)


def _forget(stream: IO[str]) -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
