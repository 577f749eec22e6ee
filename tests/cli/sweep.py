"""Every word that a command takes, swept with words that nobody should say.

``python tests/cli/sweep.py [COMMAND]`` tries them all and prints a line of JSON for each run. It is
a process of its own, because it gives up the right to open every file that an administrator has:
else nothing is ever denied. ``test_sweep.py`` judges the lines; a new option that no table here
knows is a failed test. What the photo says is replaced: here it is about words and files.
"""

from __future__ import annotations

import ast
import contextlib
import ctypes
import functools
import io
import json
import os
import shutil
import signal
import socket
import stat
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import Any

GIVENS = ".3.2..5.9.79..438..........3.27....5..8.3.4..4....26.7..........245..76.9.7..6.5."
PATIENCE = 5
"""Seconds that a run may take."""
LONG = "x" * 300
MANY = "9" * 5000

# ---------------------------------------------------------------- what each word is

IN, OUT, BOTH, NUMBER, TEXT = "read", "written", "read and written", "number", "text"
ADDRESS = "address"
"""Swept by the tests of the cluster and of the phone page: each wrong one may take ten seconds."""

BOARDS = {"blocks": TEXT, "regions": TEXT, "extra": TEXT}

KINDS: dict[str, dict[str, str]] = {
    "read": {"photos": IN, "picture": ".png", "side": NUMBER, "assume": TEXT, "grid": NUMBER}
    | {"given_line": TEXT, "entry_line": TEXT, **BOARDS},
    "hint": {"photo": IN, "tell": NUMBER, "since": IN, "picture": ".png", "side": NUMBER}
    | {"assume": TEXT, "grid": NUMBER, "given_line": TEXT, "entry_line": TEXT, **BOARDS},
    "check": {"photos": IN, "tell": NUMBER, "since": IN, "picture": ".png", "side": NUMBER}
    | {"assume": TEXT, "grid": NUMBER, "given_line": TEXT, "entry_line": TEXT, **BOARDS},
    "digitise": {"sources": IN, "book": BOTH, "workers": NUMBER, "cluster": ADDRESS}
    | {"review": ".html", "corrections": IN, "assume": TEXT, "label_from": TEXT},
    "export": {
        "book": IN,
        "label": TEXT,
        "to": ".pdf",
        "minutes": TEXT,
        "hardest": TEXT,
        "needs": TEXT,
        "givens": TEXT,
    }
    | {"source": TEXT, "status": TEXT, "first": NUMBER, "each": NUMBER, "paper": TEXT}
    | BOARDS,
    "drill": {"source": IN, "out": ".pdf", "reason": TEXT, "positions": NUMBER, "each": NUMBER}
    | {"scan": NUMBER, "paper": TEXT, "seed": NUMBER}
    | BOARDS,
    "mark": {"photos": IN, "log": BOTH, "seconds": NUMBER, "day": TEXT, "assume": TEXT}
    | {"picture": ".png", "side": NUMBER, "pupil": TEXT},
    "progress": {"log": IN, "picture": ".svg", "pupil": TEXT},
    "phone": {"host": ADDRESS, "port": NUMBER, "book": BOTH, "log": BOTH}
    | {"certificate": IN, "key": IN},
}
"""For each command its parameters but the flags. What is written is named by the ending that it
must have; all are tried without it too."""

BASE: dict[str, dict[str, list[str]]] = {
    "read": {"given_line": ["--given-line", GIVENS]},
    "hint": {"given_line": ["--given-line", GIVENS]},
    "check": {"given_line": ["--given-line", GIVENS]},
    "digitise": {"sources": ["photo.png"], "book": ["--book", "new.book"]},
    "export": {"book": ["good.book"], "to": ["--to", "out.txt"], "force": ["--force"]},
    "drill": {"source": ["lines.txt"], "out": ["--out", "out.pdf"], "positions": ["--positions=1"]}
    | {"reason": ["--reason", "hidden single in a block"]},
    "mark": {"photos": ["photo.png"]},
    "progress": {"log": ["good.log"]},
    "phone": {"host": ["--host", "127.0.0.1"], "port": ["--port=0"]}
    | {"certificate": ["--certificate=photo.png"], "key": ["--key=photo.png"]},
}
SMALL = ["--picture-side", "200"]
"""Words that work; the one that is swept takes its own place among them."""
ALONE = {
    ("read", "photos"): ["given_line"],
    ("hint", "photo"): ["given_line"],
    ("check", "photos"): ["given_line"],
    ("drill", "scan"): ["reason"],
    ("drill", "seed"): ["source"],
    ("phone", "port"): ["certificate", "key"],
    ("phone", "book"): ["certificate", "key"],
    ("phone", "log"): ["certificate", "key"],
}
"""What must go where a word comes in its place."""

# ---------------------------------------------------------------- words nobody should say

NUMBERS = ("", "x", "-1", "0", "1", "1.5", "1e300", "inf", "-inf", "nan", "9" * 20, MANY, "²", "١")
TEXTS = (
    *("", " ", "x", "-", "-1", "inf", "nan-nan", "-1e999", MANY, "\udcff", "\x1b[2J\r\n", "\u202e"),
    *("0", "." * 81, "1" * 81, "R1C1=" + MANY, MANY + ":R1C1=1", "1:R1C1=.", "٣" * 81, "*" * 3000),
    *("0123456789abcdef-1-1 ok", f"0123456789abcdef-{'9' * 20}-1 ok", "10000-01-01", "0001-01-01"),
    f"0123456789abcdef-1-{'9' * 20} R1C1=1",
)
PATHS = {
    "missing": "missing",
    "in no folder": "missing/missing",
    "below a file": "photo.png/x",
    "folder": "folder",
    "this folder": ".",
    "the root": "/",
    "pipe": "pipe",
    "pipe in a folder": "with-pipe",
    "socket": "socket",
    "no permission": "closed",
    "in a folder without permission": "closed-folder/x",
    "folder without permission": "closed-folder",
    "only to be read": "locked",
    "loop": "loop",
    "folder that holds itself": "circle",
    "link to nothing": "dangling",
    "too long": LONG,
    "far too long": "/".join(["y" * 200] * 30),
    "not UTF-8": "\udcff\udcfe",
    "not UTF-8, missing": "\udcfd",
    "escape": "\x1b[2J\x07\r\n\u202e\x9b",
    "huge": "huge",
    "empty": "empty",
    "no word": "",
    "memory": ":memory:",
    "address": "file:good.book?mode=memory",
    "endless": "/dev/zero",
    "full": "full",
    "nothing": "/dev/null",
    "one of the system": "/proc/self/mem",
    "growing": "/proc/self/pagemap",
    "standard input": "-",
    "standard input's name": "/dev/stdin",
    "home": "~",
    "pattern": "*",
    "another's": "letter",
}
ENDED = tuple(name for name, path in PATHS.items() if not path.startswith("/") and path)
"""Those that are also tried with the ending that the output must have."""
CHANGEABLE = ("another's", "empty", "escape", "huge", "not UTF-8")
"""Those that are ours to write over, where somebody names one as what to write."""
ENDINGS = (".png", ".html", ".pdf", ".svg")


def sandbox(folder: Path) -> None:
    """Lays down a file, or whatever else it is, for each of the paths, also with each ending."""
    os.chdir(folder)
    _device(Path("device"))
    for end in ("", *ENDINGS):
        Path(f"folder{end}").mkdir()
        Path(f"with-pipe{end}").mkdir()
        os.mkfifo(f"pipe{end}")
        os.mkfifo(f"with-pipe{end}/pipe.png")
        with socket.socket(socket.AF_UNIX) as listening:
            listening.bind(f"socket{end}")
        Path(f"closed{end}").write_text("private")
        Path(f"closed{end}").chmod(0)
        Path(f"locked{end}").write_text("private")
        Path(f"locked{end}").chmod(0o444)
        Path(f"loop{end}").symlink_to(f"loop{end}")
        Path(f"circle{end}").mkdir()
        Path(f"circle{end}/again.png").symlink_to(f"../circle{end}")
        Path(f"dangling{end}").symlink_to("gone/gone")
        Path(f"full{end}").symlink_to("device")
        for told in CHANGEABLE:
            _lay_down(PATHS[told] + end)
    Path("closed-folder").mkdir()
    Path("closed-folder/x").write_text("private")
    Path("closed-folder").chmod(0)
    Path("lines.txt").write_text(f"{GIVENS}\n" * 2)


# ---------------------------------------------------------------- running


class TooSlow(BaseException):
    """A run that went on."""


def _ring(number: int, frame: FrameType | None) -> None:
    raise TooSlow


def replace_reading() -> Any:
    """What the photo says, and marking, without their networks. The pixels are still decoded."""
    import numpy as np

    import papernudge.vision.read
    from papernudge.cli.base.opening import open_named
    from papernudge.cli.books import digitise, settle, work
    from papernudge.cli.books.rows import PageDone
    from papernudge.cli.sheets import mark
    from papernudge.cli.sheets.code import SheetPage, Task
    from papernudge.cli.terminal import marking
    from papernudge.vision.grid import GridKind, Quality
    from papernudge.vision.mesh import Mesh
    from papernudge.vision.reading import CellKind, CellReading, GridReading, PageReading

    def cell(given: str) -> CellReading:
        known = given != "."
        kind = CellKind.GIVEN if known else CellKind.BLANK
        return CellReading(kind, int(given) if known else None, 1.0)

    y, x = np.mgrid[0:10, 0:10].astype(np.float64)
    mesh = Mesh(np.stack([20 + 20 * x, 20 + 20 * y], axis=2), np.ones((10, 10), np.bool_))
    grid = GridReading(
        GridKind.PUZZLE, mesh.corners, Quality(True), mesh, tuple(map(cell, GIVENS)), (), (), 1.0
    )
    pixels = np.full((220, 220, 3), 230, np.uint8)
    solved = GIVENS.replace(".", "1")
    task = Task(1, GIVENS, solved, None, 0, ())
    row = work.grid_row(1, grid, pixels)

    def reading(todo: Any, wishes: Any) -> Any:
        for page in todo:
            where = (page.hash, page.number, work.reader(), "read")
            yield (PageDone(*where, grids=[row], puzzles=[settle.settle(row)]),)

    def marked(called: str, assumptions: Any = ()) -> Any:
        photo = open_named(called)
        answer = mark.Marked(task, ((0, 1),), "right")
        return mark.MarkedPage(
            called, SheetPage(1, 1, "a4", 1, 0, (task,)), (answer,), photo.pixels
        )

    papernudge.vision.read.read_page = lambda *_, **__: PageReading((220, 220), (grid,))  # type: ignore[assignment]
    digitise._reading = reading
    marking.mark_photo = marked
    return pixels


def judged(words: list[str]) -> dict[str, Any]:
    """Runs the command here: its code, what it printed, how long it took."""
    from papernudge.cli.app import run

    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    kept = sys.stdin
    sys.stdin = io.TextIOWrapper(io.BytesIO())
    began, code = time.monotonic(), "hung"
    signal.setitimer(signal.ITIMER_REAL, PATIENCE)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = str(run(words))
    except TooSlow:
        pass
    except BaseException as error:
        code = f"raised {type(error).__name__}: {error}"
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        sys.stdin = kept
    said = []
    for stream in (out, err):
        stream.flush()
        said.append(stream.buffer.getvalue().decode("utf-8", "replace"))  # type: ignore[attr-defined]
    return {"code": code, "out": said[0][:2000], "err": said[1][:2000]} | {
        "seconds": time.monotonic() - began
    }


def cases(command: str, name: str) -> Iterator[tuple[str, str]]:
    """What is tried for a parameter: a name, and the word."""
    kind = KINDS[command][name]
    if kind in (NUMBER, TEXT):
        for word in NUMBERS if kind == NUMBER else TEXTS:
            yield f"{word[:30]!r}, {len(word)} long", word
    elif kind != ADDRESS:
        for told, path in PATHS.items():
            if path != "/" or name != "sources":  # that would be every photo of the machine
                yield told, path
        if kind not in (IN, BOTH):
            for path in ENDED:
                yield f"{path}, {kind}", PATHS[path] + kind


def _own(command: str) -> set[str]:
    """The parameters that are swept where no command is named: what ``hint`` shares with ``check``
    goes through the same functions, so it is swept there.
    """
    own = set(KINDS.get(command, {}))
    return own - set(KINDS["check"]) | own & {"tell", "since"} if command == "hint" else own


def line(command: str, name: str, option: str | None, word: str) -> list[str]:
    """The words of a run."""
    gone = [name, *ALONE.get((command, name), ())]
    kept = [w for other, words in BASE[command].items() if other not in gone for w in words]
    kept += SMALL if name == "picture" and command != "progress" else []
    if option is None:
        return [command, *kept, "--", word]
    return [command, *kept, f"{option}={word}"]


def options() -> dict[tuple[str, str], str | None]:
    """Every parameter of every command that is no flag, with its longest spelling; None for an
    argument.
    """
    import typer.main

    from papernudge.cli.app import app

    found: dict[tuple[str, str], str | None] = {}
    group: Any = typer.main.get_command(app)
    for command, what in group.commands.items():
        for one in what.params:
            if not getattr(one, "is_flag", False) and one.name != "help":
                argument = one.param_type_name == "argument"
                found[command, one.name] = None if argument else max(one.opts, key=len)
    return found


def _state(folder: Path) -> dict[str, Any]:
    """What lies there: kind, mode, number on the disk, and size and last change of each file."""
    found: dict[str, Any] = {}
    for path in folder.iterdir():
        one = path.lstat()
        plain = (one.st_size, one.st_mtime_ns) if stat.S_ISREG(one.st_mode) else ()
        found[ascii(path.name)] = (one.st_mode, one.st_ino, *plain)
    return found


async def _not_served(*_: object, **__: object) -> None:
    """A server that is stopped as soon as it runs."""


def main(only: str | None) -> None:
    """Sweeps, one JSON line a run."""
    folder = Path(tempfile.mkdtemp(prefix="sweep-"))
    sandbox(folder)
    pixels = replace_reading()
    import cv2
    import typer.main
    import uvicorn

    uvicorn.Server.serve = _not_served  # type: ignore[method-assign] # it would go on and on
    # The commands are put together once, not for each of the runs.
    typer.main.get_command = functools.cache(typer.main.get_command)
    cv2.imwrite("photo.png", pixels)
    for words in (["digitise", "photo.png", "--book", "good.book"], ["read", "photo.png"]):
        assert judged(words)["code"] == "0", judged(words)
    assert judged(["mark", "photo.png", "--log", "good.log"])["code"] == "0"
    signal.signal(signal.SIGALRM, _ring)
    try:
        start = _state(folder)
        for (command, name), option in options().items():
            if command == only or (only is None and name in _own(command)):
                for told, word in cases(command, name):
                    words = line(command, name, option, word)
                    found = judged(words) | {"command": command, "name": name, "case": told}
                    found["changed"] = _changed(folder, start)
                    print(json.dumps(found), flush=True)
    finally:
        Path("closed-folder").chmod(0o700)
        os.chdir("/")
        shutil.rmtree(folder)


def _changed(folder: Path, start: dict[str, Any]) -> list[str]:
    """What is no longer as it was; what came anew is taken away, and the rest put right."""
    now = _state(folder)
    changed = [name for name, was in start.items() if now.get(name) != was]
    for path in folder.iterdir():
        if ascii(path.name) not in start or ascii(path.name) in changed:
            path.unlink()
    for name in changed:
        _lay_down(ast.literal_eval(name))
    start.update(_state(folder))
    return changed


def _device(path: Path) -> None:
    """One that is always full: of our own where that can be, for an administrator's mistake could
    replace the system's.
    """
    try:
        os.mknod(path, stat.S_IFCHR | 0o666, os.makedev(1, 7))
    except OSError:
        if os.geteuid():
            path.symlink_to("/dev/full")
        else:
            os.mkfifo(path)


def _lay_down(name: str) -> None:
    """One of the files that a command may write over, as it is at first."""
    path = Path(name)
    if name.startswith("huge"):
        with path.open("wb") as huge:
            huge.truncate(5_000_000_000)
    elif name.startswith("empty"):
        path.touch()
    else:
        path.write_text("Dear Lantern,\n" * 30)


def without_privileges() -> None:
    """Before the process starts: takes away an administrator's right to open what is closed."""
    if sys.platform == "linux" and os.geteuid() == 0:
        system = ctypes.CDLL(None)
        drop, override, search = 24, 1, 2  # PR_CAPBSET_DROP, CAP_DAC_OVERRIDE, _READ_SEARCH
        for capability in (override, search):
            system.prctl(drop, capability, 0, 0, 0)


if __name__ == "__main__":
    if os.environ.pop("SWEEP_AGAIN", "1") == "1":
        os.environ["SWEEP_AGAIN"] = "0"
        without_privileges()
        os.execv(sys.executable, [sys.executable, *sys.argv])
    main(sys.argv[1] if len(sys.argv) > 1 else None)
