"""PDF and TIFF scans: pages come out as they were put in, and broken ones say so."""

from __future__ import annotations

import io
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from papernudge.cli.books.sources import files, open_page, survey
from papernudge.vision.failure import Failure

Run = Callable[..., Any]


def pdf_of(photos: list[Path], path: Path, over: str = "", invisible: bool = False) -> Path:
    """Scans as a scanner wraps them: one picture a page, perhaps with text over it."""
    from reportlab.pdfgen.canvas import Canvas

    canvas = Canvas(str(path), pagesize=(400, 560), invariant=1)
    for photo in photos:
        canvas.drawImage(str(photo), 0, 0, 400, 560)
        if over:
            text = canvas.beginText(40, 540)
            text.setTextRenderMode(3 if invisible else 0)
            text.textLine(over)
            canvas.drawText(text)
        canvas.showPage()
    canvas.save()
    return path


def page(path: Path, number: int = 1) -> Any:
    found = survey(path)
    assert not isinstance(found, Failure)
    return open_page(found.task(number))


def pixels(path: Path) -> Any:
    import cv2

    return cv2.imread(str(path), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)


def test_a_missing_file_fails_by_name(tmp_path: Path) -> None:
    failed = survey(tmp_path / "gone.pdf")
    assert isinstance(failed, Failure)
    assert failed.reason == "missing"


def test_a_damaged_pdf_is_one_page_that_says_so(tmp_path: Path) -> None:
    path = tmp_path / "torn.pdf"
    path.write_bytes(b"%PDF-1.7\n" + bytes(range(256)) * 20)
    failed = page(path)
    assert isinstance(failed, Failure)
    assert "torn.pdf is damaged" in failed.sentence


def test_a_locked_pdf_says_what_to_do(tmp_path: Path) -> None:
    from reportlab.lib.pdfencrypt import StandardEncryption
    from reportlab.pdfgen.canvas import Canvas

    path = tmp_path / "locked.pdf"
    canvas = Canvas(str(path), encrypt=StandardEncryption("sesame", strength=128))
    canvas.drawString(100, 100, "not for you")
    canvas.save()
    failed = page(path)
    assert isinstance(failed, Failure)
    assert "locked with a password: save a copy without one" in failed.sentence


def test_an_embedded_scan_comes_out_pixel_for_pixel(shelf: Any, tmp_path: Path) -> None:
    path = pdf_of(shelf.photos[:2], tmp_path / "scan.pdf")
    found = survey(path)
    assert not isinstance(found, Failure)
    assert (found.kind, found.pages) == ("pdf", 2)
    for number, photo in enumerate(shelf.photos[:2], start=1):
        assert np.array_equal(page(path, number).pixels, pixels(photo))


@pytest.mark.slow
def test_a_scan_in_another_coding_keeps_its_pixels_when_the_page_is_gone(
    shelf: Any, tmp_path: Path
) -> None:
    import gc

    from PIL import Image

    kept = []
    for mode in ("RGB", "L", "1"):
        with Image.open(shelf.photos[0]) as image:
            image.convert(mode).save(tmp_path / "flat.png")
        path = pdf_of([tmp_path / "flat.png"], tmp_path / f"{mode}.pdf")
        kept.append((page(path).pixels, pixels(tmp_path / "flat.png")))
    gc.collect()
    for seen, put_in in kept:
        assert np.array_equal(seen, put_in)


def test_text_laid_invisibly_over_a_scan_changes_nothing(shelf: Any, tmp_path: Path) -> None:
    path = pdf_of(shelf.photos[:1], tmp_path / "ocr.pdf", "TIDEWICK LANTERN", invisible=True)
    assert np.array_equal(page(path).pixels, pixels(shelf.photos[0]))


def test_what_is_drawn_over_a_picture_is_seen_too(shelf: Any, tmp_path: Path) -> None:
    """A page with type on a full-page background must be rendered, as finely as its picture."""
    path = pdf_of(shelf.photos[:1], tmp_path / "typed.pdf", "TIDEWICK LANTERN")
    seen = page(path).pixels
    high, wide = pixels(shelf.photos[0]).shape[:2]
    assert max(seen.shape[:2]) == pytest.approx(max(high, wide), rel=0.02)
    assert seen.shape[:2] != (high, wide) or not np.array_equal(seen, pixels(shelf.photos[0]))


@pytest.mark.slow
def test_a_page_of_lines_and_type_is_rendered_and_read(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path
) -> None:
    from papernudge.cli.books.printed import Layout, sheets

    grade = {"minutes": None, "hardest": None, "looks": None}
    told = [
        {"givens": line, "solution": line, "source": "s", "page": 1, "number": 1} | grade
        for line in shelf.truth.values()
    ]
    path = tmp_path / "sheet.pdf"
    path.write_bytes(sheets(told, Layout(6)))
    assert papernudge("digitise", path, "--book", tmp_path / "b.book").code == 0
    front = [row for row in rows(tmp_path / "b.book") if row["page"] == 1]
    assert [row["givens"] for row in front] == list(shelf.truth.values())
    assert {row["status"] for row in front} == {"clean"}


def test_a_pdf_and_a_tiff_of_pages_read_as_their_photos_do(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path
) -> None:
    from PIL import Image

    pdf_of(shelf.photos, tmp_path / "a.pdf")
    frames = [Image.open(photo) for photo in shelf.photos]
    frames[0].save(tmp_path / "b.tif", save_all=True, append_images=frames[1:])
    for frame in frames:
        frame.close()
    book = tmp_path / "b.book"
    assert papernudge("digitise", tmp_path, "--book", book, "--workers", 2).code == 0
    found = {(row["source"], row["page"]): row["givens"] for row in rows(book)}
    lines = list(shelf.truth.values())
    assert found == {(n, p + 1): lines[p] for n in ("a.pdf", "b.tif") for p in range(len(lines))}


def test_a_cut_off_tiff_keeps_its_whole_pages(
    papernudge: Run, shelf: Any, rows: Run, tmp_path: Path
) -> None:
    from PIL import Image

    frames = [Image.open(photo) for photo in shelf.photos[:3]]
    whole = io.BytesIO()
    frames[0].save(whole, "TIFF", save_all=True, append_images=frames[1:])
    data = bytearray(whole.getvalue())
    with Image.open(whole) as image:
        image.seek(1)
        offset = image.tag_v2[273][0]
        image.tag_v2[273]
    # The second page claims to lie where the file has long ended.
    at = data.find(offset.to_bytes(4, "little"))
    assert at > 0
    data[at : at + 4] = (0x7FFFFFF0).to_bytes(4, "little")
    (tmp_path / "scan.tif").write_bytes(bytes(data))
    ran = papernudge("digitise", tmp_path / "scan.tif", "--book", tmp_path / "b.book")
    assert ran.code == 5
    assert "Page 2 of scan.tif is damaged" in ran.err
    assert [row["page"] for row in rows(tmp_path / "b.book")] == [1, 3]


@pytest.mark.slow
def test_documents_are_closed_before_the_end(shelf: Any, tmp_path: Path) -> None:
    path = pdf_of(shelf.photos[:2], tmp_path / "scan.pdf")
    ran = subprocess.run(
        [sys.executable, "-c", _READS_AND_LEAVES, str(path)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert (ran.stdout, ran.stderr) == ("read\nread\n", "")


_READS_AND_LEAVES = """
import sys
from pathlib import Path
from papernudge.cli.books.sources import open_page, survey
source = survey(Path(sys.argv[1]))
for one in (source.task(1), source.task(2)):
    print("read" if open_page(one) else "not read")
from pypdfium2.internal import bases
still = [one() for kind in bases.ObjectTracker.values() for one in kind]
assert len(still) == 1, still  # the one that is kept for its next page
"""


def test_folders_are_entered_in_order_and_each_file_is_taken_once(
    shelf: Any, tmp_path: Path
) -> None:
    inner = tmp_path / "inner"
    inner.mkdir()
    for name in ("b.JPG", "a.pdf", ".hidden.jpg", "notes.txt", "inner/c.heic"):
        (tmp_path / name).write_bytes(b"x")
    found = [p.name for p in files([str(tmp_path), str(tmp_path / "b.JPG"), str(inner)])]
    assert found == ["a.pdf", "b.JPG", "c.heic"]
