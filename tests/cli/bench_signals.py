"""Signals at random moments: ``python tests/cli/bench_signals.py [SIGINT] [SIGTERM] [SEED]``.

Every command is started so many times and sent a signal at a random moment between its first line
and its usual end, as Ctrl-C at a terminal does to all of its processes, or to it alone; half of
them in the first half second, where imports are. A run is at fault if it takes more than a second
to end, shows a traceback, ends in another code than 130 (143), or than 0 where it was done just
before, or leaves anything: a process, a lock, a temporary file.

What strikes before the first line meets Python's own start, which nothing written in Python can
change: it ends by the signal, or with Python's own traceback.
"""

from __future__ import annotations

import contextlib
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
WANTED = ("--reason", "hidden single in a block", "--positions", "2")
COMMANDS = {
    "read": ("read", "a.jpg", "b.jpg", "c.heic", "--json"),
    "hint": ("hint", "a.jpg", "--tell", "3", "--picture", "out/nudge.png"),
    "check": ("check", "a.jpg", "b.jpg"),
    "digitise": ("digitise", "shelf", "--book", "out/new.book", "--workers", "2"),
    "one worker": ("digitise", "shelf", "--book", "out/new.book", "--workers", "1"),
    "export": ("export", "made.book", "--to", "out/rows.pdf"),
    "drill": ("drill", *WANTED, "--out", "out/sheet.pdf"),
    "mark": ("mark", "sheet.png", "--log", "out/results.log", "--picture", "out/marked.png"),
    "progress": ("progress", "made.log", "--picture", "out/progress.png"),
}
ENDS = {signal.SIGINT: 130, signal.SIGTERM: 143}
MOMENT = 1.0
"""Seconds in which a run must have ended."""
PROGRAM = """
import os, sys
from papernudge.cli import main
mark = os.environ.get("STARTED")
if mark:
    from papernudge.cli.base import stopping
    listen = stopping.listen
    def heard():
        listen()
        os.close(os.open(mark, os.O_CREAT | os.O_WRONLY))
    stopping.listen = heard
main()
"""


@dataclass(frozen=True)
class Ended:
    """What a signal made of a run. ``late``: seconds from the signal to the end."""

    command: str
    code: int
    fault: str
    late: float


def prepare(desk: Path) -> None:
    """Lays down what the commands read."""
    import pypdfium2
    from PIL import Image

    (desk / "shelf").mkdir()
    shutil.copy(FIXTURES / "clean.jpg", desk / "a.jpg")
    shutil.copy(FIXTURES / "kitchen-table.jpg", desk / "b.jpg")
    shutil.copy(FIXTURES / "phone.heic", desk / "c.heic")
    for name in ("clean.jpg", "solved.jpg", "two-grids.jpg", "notes.jpg"):
        shutil.copy(FIXTURES / name, desk / "shelf")
    with Image.open(desk / "a.jpg") as image:
        image.convert("RGB").save(desk / "shelf" / "scan.pdf")
    quietly(desk, "digitise", "a.jpg", "--book", "made.book")
    quietly(desk, "drill", *WANTED, "--out", "sheet.pdf")
    with pypdfium2.PdfDocument(desk / "sheet.pdf") as sheet:
        sheet[0].render(scale=2.5).to_pil().save(desk / "sheet.png")
    quietly(desk, "mark", "sheet.png", "--log", "made.log")


def quietly(desk: Path, *words: str) -> None:
    """Runs a command to its end."""
    run = [sys.executable, "-m", "papernudge.cli", *words]
    subprocess.run(run, cwd=desk, check=True, capture_output=True)


def start(desk: Path, words: tuple[str, ...], mark: Path) -> subprocess.Popen[bytes]:
    """The command in a group of its own, as a shell starts it."""
    shutil.rmtree(desk / "out", ignore_errors=True)
    (desk / "out").mkdir()
    env = {**os.environ, "TMPDIR": str(desk / "tmp"), "STARTED": str(mark)}
    (desk / "tmp").mkdir(exist_ok=True)
    mark.unlink(missing_ok=True)
    return subprocess.Popen(
        [sys.executable, "-c", PROGRAM, *words],
        cwd=desk,
        env=env,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        process_group=0,
        # A shell starts what runs in its background deaf to Ctrl-C, this benchmark among it.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )


def left(desk: Path) -> list[str]:
    """What should not be there any more: processes at work on this desk, locks, temporary files."""
    found = [f"process {pid}" for pid in at_work(desk)]
    for path in [*(desk / "out").iterdir(), *(desk / "tmp").iterdir()]:
        if path.name.startswith(".") or path.name.endswith(("-lock", "-wal", "-shm", "-journal")):
            found.append(path.name)
        elif path.parent.name == "tmp":
            found.append(f"tmp/{path.name}")
    return found


def at_work(desk: Path) -> list[str]:
    """Processes whose current folder is this desk."""
    found = []
    for process in Path("/proc").glob("[0-9]*"):
        try:
            here = (process / "cwd").readlink() == desk
            alive = (process / "stat").read_text().rpartition(")")[2].split()[0] != "Z"
        except OSError:
            continue
        if here and alive:
            found.append(process.name)
    return found


def stopped(desk: Path, name: str, number: signal.Signals, after: float, all_: bool) -> Ended:
    """One run, one signal."""
    mark = desk / "started"
    run = start(desk, COMMANDS[name], mark)
    while not mark.exists() and run.poll() is None:
        time.sleep(0.002)
    with contextlib.suppress(subprocess.TimeoutExpired):
        run.wait(after)
    with contextlib.suppress(ProcessLookupError):
        os.killpg(run.pid, number) if all_ else run.send_signal(number)
    sent = time.monotonic()
    try:
        _, said = run.communicate(timeout=30)
    except subprocess.TimeoutExpired:
        run.kill()
        run.communicate()
        return Ended(name, run.returncode, "hangs", 30.0)
    late = time.monotonic() - sent
    time.sleep(0.02)
    fault = ""
    if b"Traceback" in said or b"Exception" in said or b"fault of" in said:
        fault = said.decode("utf-8", "replace").strip()[-300:]
    elif run.returncode not in (0, ENDS[number]):
        fault = f"code {run.returncode}: {said[-200:]!r}"
    elif rest := left(desk):
        fault = f"left {rest}"
    elif late > MOMENT:
        fault = f"{late:.1f} s"
    return Ended(name, run.returncode, fault, late)


def usual(desk: Path, name: str) -> float:
    """Seconds that the command takes when it is left alone."""
    began = time.monotonic()
    run = start(desk, COMMANDS[name], desk / "started")
    _, said = run.communicate()
    assert run.returncode == 0, (name, said)
    return time.monotonic() - began


def main(interrupts: int, terms: int, seed: int) -> int:
    """Prints the table; 1 if a run was at fault."""
    dice = random.Random(seed)
    ends: list[Ended] = []
    with tempfile.TemporaryDirectory() as name:
        desk = Path(name).resolve()
        prepare(desk)
        names = list(COMMANDS)
        long = {one: usual(desk, one) for one in names}
        plan = [signal.SIGINT] * interrupts + [signal.SIGTERM] * terms
        for turn, number in enumerate(plan):
            one = names[turn % len(names)]
            most = long[one] if dice.random() < 0.5 else min(0.5, long[one])
            ends.append(stopped(desk, one, number, dice.uniform(0, most), dice.random() < 0.5))
    for one in names:
        codes = Counter(end.code for end in ends if end.command == one)
        faults = [end.fault for end in ends if end.command == one and end.fault]
        told = ", ".join(f"{count} × {code}" for code, count in sorted(codes.items()))
        print(f"{one:<12} {len(faults):3} at fault of {codes.total():3}: {told}")
        for fault in faults[:6]:
            print("   ", fault)
    slowest = max((end.late for end in ends), default=0.0)
    faults = [end for end in ends if end.fault]
    print(f"{len(ends)} runs, {len(faults)} at fault, slowest end {slowest:.2f} s")
    return int(bool(faults))


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        told = [int(word) for word in sys.argv[1:4]]
        sys.exit(main(*(told + [200, 100, 1][len(told) :])))
