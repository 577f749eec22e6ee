"""The photo stays home: what the system is asked for while every command runs, and after.

Each command is kept alive for twenty seconds, since what a library sends it may send late; strace
says what all its threads and children ask for. Where the system allows it they run in a network
namespace without routes, so that nothing can leave even where the test fails.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
ALIVE = 20
CALLS = (
    "network,openat,open,creat,mkdir,mkdirat,mknod,mknodat,rename,renameat,renameat2,link,linkat,"
    "symlink,symlinkat,truncate,unlink,unlinkat"
)

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(
        shutil.which("strace") is None,
        reason="strace is not installed (Debian: apt install strace)",
    ),
]

KEPT_ALIVE = f"""
import sys, time
began = time.monotonic()
from papernudge.cli import main
try:
    main()
except SystemExit as end:
    code = end.code
time.sleep(max(0.0, {ALIVE} - (time.monotonic() - began)))
sys.exit(code)
"""
TELLS = """
import os, pathlib, socket
pathlib.Path.home().joinpath("told").write_text("x")
here = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
here.connect(("127.0.0.1", 9))
"""

WANTED = ("--reason", "hidden single in a block", "--positions", "2")
COMMANDS = {
    "read": ("read", "page.jpg", "phone.heic", "--json"),
    "hint": ("hint", "page.jpg", "--tell", "3", "--picture", "out/nudge.png"),
    "check": ("check", "page.jpg", "--tell", "2", "--picture", "out/check.svg"),
    "digitise": (
        *("digitise", "page.jpg", "scan.pdf", "scan.tif", "--book", "out/new.book"),
        *("--workers", "2", "--review", "out/review.html"),
    ),
    "export": ("export", "made.book", "--to", "out/rows.pdf"),
    "drill": ("drill", *WANTED, "--out", "out/sheet.pdf"),
    "mark": ("mark", "sheet.png", "--log", "out/results.log", "--picture", "out/marked.png"),
    "progress": ("progress", "made.log"),
}


@dataclass(frozen=True)
class Seen:
    """What a run left behind: its exit code, what it said, what it asked the system for."""

    code: int
    said: str
    calls: list[str]


@dataclass(frozen=True)
class Desk:
    """A folder with what the commands read, and a home and a temporary folder of their own."""

    folder: Path

    def start(self, name: str, program: str, words: tuple[str, ...]) -> subprocess.Popen[str]:
        env = {k: v for k, v in os.environ.items() if not k.startswith(("ORT_", "XDG_"))}
        env |= {n: str(self.folder / n.lower()) for n in ("HOME", "TMPDIR")}
        env["PYTHONDONTWRITEBYTECODE"] = "1"
        traced = ["strace", "-f", "-qq", "--seccomp-bpf", "-s", "400", "-e", f"trace={CALLS}"]
        log = ["-o", str(self.folder / f"{name}.trace")]
        run = [sys.executable, "-P", "-c", program, *words]
        return subprocess.Popen(
            [*alone(), *traced, *log, *run],
            cwd=self.folder / "work",
            env=env,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )

    def ended(self, name: str, run: subprocess.Popen[str]) -> Seen:
        said, _ = run.communicate(timeout=240)
        trace = (self.folder / f"{name}.trace").read_text("utf-8", "replace")
        return Seen(run.returncode, said, whole_calls(trace))

    def faults(self, seen: Seen) -> list[str]:
        """The calls that reach beyond this desk: another machine, or a file that nobody named."""
        return [call for call in seen.calls if speaks(call) or self._writes(call)]

    def _writes(self, call: str) -> bool:
        name = call.split("(", 1)[0]
        if name in ("openat", "open") and not re.search(r"O_(WRONLY|RDWR|CREAT|TRUNC)", call):
            return False
        if re.search(r"= -1 E", call) or not re.match(
            r"(open|creat|mkdir|mknod|rename|link|symlink|truncate|unlink)", name
        ):
            return False
        if re.search(r'"/proc/\d+/fd/\d+"', call):  # memory that a child shares with its parent
            return False
        paths = [self.folder / "work" / path for path in re.findall(r'"([^"]*)"', call)]
        mine = (self.folder / "work" / "out", self.folder / "tmpdir", Path("/dev/null"))
        # SQLite tidies up beside a book that was named to be read.
        paths = [path for path in paths if not path.name.startswith("made.book")]
        return any(not any(p.is_relative_to(m) for m in mine) for p in paths)


def alone() -> list[str]:
    """How to start a program without a network, where that may be done."""
    for words in (["unshare", "--net"], ["unshare", "--map-root-user", "--net"]):
        if (
            shutil.which("unshare")
            and not subprocess.run([*words, "true"], capture_output=True, check=False).returncode
        ):
            return words
    return []


def whole_calls(trace: str) -> list[str]:
    """The calls of a trace, those that another thread cut in two put together."""
    begun: dict[str, str] = {}
    calls = []
    for line in trace.splitlines():
        who, _, call = line.partition(" ")
        call = call.strip()
        if call.endswith("<unfinished ...>"):
            begun[who] = call.removesuffix("<unfinished ...>")
            continue
        if call.startswith("<... "):
            call = begun.pop(who, "") + call.partition(">")[2]
        calls.append(call)
    return calls


def speaks(call: str) -> bool:
    """Whether a call is about another machine, or connects to anything at all."""
    if call.startswith(("socket(", "socketpair(")):
        return "AF_UNIX" not in call
    return call.startswith(("connect(", "bind(", "listen(", "sendto(")) and "AF_" in call


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    import pypdfium2
    from PIL import Image

    from papernudge.cli.app import run

    folder = tmp_path_factory.mktemp("desk")
    for name in ("work/out", "home", "tmpdir"):
        (folder / name).mkdir(parents=True)
    work = folder / "work"
    shutil.copy(FIXTURES / "clean.jpg", work / "page.jpg")
    shutil.copy(FIXTURES / "phone.heic", work)
    with Image.open(work / "page.jpg") as image:
        page = image.convert("RGB")
    page.copy().save(work / "scan.pdf")
    page.resize((640, 480)).save(work / "scan.tif", save_all=True, append_images=[page.copy()])
    assert run(["digitise", str(work / "page.jpg"), "--book", str(work / "made.book")]) == 0
    assert run(["drill", *WANTED, "--out", str(folder / "sheet.pdf")]) == 0
    with pypdfium2.PdfDocument(folder / "sheet.pdf") as sheet:
        sheet[0].render(scale=2.5).to_pil().save(work / "sheet.png")
    assert run(["mark", str(work / "sheet.png"), "--log", str(work / "made.log")]) == 0
    return Desk(folder)


def test_no_command_speaks_to_anyone_or_writes_where_it_was_not_told(desk: Desk) -> None:
    runs = {name: desk.start(name, KEPT_ALIVE, words) for name, words in COMMANDS.items()}
    ended = {name: desk.ended(name, run) for name, run in runs.items()}
    for name, seen in ended.items():
        assert seen.code == 0, (name, seen.said)
        assert len(seen.calls) > 100
        assert desk.faults(seen) == [], name
    assert not list((desk.folder / "home").iterdir())
    assert not list((desk.folder / "tmpdir").iterdir())
    written = {path.name for path in (desk.folder / "work" / "out").iterdir()}
    named = {
        Path(word).name for words in COMMANDS.values() for word in words if word.startswith("out/")
    }
    assert written == named


def test_a_program_that_speaks_and_writes_is_seen(desk: Desk) -> None:
    """So that the test above can fail."""
    found = desk.faults(desk.ended("tells", desk.start("tells", TELLS, ())))
    assert any(call.startswith("socket(AF_INET") for call in found)
    assert any(call.startswith("connect(") for call in found)
    assert any(call.startswith("openat(") and "home/told" in call for call in found)
    (desk.folder / "home" / "told").unlink()


def test_every_command_is_in_the_table() -> None:
    from papernudge.cli.app import app

    known = {command.name or getattr(command.callback, "__name__", "") for command in
             app.registered_commands}  # fmt: skip
    assert known - {"phone"} == set(COMMANDS)
