"""Starting must be quick: nothing heavy is imported before it is needed."""

from __future__ import annotations

import subprocess
import sys

HEAVY = ("cv2", "onnxruntime", "skimage", "numpy", "PIL", "pillow_heif")

PROGRAM = """
import sys
from papernudge.cli.app import run
code = run({words!r})
print("loaded:", [m for m in {heavy!r} if m in sys.modules])
sys.exit(code)
"""


def loaded_by(words: list[str]) -> tuple[int, str]:
    program = PROGRAM.format(words=words, heavy=HEAVY)
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", program], capture_output=True, text=True, check=False
    )
    assert "Traceback" not in done.stderr
    return done.returncode, done.stdout.rsplit("loaded:", 1)[1].strip()


def test_help_imports_nothing_heavy() -> None:
    assert loaded_by(["--help"]) == (0, "[]")
    assert loaded_by(["hint", "--help"]) == (0, "[]")


def test_a_malformed_command_is_refused_before_anything_heavy_is_imported() -> None:
    assert loaded_by(["hint", "--assume", "R4", "breakfast.jpg"]) == (2, "[]")
    assert loaded_by(["check", "--given-line", "12"]) == (2, "[]")


def test_a_hint_on_lines_needs_no_image_library() -> None:
    code, loaded = loaded_by(["hint", "--given-line", "." * 81])
    assert code == 4
    assert "cv2" not in loaded
    assert "onnxruntime" not in loaded


def test_the_module_runs_as_the_command_does() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "papernudge.cli", "--help"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0
    assert "papernudge" in done.stdout
