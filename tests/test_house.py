"""The house: what stands where, what is packaged, what the README promises."""

from __future__ import annotations

import ast
import io
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from statistics import median

import pytest

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("vision", "digits_model", "hints", "cli")


def blocks(info: str) -> list[str]:
    """The README's code blocks whose info string is ``info``."""
    text = (ROOT / "README.md").read_text("utf-8")
    return re.findall(rf"^```{info}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


COMMANDS = [line for block in blocks("sh") for line in block.splitlines() if line.strip()]


def test_the_readme_has_its_two_set_up_commands() -> None:
    assert len(blocks("sh setup")) == len(blocks("sh tests")) == 1


def test_the_readme_shows_commands() -> None:
    assert len(COMMANDS) >= 8


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the fixtures in it, in which the README's commands run one after another."""
    folder = tmp_path_factory.mktemp("desk")
    shutil.copytree(ROOT / "fixtures", folder / "fixtures")
    return folder


@pytest.mark.parametrize("command", COMMANDS)
def test_the_readmes_commands_do_what_they_show(
    command: str, desk: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In this process; the slow half starts each as a shell does."""
    from papernudge.cli.app import run

    name, *words = shlex.split(command)
    assert name == "papernudge"
    monkeypatch.chdir(desk)
    monkeypatch.setattr(sys, "stdin", io.StringIO())
    assert run(words) == 0, capsys.readouterr().err


@pytest.mark.slow
@pytest.mark.parametrize("command", COMMANDS)
def test_the_readmes_commands_started_by_a_shell_do_so_too(command: str, desk: Path) -> None:
    words = shlex.split(command)
    assert words[0] == "papernudge"
    done = subprocess.run(
        [sys.executable, "-m", "papernudge.cli", *words[1:]],
        cwd=desk,
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr


def test_the_readmes_program_says_what_the_table_says(desk: Path) -> None:
    (program,) = blocks("python")
    assert len([line for line in program.splitlines() if line.strip()]) <= 8
    loaded = "import sys\nassert not [m for m in sys.modules if 'papernudge.cli.terminal' in m]\n"
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", program + loaded],
        cwd=desk,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert (
        done.stdout.strip() in (ROOT / "README.md").read_text("utf-8").split("## In a program")[0]
    )


def test_the_package_list_names_every_package_but_training() -> None:
    listed = set(
        tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"][
            "packages"
        ]
    )
    there = {
        ("papernudge." + ".".join(init.parent.relative_to(ROOT).parts)).removesuffix(".cli.root")
        for room in ROOMS
        for init in (ROOT / room).rglob("__init__.py")
        if "training" not in init.parts
    }
    assert listed == there


@pytest.mark.parametrize("room", ROOMS)
def test_every_room_says_that_it_is_typed(room: str) -> None:
    assert (ROOT / room / "py.typed").exists()


FRONT = ("said", "base", "session", "pictures", "books", "sheets", "terminal", "phone")
"""The rooms of the front of the house, each knowing only those before it."""
ARROWS: dict[str, set[str]] = {
    "vision": {
        "digits_model",
        *(f"hints/{name}.py" for name in ("catalogue", "geometry", "layout", "masks", "shapes")),
    },
    "digits_model": set(),
    "digits_model/training": {"digits_model", "vision", "hints"},
    "hints": set(),
    **{
        f"cli/{room}": {"vision", "digits_model", "hints", *(f"cli/{r}" for r in FRONT[:number])}
        for number, room in enumerate(FRONT)
    },
    "cli/root": {"cli/said", "cli/base", "cli/session", "cli/pictures", "hints"},
    "cli": {f"cli/{room}" for room in FRONT},
}
"""What each room may know beside itself: rooms, or one of their files. ``cli`` is the door, its own
few files; ``cli/root`` is what ``import papernudge`` offers."""
ARROWS["cli/phone"].remove("cli/terminal")  # two guests of one house that do not meet


def modules() -> dict[str, Path]:
    """Every module of the project by its import name, training among them."""
    out = {}
    for room in ROOMS:
        for path in sorted((ROOT / room).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            out[".".join(("papernudge", *parts)).removesuffix(".__init__")] = path
    return out


@cache
def nodes(path: Path) -> list[ast.AST]:
    """All that stands in a file, parsed once."""
    return list(ast.walk(ast.parse(path.read_text("utf-8"))))


def known(path: Path, names: Mapping[str, Path]) -> set[str]:
    """The project's modules that a file imports, wherever in it, for types too."""
    out = set()
    for node in nodes(path):
        if isinstance(node, ast.Import):
            out |= {alias.name for alias in node.names} & names.keys()
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            inner = {f"{node.module}.{alias.name}" for alias in node.names}
            out |= (inner & names.keys()) or ({node.module} & names.keys())
    return out


def inside(path: Path) -> str:
    """The path from the top of the tree."""
    return path.relative_to(ROOT).as_posix()


def room_of(path: Path) -> str:
    """The room that a file stands in: the innermost that has arrows."""
    return max((room for room in ARROWS if inside(path).startswith(f"{room}/")), key=len)


def test_each_room_knows_only_the_rooms_before_it() -> None:
    names = modules()
    for path in names.values():
        room = room_of(path)
        for name in known(path, names):
            other = room_of(names[name])
            allowed = other == room or other in ARROWS[room] or inside(names[name]) in ARROWS[room]
            assert allowed, f"{path.relative_to(ROOT)} in {room} imports {name} of {other}"


def test_every_folder_of_the_front_is_a_room_with_its_place() -> None:
    there = {path.parent.name for path in (ROOT / "cli").glob("*/__init__.py")}
    assert there == {*FRONT, "root"}


def test_no_modules_know_each_other_in_a_circle() -> None:
    names = modules()
    arrows = {name: known(path, names) - {name} for name, path in names.items()}
    assert circles(arrows) == []


def test_a_circle_behind_a_function_and_one_through_three_are_seen(tmp_path: Path) -> None:
    files = {
        "a": "def later():\n    from papernudge.b import thing\n",
        "b": "from papernudge import a\n",
        "c": "import papernudge.d\n",
        "d": "if True:\n    from papernudge.e import x\n",
        "e": "from papernudge import (\n    c,\n)\n",
        "f": "from papernudge import a, e\n",
    }
    names = {f"papernudge.{name}": tmp_path / f"{name}.py" for name in files}
    for name, text in files.items():
        names[f"papernudge.{name}"].write_text(text)
    found = circles({name: known(path, names) for name, path in names.items()})
    assert {frozenset(name[-1] for name in circle) for circle in found} == {
        frozenset("ab"),
        frozenset("cde"),
    }


def circles(arrows: Mapping[str, set[str]]) -> list[frozenset[str]]:
    """Groups of modules that reach each other."""
    reach: dict[str, set[str]] = {}
    for start in arrows:
        todo, seen = list(arrows[start]), set[str]()
        while todo:
            name = todo.pop()
            if name not in seen:
                seen.add(name)
                todo += arrows.get(name, ())
        reach[start] = seen
    groups = {
        frozenset({start, *(other for other in reach[start] if start in reach.get(other, ()))})
        for start in arrows
        if start in reach[start]
    }
    return sorted(groups, key=sorted)


def test_no_function_is_longer_than_fifty_lines() -> None:
    """Of what ships; half of them are no longer than eight."""
    lengths = {
        f"{inside(path)} {node.name}": (node.end_lineno or 0) - node.lineno + 1
        for path in modules().values()
        if room_of(path) != "digits_model/training"
        for node in nodes(path)
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
    }
    assert [name for name, lines in lengths.items() if lines > 50] == []
    assert median(lengths.values()) <= 8


def test_help_starts_without_the_heavy_libraries() -> None:
    code = (
        "import sys\nfrom papernudge.cli import main\nsys.argv = ['papernudge', '--help']\n"
        "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        "heavy = {'cv2', 'onnxruntime', 'skimage', 'numpy'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "hint" in done.stdout


def test_hints_import_nothing_but_python() -> None:
    code = (
        "import sys, papernudge.hints\n"
        "assert not {'numpy', 'cv2', 'onnxruntime', 'papernudge.vision'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
