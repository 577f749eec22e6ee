"""The house: what stands where, what is packaged, what the README promises."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

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
def test_the_readmes_commands_do_what_they_show(command: str, desk: Path) -> None:
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


def test_the_package_list_names_every_package_but_training() -> None:
    listed = set(
        tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"][
            "packages"
        ]
    )
    there = {
        "papernudge." + ".".join(init.parent.relative_to(ROOT).parts)
        for room in ROOMS
        for init in (ROOT / room).rglob("__init__.py")
        if "training" not in init.parts
    }
    assert listed == there


@pytest.mark.parametrize("room", ROOMS)
def test_every_room_says_that_it_is_typed(room: str) -> None:
    assert (ROOT / room / "py.typed").exists()


IMPORT = re.compile(r"^\s*(?:from|import) (papernudge\.[\w.]+)", re.MULTILINE)
MAY_KNOW = {
    "vision": ("papernudge.vision", "papernudge.digits_model"),
    "digits_model": ("papernudge.digits_model",),
    "hints": ("papernudge.hints",),
    "cli": ("papernudge.",),
}


@pytest.mark.parametrize("room", ROOMS)
def test_each_room_knows_only_the_rooms_before_it(room: str) -> None:
    for path in (ROOT / room).rglob("*.py"):
        if "training" in path.parts:
            continue
        for name in IMPORT.findall(path.read_text("utf-8")):
            assert name.startswith(MAY_KNOW[room]), f"{path.relative_to(ROOT)} imports {name}"
            assert ".training" not in name, f"{path.relative_to(ROOT)} imports {name}"


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
