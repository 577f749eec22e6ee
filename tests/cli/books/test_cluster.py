"""Pages read on a Dask scheduler's workers, on loopback, one of which is killed half-way."""

from __future__ import annotations

import contextlib
import importlib.util
import io
import json
import pickle
import random
import shutil
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

Run = Callable[..., Any]
Cluster = tuple[str, list[subprocess.Popen[bytes]], subprocess.Popen[bytes]]


def _jpeg() -> bytes:
    out = io.BytesIO()
    Image.fromarray(np.arange(768, dtype=np.uint8).reshape(16, 16, 3)).save(
        out, "JPEG", comment=b"remark", progressive=True
    )
    return out.getvalue()


_JPEG = _jpeg()


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[Cluster]:
    """A scheduler and two workers, each a process, and the scheduler's address."""
    if importlib.util.find_spec("distributed") is None:
        pytest.skip("distributed is absent: pip install 'papernudge[cluster]'")
    told = tmp_path / "scheduler.json"
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
    dask = [sys.executable, "-m", "dask"]
    words = ["scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard"]
    words += ["--scheduler-file", str(told)]
    scheduler = subprocess.Popen([*dask, *words], **quiet)
    workers: list[subprocess.Popen[bytes]] = []
    try:
        address = str(_waited(told)["address"])
        for _ in range(2):
            words = ["worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard"]
            words += ["--local-directory", str(tmp_path)]
            workers.append(subprocess.Popen([*dask, *words], **quiet))
        yield address, workers, scheduler
    finally:
        for process in (*workers, scheduler):
            process.kill()
            process.wait()


def _waited(path: Path) -> Any:
    for _ in range(300):
        with contextlib.suppress(OSError, ValueError):
            return json.loads(path.read_text("utf-8"))
        time.sleep(0.1)
    raise AssertionError("the scheduler did not start within half a minute")


def test_without_the_extra_the_sentence_says_what_to_install(
    papernudge: Run, shelf: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from papernudge.cli.books import cluster

    monkeypatch.setattr(cluster, "find_spec", lambda name: None)
    words = (
        "digitise",
        shelf.photos[0],
        "--book",
        tmp_path / "b",
        "--cluster",
        "tcp://127.0.0.1:1",
    )
    ran = papernudge(*words)
    assert ran.code == 2
    assert "pip install 'papernudge[cluster]'" in ran.err


@pytest.mark.slow
def test_where_no_scheduler_answers_or_it_has_no_worker_the_sentence_says_so(
    papernudge: Run, shelf: Any, tmp_path: Path
) -> None:
    pytest.importorskip("distributed")
    for address in ("tcp://127.0.0.1:1", "nonsense"):
        words = ("digitise", shelf.photos[0], "--book", tmp_path / "b", "--cluster", address)
        ran = papernudge(*words)
        assert ran.code == 5
        assert f"No Dask scheduler answers at {address}: expected one there" in ran.err
        assert ran.err.count("\n") == 1


@pytest.mark.parametrize(
    "address",
    [
        *("", " ", " tcp://127.0.0.1:1", "tcp://", "tcp://127.0.0.1:0", "tcp://127.0.0.1:65536"),
        *("tcp://127.0.0.1:x", "http://127.0.0.1:1", "tcp://::1:1", "tcp://[::1", "inproc://x"),
        *(
            "tcp://me@127.0.0.1:1",
            "tcp://a b:1",
            "tcp://\x1b[2J:1",
            "x" * 300,
            "tcp://127.0.0.1:-1",
        ),
    ],
)
def test_an_address_that_is_none_is_told_at_once(address: str) -> None:
    from papernudge.cli.base.exits import Stop
    from papernudge.cli.books.cluster import _parsed

    with pytest.raises(Stop, match=r"--cluster ADDRESS looks like tcp://host:8786; got ") as told:
        _parsed(address)
    assert told.value.code == 2
    assert told.value.sentence.isprintable()


@pytest.mark.parametrize(
    ("address", "where"),
    [
        ("127.0.0.1", "tcp://127.0.0.1:8786"),
        ("tcp://[::1]:80/", "tcp://[::1]:80"),
        ("tls://host.example:1", "tls://host.example:1"),
        ("über.example:9", "tcp://über.example:9"),
    ],
)
def test_an_address_may_be_short_or_of_the_other_kinds(address: str, where: str) -> None:
    from papernudge.cli.books.cluster import _parsed

    assert _parsed(address)[0] == where


@contextlib.contextmanager
def _listening(answers: bytes) -> Iterator[int]:
    """A server on loopback that takes everybody in and says the same to all; its port."""
    with socket.create_server(("127.0.0.1", 0)) as server, contextlib.ExitStack() as kept:

        def serve() -> None:
            with contextlib.suppress(OSError):  # shut down
                while True:
                    other, _ = server.accept()
                    kept.enter_context(other)
                    if answers:
                        other.sendall(answers)

        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        yield server.getsockname()[1]
        server.shutdown(socket.SHUT_RDWR)  # wakes it
        thread.join()


@pytest.mark.slow
@pytest.mark.parametrize("answers", [b"", b"HTTP/1.1 400 Bad Request\r\n\r\n", b"\xff" * 4096])
def test_a_server_that_is_no_scheduler_is_told_in_time_without_a_traceback(
    started: Run, shelf: Any, tmp_path: Path, answers: bytes
) -> None:
    pytest.importorskip("distributed")
    with _listening(answers) as port:
        run = started(
            "digitise", shelf.photos[0], "--book", tmp_path / "b", "--cluster", f"127.0.0.1:{port}"
        )
        _, err = run.communicate(timeout=60)
    assert run.returncode == 5
    assert err == (
        f"No Dask scheduler answers at 127.0.0.1:{port}: expected one there, such as"
        " tcp://host:8786; start it and run again.\n"
    )


@pytest.mark.slow
def test_certificates_are_asked_for_where_they_are_needed(
    papernudge: Run, shelf: Any, tmp_path: Path
) -> None:
    pytest.importorskip("distributed")
    with _listening(b"") as port:
        words = ("digitise", shelf.photos[0], "--book", tmp_path / "b", "--cluster")
        ran = papernudge(*words, f"tls://127.0.0.1:{port}")
    assert ran.code == 2
    assert "needs certificates" in ran.err


@pytest.mark.slow
def test_a_scheduler_that_dies_half_way_is_told_and_its_pages_stand(
    cluster: Any, started: Run, shelf: Any, tmp_path: Path
) -> None:
    address, _, scheduler = cluster
    book = tmp_path / "b.book"
    run = started("digitise", shelf.folder, "--book", book, "--cluster", address)
    while not _some_pages(book) and run.poll() is None:
        time.sleep(0.02)
    scheduler.kill()
    _, err = run.communicate(timeout=60)
    if run.returncode == 0:
        pytest.skip("it was done before the scheduler died")
    assert run.returncode == 5, err
    assert err.splitlines()[-1] == (
        f"The Dask scheduler at {address} went away half-way: the pages that came back are in the"
        " book; run again to go on."
    )
    assert "Traceback" not in err
    assert _some_pages(book)


@pytest.mark.slow
def test_a_scheduler_without_workers_is_told(
    cluster: Any, papernudge: Run, shelf: Any, tmp_path: Path
) -> None:
    address, workers, _ = cluster
    for worker in workers:
        worker.kill()
        worker.wait()
    words = ("digitise", shelf.photos[0], "--book", tmp_path / "b", "--cluster", address)
    ran = papernudge(*words)
    assert ran.code == 5
    assert "has no worker: start one there" in ran.err


# ---------------------------------------------------------------- what travels


@pytest.mark.parametrize("kind", ["JPEG", "PROGRESSIVE", "CMYK", "PNG", "WEBP", "TIFF"])
def test_what_travels_holds_no_metadata_and_the_same_pixels(tmp_path: Path, kind: str) -> None:
    from PIL import Image
    from PIL.PngImagePlugin import PngInfo

    from papernudge.cli.books.bare import bare_task
    from papernudge.cli.books.rows import PageTask
    from papernudge.vision.photo import open_photo

    rng = np.random.default_rng(5)
    small = rng.integers(0, 256, (30, 40, 3), np.uint8)
    image = Image.fromarray(small).resize((400, 300))
    image = image.convert("CMYK") if kind == "CMYK" else image
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "SECRET-CAMERA", 6
    exif.get_ifd(0x8825)[2] = (59.0, 30.0, 0.0)
    text = PngInfo()
    text.add_text("Comment", "SECRET-WORD")
    more: dict[str, Any] = {"exif": exif, "icc_profile": b"SECRET-PROFILE" * 9}
    if kind == "PNG":
        more["pnginfo"] = text
    elif kind in ("JPEG", "PROGRESSIVE", "CMYK"):
        more |= {"comment": b"SECRET-WORD", "progressive": kind == "PROGRESSIVE"}
    elif kind == "WEBP":
        more |= {"xmp": b"<x>SECRET-XMP</x>", "lossless": False}
    path = tmp_path / "secret-folder" / "a.img"
    path.parent.mkdir()
    image.save(path, "JPEG" if kind in ("PROGRESSIVE", "CMYK") else kind, **more)
    with path.open("ab") as file:
        file.write(b"" if kind == "WEBP" else b"SECRET-TAIL")
    assert b"SECRET" in path.read_bytes()
    task = PageTask("0" * 64, 1, "tiff" if kind == "TIFF" else "photo", "a.img", str(path))
    load = bare_task(task)
    assert isinstance(load, PageTask)
    assert b"SECRET" not in pickle.dumps(load)
    assert b"secret-folder" not in pickle.dumps(load)
    here, there = open_photo(path), open_photo(load.data or b"")
    assert here
    assert there
    assert np.array_equal(here.pixels, there.pixels)


def test_a_page_of_a_pdf_travels_as_its_pixels(tmp_path: Path) -> None:
    import cv2
    from reportlab.pdfgen.canvas import Canvas

    from papernudge.cli.books.bare import bare_task
    from papernudge.cli.books.rows import PageTask
    from papernudge.cli.books.sources import open_page
    from papernudge.vision.photo import Photo, open_photo

    pdf = tmp_path / "a.pdf"
    canvas = Canvas(str(pdf), pagesize=(300, 300))
    canvas.setAuthor("SECRET")
    canvas.drawString(20, 200, "5 3 . . 7")
    canvas.save()
    task = PageTask("0" * 64, 1, "pdf", "a.pdf", str(pdf))
    load = bare_task(task)
    assert isinstance(load, PageTask)
    assert b"SECRET" not in pickle.dumps(load)
    here, there = open_page(task), open_photo(load.data or b"")
    assert isinstance(here, Photo)
    assert isinstance(there, Photo)
    assert np.array_equal(here.pixels, there.pixels)
    assert cv2.countNonZero(255 - here.pixels[..., 0]) > 0


def test_bare_bytes_of_a_damaged_file_end_and_never_grow() -> None:
    from papernudge.cli.books.bare import without_metadata

    dice = random.Random(1)
    for _ in range(2000):
        whole = bytearray(_JPEG)
        for _ in range(dice.randrange(4)):
            whole[dice.randrange(len(whole))] = dice.randrange(256)
        cut = bytes(whole[: dice.randrange(1, len(whole) + 1)])
        bare = without_metadata(cut)
        assert bare is None or len(bare) <= len(cut) + 2


def test_the_help_says_that_photos_travel(papernudge: Run) -> None:
    said = " ".join(papernudge("digitise", "--help").out.split())
    assert "your photos travel to that address, with their names, without metadata" in said
    assert "can run code on this machine" in said
    assert "A book's content may be protected: you answer for the right to copy it." in said


@pytest.mark.slow
def test_a_worker_killed_half_way_changes_nothing(
    cluster: Any, started: Run, papernudge: Run, shelf: Any, export_bytes: Run, tmp_path: Path
) -> None:
    address, workers, _ = cluster
    desk = tmp_path / "desk"
    desk.mkdir()
    for copy in range(2):  # each a file of its own
        for photo in shelf.photos:
            target = desk / f"{copy}-{photo.name}"
            shutil.copy(photo, target)
            with target.open("ab") as file:
                file.write(bytes([copy]))
    here, there = tmp_path / "here.book", tmp_path / "there.book"
    assert papernudge("digitise", desk, "--book", here, "--workers", 1).code == 0
    run = started("digitise", desk, "--book", there, "--cluster", address)
    while not _some_pages(there) and run.poll() is None:
        time.sleep(0.02)
    workers[0].kill()
    out, err = run.communicate(timeout=120)
    assert run.returncode == 0, err
    assert "This run read 12 pages" in out
    assert export_bytes(there) == export_bytes(here)


def _some_pages(book: Path) -> bool:
    from papernudge.cli.base.exits import Stop
    from papernudge.cli.books.book import Book

    try:
        with Book.to_read(book) as opened:
            return bool(opened.pages_done())
    except Stop:
        return False
