"""What every room's tests share."""

from __future__ import annotations

import atexit
import gc
import os
import shutil
import sys
import tempfile
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

# As the command does for itself: on a busy machine BLAS threads wait for each other far longer
# than they work. It must be said before numpy is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Sentences are compared in English, whatever language this machine speaks.
for variable in ("LC_ALL", "LC_MESSAGES", "LANG"):
    os.environ[variable] = "C.UTF-8"
# Nor does OpenCV start any: a process of one thread forks its children, as the command does.
os.environ.setdefault("OPENCV_FOR_THREADS_NUM", "1")


def _compile_once() -> None:
    """Hundreds of processes are started: the first compiles what all import, also where Python is
    told to write nothing beside its sources.
    """
    if os.environ.pop("PYTHONDONTWRITEBYTECODE", None):
        folder = os.environ["PYTHONPYCACHEPREFIX"] = tempfile.mkdtemp(prefix="papernudge-compiled-")
        atexit.register(shutil.rmtree, folder, ignore_errors=True)


_compile_once()
gc.set_threshold(20_000, 20, 20)  # as the program does

sys.path.append(str(Path(__file__).parent))  # figures.py and tables.py, by name


@pytest.fixture(scope="session", autouse=True)
def _each_photo_is_read_once() -> Iterator[None]:
    """The same pixels read the same: dozens of tests ask about the same few photos."""
    from papernudge.vision import read

    looked, kept = read.read_page, dict[Any, Any]()

    def once(raster: Any, **more: Any) -> Any:
        key = sha256(raster.tobytes()).digest(), raster.shape, *sorted(more.items(), key=str)
        if key not in kept:
            kept[key] = looked(raster, **more)
        return kept[key]

    read.read_page = once
    yield
    read.read_page = looked


@pytest.fixture(scope="session")
def data_dir() -> Path:
    """The folder of photos, handwriting and puzzles that is kept outside the project."""
    told = os.environ.get("PAPERNUDGE_DATA")
    checkout = Path(__file__).resolve().parent.parent
    folder = Path(told) if told else checkout.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("the data folder is absent here: set PAPERNUDGE_DATA to where it lies")
    return folder
