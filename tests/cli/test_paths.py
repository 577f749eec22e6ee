"""What is written is kept apart from what is read, and only files are opened."""

from __future__ import annotations

import os
import socket
import stat
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from samples import chosen

from papernudge.cli.base.exits import Exit, Stop
from papernudge.cli.base.files import write_whole
from papernudge.cli.base.paths import Named, keep_apart, open_regular, read_regular, real

Run = Callable[..., Any]
unix = pytest.mark.skipif(sys.platform == "win32", reason="pipes and modes are unlike here")


# ---------------------------------------------------------------- reading


@unix
def test_only_a_regular_file_is_opened_and_nothing_is_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "link").symlink_to("pipe")
    with socket.socket(socket.AF_UNIX) as listening:
        listening.bind(str(tmp_path / "socket"))
    for path, said in (
        (tmp_path, "it is a folder"),
        (tmp_path / "pipe", "it is a pipe"),
        (tmp_path / "link", "it is a pipe"),
        (tmp_path / "socket", "it is a socket"),
        (Path("/dev/zero"), "it is a device"),
    ):
        began = time.monotonic()
        with pytest.raises(OSError, match=said):
            open_regular(path)
        assert time.monotonic() - began < 1


@unix
def test_a_writer_who_waits_at_a_pipe_is_not_woken(tmp_path: Path) -> None:
    """Opening a pipe and leaving again would end whoever writes to it."""
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    writer = threading.Thread(target=lambda: os.close(os.open(pipe, os.O_WRONLY)))
    writer.start()
    with pytest.raises(OSError, match="pipe"):
        open_regular(pipe)
    writer.join(0.2)
    assert writer.is_alive()
    os.close(os.open(pipe, os.O_RDONLY | os.O_NONBLOCK))
    writer.join(5)
    assert not writer.is_alive()


def test_a_file_that_is_too_long_is_not_read(tmp_path: Path) -> None:
    path = tmp_path / "long"
    with path.open("wb") as file:
        file.truncate(3_000_000_000)
    with pytest.raises(OSError, match="longer than 1 MB"):
        read_regular(path, 1_000_000)


@pytest.mark.skipif(not Path("/proc/self/pagemap").exists(), reason="no such file here")
def test_a_file_that_says_to_be_short_and_goes_on_is_not_read_to_its_end() -> None:
    with pytest.raises(OSError, match=r"longer than 1 MB|ermitted|ermission"):
        read_regular(Path("/proc/self/pagemap"), 1_000_000)


def test_the_real_path_of_anything_is_found_without_an_error(tmp_path: Path) -> None:
    (tmp_path / "loop").symlink_to("loop")
    for odd in (tmp_path / "loop" / "x", Path("x" * 5000), Path(), Path("\udcff"), Path("a/../b")):
        assert real(odd).is_absolute()


# ---------------------------------------------------------------- one file in two parts


@pytest.fixture
def kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A file in the current folder, under several names."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "inner").mkdir()
    path = tmp_path / "s.png"
    path.write_bytes(b"# mine")
    (tmp_path / "soft.png").symlink_to(path)
    (tmp_path / "twice.png").symlink_to("soft.png")
    os.link(path, tmp_path / "hard.png")
    (tmp_path / "way").symlink_to("inner")
    return path


@pytest.mark.parametrize(
    "other",
    ["s.png", "./s.png", "inner/../s.png", "way/../s.png", "soft.png", "twice.png", "hard.png"],
)
def test_a_file_is_known_under_all_its_names(kept: Path, other: str) -> None:
    with pytest.raises(Stop) as stopped:
        keep_apart([Named("the photo", Path(other))], [Named("--picture OUT", kept)])
    assert stopped.value.code == Exit.WORDS
    assert "--picture OUT would write over the photo" in stopped.value.sentence
    with pytest.raises(Stop):
        keep_apart([], [Named("--log FILE", kept), Named("--picture OUT", Path(other))])


def test_files_that_are_not_there_yet_are_told_apart_by_their_paths(kept: Path) -> None:
    new = Named("--picture OUT", Path("new.png"))
    keep_apart([Named("the photo", Path("other.png"))], [new])
    for same in ("inner/../new.png", str(kept.with_name("new.png")), "way/../new.png"):
        with pytest.raises(Stop):
            keep_apart([Named("the photo", Path(same))], [new])


@pytest.fixture
def photo(desk: Any, grid_says: Any, puzzle: str) -> Path:
    return Path(desk.says("s.png", grid_says(puzzle)))


@pytest.mark.parametrize("link", chosen(["", "soft", "hard"], "soft"))
@pytest.mark.parametrize(
    "words",
    [
        "hint --given-line {puzzle} --since s.png --picture {s.png}",
        "check --given-line {puzzle} --since s.png --picture {s.png}",
        "hint other.png --since s.png --picture {s.png}",
        "read s.png --picture {s.png}",
        "hint s.png --picture {s.png}",
        "check s.png --picture {s.png}",
        "mark s.png --picture {s.png}",
        "mark s.png --log {s.png}",
        "mark other.png s.png --log {s.png}",
        "mark other.png --log s.png --picture {s.png}",
        "mark other.png --log s --picture {s-journal.png}",
        "progress s.png --picture {s.png}",
        "progress s --picture {s-journal.png}",
        "digitise other.png --book s.html --review {s.html}",
        "digitise other.png --book s --review {s-lock.html}",
        "digitise other.png --book b --corrections s.html --review {s.html}",
        "digitise other.png --corrections s --book {s}",
        "digitise s.png --book {s.png}",
        "digitise other.png s.html --book b --review {s.html}",
        "digitise folder --book b --review {folder/page.png.html}",
        "export s.csv --force --to {s.csv}",
        "export s --force --to {s-wal.csv}",
        "drill s.pdf --scan 1 --out {s.pdf}",
        "drill s --scan 1 --out {s-wal.pdf}",
    ],
)
def test_no_command_writes_over_what_it_was_given(
    papernudge: Run,
    photo: Path,
    puzzle: str,
    words: str,
    link: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """In braces the output. ``x.y.html``: a name that leads to x.y through a link."""
    monkeypatch.chdir(photo.parent)
    Path("folder").mkdir()
    words = words.replace("{puzzle}", puzzle)
    named = words.partition("{")[2].rstrip("}")
    target = Path(named)
    bare = target.with_suffix("")
    through = bare.suffix or "-" in bare.name  # the output's own ending had to be put behind
    own = bare if through else target
    if own.name != "s.png":
        own.write_bytes(b"# mine")
    if not Path("other.png").exists():
        Path("other.png").write_bytes(photo.read_bytes())
    if through or link:
        target = Path(f"link{target.suffix}")
        os.link(own, target) if link == "hard" else target.symlink_to(own)
    before = {path: path.read_bytes() for path in Path().rglob("*") if path.is_file()}
    ran = papernudge(*words.partition("{")[0].split(), target)
    assert ran.code == Exit.WORDS, ran
    assert "would write over" in ran.err
    assert ran.err.count("\n") == 1
    assert {path: path.read_bytes() for path in Path().rglob("*") if path.is_file()} == before


def test_a_photo_on_standard_input_is_not_written_over(photo: Path) -> None:
    before = photo.read_bytes()
    with photo.open("rb") as file:
        done = subprocess.run(
            [sys.executable, "-m", "papernudge.cli", "read", "-", "--picture", str(photo)],
            stdin=file,
            capture_output=True,
            text=True,
            check=False,
        )
    assert done.returncode == Exit.WORDS, done.stderr
    assert "standard input" in done.stderr
    assert photo.read_bytes() == before


def test_the_file_that_the_answer_is_printed_into_is_no_picture(
    tmp_path: Path, puzzle: str
) -> None:
    out = tmp_path / "answer.png"
    words = ["hint", "--given-line", puzzle, "--picture", str(out)]
    with out.open("wb") as file:
        done = subprocess.run(
            [sys.executable, "-m", "papernudge.cli", *words],
            stdout=file,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == Exit.WORDS
    assert "printed into" in done.stderr


@unix
@pytest.mark.parametrize("command", ["read", "hint", "check", "mark"])
def test_a_photo_that_is_a_pipe_is_told_to_come_as_standard_input(
    papernudge: Run, tmp_path: Path, command: str
) -> None:
    os.mkfifo(tmp_path / "pipe")
    for name in (tmp_path / "pipe", "/dev/zero"):
        ran = papernudge(command, name)
        assert ran.code == Exit.FILE
        assert ran.err.count("\n") == 1
    assert "name -" in papernudge(command, tmp_path / "pipe").err


# ---------------------------------------------------------------- writing


@unix
@pytest.mark.parametrize("mode", [0o600, 0o644, 0o640, 0o666])
def test_a_file_keeps_its_mode_when_it_is_written_anew(tmp_path: Path, mode: int) -> None:
    path = tmp_path / "private.png"
    path.write_bytes(b"old")
    path.chmod(mode)
    write_whole(path, b"new")
    assert path.read_bytes() == b"new"
    assert stat.S_IMODE(path.stat().st_mode) == mode


@unix
def test_a_new_file_is_as_private_as_the_user_asks(tmp_path: Path) -> None:
    before = os.umask(0o077)
    try:
        write_whole(tmp_path / "a.png", b"new")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a.png").stat().st_mode) == 0o600


def test_a_link_stays_a_link_and_its_file_is_written(tmp_path: Path) -> None:
    (tmp_path / "real.png").write_bytes(b"old")
    (tmp_path / "link.png").symlink_to("real.png")
    write_whole(tmp_path / "link.png", b"new")
    assert (tmp_path / "link.png").is_symlink()
    assert (tmp_path / "real.png").read_bytes() == b"new"


@unix
@pytest.mark.parametrize("device", ["/dev/stdout", "device", "pipe"])
def test_a_device_is_never_replaced_by_a_file(
    papernudge: Run, tmp_path: Path, puzzle: str, device: str
) -> None:
    """A device of our own, which nobody misses: who runs the tests may be able to replace any."""
    os.mkfifo(tmp_path / "pipe")
    if device == "device":
        try:
            os.mknod(tmp_path / "device", stat.S_IFCHR | 0o666, os.makedev(1, 3))
        except PermissionError:
            pytest.skip("only an administrator makes devices")
    link = tmp_path / "out.png"
    link.symlink_to(device)
    before = link.stat().st_mode
    ran = papernudge("hint", "--given-line", puzzle, "--picture", link)
    assert ran.code in (Exit.FILE, Exit.WORDS)
    assert ran.err.count("\n") == 1
    assert link.is_symlink()
    assert link.stat().st_mode == before


@unix
def test_nothing_is_left_where_a_disk_is_full(tmp_path: Path, monkeypatch: Any) -> None:
    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    (tmp_path / "a.png").write_bytes(b"old")
    monkeypatch.setattr("papernudge.cli.base.files._into_place", full)
    with pytest.raises(Stop, match="no space left"):
        write_whole(tmp_path / "a.png", b"new")
    assert [path.name for path in tmp_path.iterdir()] == ["a.png"]
    assert (tmp_path / "a.png").read_bytes() == b"old"


def test_what_must_not_go_stays_even_where_it_comes_at_the_last_moment(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "out.csv"

    def meanwhile(*_: Any) -> None:
        path.write_bytes(b"# mine")

    monkeypatch.setattr("papernudge.cli.base.files._like", meanwhile)
    with pytest.raises(Stop, match="--force") as stopped:
        write_whole(path, b"new", over=False)
    assert stopped.value.code == Exit.FILE
    assert path.read_bytes() == b"# mine"
    assert [one.name for one in tmp_path.iterdir()] == ["out.csv"]


@pytest.mark.slow
@unix
def test_typefaces_and_settings_in_the_current_folder_are_not_loaded(
    papernudge: Run, tmp_path: Path, puzzle: str
) -> None:
    """A process of its own: typefaces are loaded once."""
    for name in ("Vera.ttf", "VeraBd.ttf", "vera.ttf"):
        os.mkfifo(tmp_path / name)
    (tmp_path / "lines.txt").write_text(f"{puzzle}\n")
    (tmp_path / "reportlab_settings.py").write_text("raise SystemExit(99)")
    (tmp_path / ".reportlab_settings").write_text("raise SystemExit(99)")
    done = subprocess.run(
        [sys.executable, "-m", "papernudge.cli", "drill", "lines.txt", "--scan=1", "--out=o.pdf"],
        cwd=tmp_path,
        env={**os.environ, "HOME": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert b"BitstreamVera" in (tmp_path / "o.pdf").read_bytes()


@pytest.mark.slow
@unix
def test_a_current_folder_that_is_gone_is_told(tmp_path: Path, puzzle: str) -> None:
    (tmp_path / "gone").mkdir()
    lines = tmp_path / "lines.txt"
    lines.write_text(f"{puzzle}\n")
    words = {
        "drill": [lines, "--scan", "1", "--out", tmp_path / "o.pdf"],
        "hint": ["--given-line", puzzle, "--picture", "o.png"],
        "read": ["x.jpg"],
        "progress": ["x.log"],
        "export": ["x", "--to", "o.csv"],
        "digitise": ["x", "--book", "b"],
    }
    code = (
        "import os, sys\nfrom papernudge.cli.app import run\nos.rmdir(os.getcwd())\n"
        f"for words in {[[c, *map(str, w)] for c, w in words.items()]!r}:\n    print(run(words))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=tmp_path / "gone",
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stdout.split() == ["5"] * len(words), done.stderr
