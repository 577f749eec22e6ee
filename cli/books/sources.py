"""From the command's words to pages: folders, photos, multi-page TIFF and PDF files."""

from __future__ import annotations

import atexit
import errno
import hashlib
import io
import os
import stat
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from papernudge.cli.base import limited
from papernudge.cli.base.limits import MAX_PAGES
from papernudge.cli.base.opening import failure
from papernudge.cli.base.paths import MOST_SOURCE, is_folder, open_regular, real
from papernudge.cli.books.rows import PageTask, natural
from papernudge.cli.said import in_words
from papernudge.hints.catalogue import message
from papernudge.vision.failure import Failure, said_by_system

if TYPE_CHECKING:
    from papernudge.vision.photo import Photo

ENDINGS = frozenset(
    ".jpg .jpeg .jpe .png .heic .heif .webp .bmp .gif .tif .tiff .pdf".split()  # noqa: SIM905
)
"""What is taken from a folder; a file named by itself may end as it likes."""
_TIFF = (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")
_CHUNK = 1 << 20
_LEAST_BYTES = 50
"""A file has fewer bytes a page only where it claims pages that it does not hold."""
_LEAST_SIDE = 60
"""Pixels of a side below which no grid is looked for."""
_SMALL = 2_000_000
"""Pixels of a TIFF's page above which its file is opened anew for the next: Pillow keeps the
pixels of an open one. Up to there walking through the pages before would be the longer work."""


@dataclass(frozen=True, slots=True)
class Surveyed:
    """A source: its content's hash, what it is, how many pages it has."""

    path: Path
    hash: str
    kind: str
    pages: int
    bytes: int

    @property
    def place(self) -> str:
        """The file's place as the book knows it: a hash, so that no folder is told."""
        return hashlib.sha256(os.fsencode(real(self.path))).hexdigest()

    @property
    def name(self) -> str:
        """The file's name as text: bytes that are no UTF-8 are written out."""
        return os.fsencode(self.path.name).decode("utf-8", "backslashreplace")

    def task(self, number: int) -> PageTask:
        """The work on one of its pages, counted from 1."""
        return PageTask(self.hash, number, self.kind, self.name, str(self.path))


Told = Callable[[Path, OSError], None]


def files(sources: Iterable[str], told: Told | None = None) -> Iterator[Path]:
    """Every file that the words name, each once, folders in the natural order of their names.

    Folders are entered, however deep, but not through links; hidden files and unknown endings in
    them are passed over. An entry that can't be looked at is passed to ``told``, and the walk goes
    on.
    """
    seen: set[Path] = set()
    for source in sources:
        path = Path(source)
        found = _inside(path, told or _forgotten) if is_folder(path) else [path]
        for file in found:
            whole = real(file)
            if whole not in seen:
                seen.add(whole)
                yield file


def _forgotten(path: Path, error: OSError) -> None:
    """Where nobody wants to hear of it."""


def _in_order(name: str) -> tuple[str, bytes]:
    return natural(name), os.fsencode(name)


def _inside(folder: Path, told: Told) -> Iterator[Path]:
    """Its files in the order of their names, depth first; without recursion, for a tree of folders
    may be deeper than Python's stack.
    """
    waiting = [folder]
    while waiting:
        path = waiting.pop()
        try:
            if path != folder and not stat.S_ISDIR(path.lstat().st_mode):
                if path.suffix.lower() in ENDINGS:
                    yield path
                continue
            within = [one for one in os.listdir(path) if not one.startswith(".")]  # noqa: PTH208
        except OSError as error:
            told(path, error)
            continue
        waiting += [path / one for one in sorted(within, key=_in_order, reverse=True)]


def survey(path: Path) -> Surveyed | Failure:
    """Hash, kind and pages of a file. A Failure (stage ``open``) where it can't be read at all;
    a damaged PDF or TIFF counts as one page, which will say what is wrong.
    """
    digest = hashlib.sha256()
    size = 0
    head = b""
    try:
        with open_regular(path, MOST_SOURCE) as file:
            most = os.fstat(file.fileno()).st_size
            while chunk := file.read(_CHUNK):
                head = head or chunk[:1024]
                digest.update(chunk)
                size += len(chunk)
                if size > most:  # being copied here, or one of the system's own without an end
                    raise OSError(errno.EBUSY, in_words("it grows"), str(path))
    except (OSError, ValueError) as error:
        return unopened(path, error)
    kind = "pdf" if b"%PDF-" in head else "tiff" if head.startswith(_TIFF) else "photo"
    pages = 1 if kind == "photo" else _counted(path, kind, size)
    if isinstance(pages, Failure):
        return pages
    return Surveyed(path, digest.hexdigest(), kind, pages, size)


def unopened(path: Path, error: Exception) -> Failure:
    """Why a file or a folder can't be looked at."""
    if isinstance(error, FileNotFoundError):
        return Failure("open", "missing", message("no such file", called=path))
    says = message("source can't be read", called=path, why=said_by_system(error))
    return Failure("open", "unreadable", says)


def _counted(path: Path, kind: str, size: int) -> int | Failure:
    """How many pages a file has, counted in a child with limits."""
    try:
        pages: int = limited.ask(count_pages, str(path), kind)
    except limited.Ended as ended:
        return failure(ended, path.name)
    if pages > max(1, min(MAX_PAGES, size // _LEAST_BYTES)):
        return Failure(
            "open",
            "too many pages",
            message(
                "too many pages",
                called=path.name,
                pages=pages,
                size=size,
                most=MAX_PAGES,
                least=_LEAST_BYTES,
            ),
        )
    return pages


def count_pages(path: str, kind: str) -> int:
    """The pages of a PDF or TIFF; 1 for a damaged one, which will say what is wrong."""
    if kind == "tiff":
        return _frames(path)
    opened = _opened_pdf(path, "")
    try:
        return 1 if isinstance(opened, Failure) else max(1, len(opened))
    finally:
        _closed(opened)


def _frames(path: str) -> int:
    from PIL import Image

    try:
        with Image.open(path, formats=["TIFF"]) as image:
            for number in range(MAX_PAGES + 1):
                image.seek(number)
    except EOFError:
        return max(1, number)
    except Exception:  # damaged in any way: opening its page tells
        return 1
    return MAX_PAGES + 1


def open_page(task: PageTask) -> Photo | Failure:
    """The pixels of a page, or what is wrong with it."""
    from papernudge.vision.photo import open_photo

    called = task.name
    if task.kind == "pdf" and task.data is None:
        return _pdf_page(task, _pdf(task.path), task.number - 1)
    if task.kind == "pdf":
        alone = _opened_pdf(task.data, called)
        try:
            return _pdf_page(task, alone, 0)
        finally:
            _closed(alone)
    if task.kind == "tiff" and task.data is None:
        return _tiff_page(task)
    return open_photo(Path(task.path) if task.data is None else task.data, called)


# ---------------------------------------------------------------- TIFF


def _tiff_page(task: PageTask) -> Photo | Failure:
    from papernudge.vision.photo import open_photo

    data = _tiff_bytes(task)
    return data if isinstance(data, Failure) else open_photo(data, task.name)


def _tiff_bytes(task: PageTask) -> bytes | Failure:
    """One frame as a TIFF of its own, not compressed; a file of one frame as it is."""
    from PIL import Image

    from papernudge.vision.photo import MAX_PIXELS

    try:
        image = _kept_open(task.path, lambda: Image.open(task.path, formats=["TIFF"]))
        if not getattr(image, "is_animated", False):
            _let_go()
            return Path(task.path).read_bytes()
        image.seek(task.number - 1)
        if min(image.size) < _LEAST_SIDE:
            return Failure("find", "no grid", message("no grid in so few pixels"))
        if image.width * image.height > MAX_PIXELS:
            return _too_big(task, image.size)
        image.load()
        out = io.BytesIO()
        image.save(out, "TIFF")
        if image.width * image.height > _SMALL:
            _let_go()
        return out.getvalue()
    except FileNotFoundError:
        return Failure("open", "missing", message("no such file any more", called=task.name))
    except MemoryError:
        raise
    except Exception:  # Pillow raises nearly every type there is on damaged bytes
        _let_go()
        return _damaged(task)


def _damaged(task: PageTask) -> Failure:
    says = message("page is damaged", page=task.number, called=task.name)
    return Failure("open", "damaged", says)


def _too_big(task: PageTask, size: tuple[int, int]) -> Failure:
    return Failure(
        "open",
        "too big",
        message(
            "page is too big", page=task.number, called=task.name, width=size[0], height=size[1]
        ),
    )


# ---------------------------------------------------------------- PDF

_LEAST, _PLAIN, _MOST = 100 / 72, 200 / 72, 450 / 72
"""Pixels a point when a page is rendered: at least, where it holds no picture, at most."""
_RENDERED = 24_000_000
"""Most pixels of a rendered page."""
_WHOLE = 0.6
"""A picture over this share of the page, with nothing else to see, is the page."""


def _pdf(path: str) -> Any:
    """An open document, kept while its pages are read one after the other; or a Failure."""
    called = Path(path).name
    try:
        return _kept_open(path, lambda: _opened_pdf(path, called))
    except OSError:
        return Failure("open", "missing", message("no such file any more", called=called))


def _kept_open(path: str, open_: Callable[[], Any]) -> Any:
    """A file that is kept open for its next page, at most one. OSError where it has gone."""
    stamp = Path(path).stat()
    key = (path, stamp.st_mtime_ns, stamp.st_size)
    if key not in _kept:
        _let_go()
        _kept[key] = open_()
        # Said anew after pypdfium2 has been imported: what is said last is done first at the end.
        atexit.unregister(_let_go)
        atexit.register(_let_go)
    return _kept[key]


_kept: dict[tuple[str, int, int], Any] = {}
"""The document whose pages are being read, at most one; or why it could not be opened."""


def _let_go() -> None:
    for document in _kept.values():
        _closed(document)
    _kept.clear()


def _closed(document: Any) -> None:
    if not isinstance(document, Failure):
        document.close()


def _opened_pdf(source: str | bytes | None, called: str) -> Any:
    import pypdfium2

    try:
        return pypdfium2.PdfDocument(source)
    except FileNotFoundError:
        return Failure("open", "missing", message("no such file any more", called=called))
    except pypdfium2.PdfiumError as error:
        if "password" in str(error).lower():
            return Failure("open", "locked", message("PDF is locked", called=called))
        return Failure("open", "damaged", message("PDF is damaged", called=called))


def _pdf_page(task: PageTask, document: Any, index: int) -> Photo | Failure:
    import pypdfium2

    if isinstance(document, Failure):
        return document
    try:
        page = document[index]
        try:
            return _embedded(task, page) or _rendered(task, page)
        finally:
            page.close()
    except (pypdfium2.PdfiumError, IndexError):
        return _damaged(task)


def _pictures(page: Any) -> list[Any]:
    from pypdfium2 import raw

    return list(page.get_objects(filter=[raw.FPDF_PAGEOBJ_IMAGE], max_depth=4))


def _share(page: Any, picture: Any) -> float:
    left, bottom, right, top = picture.get_bounds()
    west, south, east, north = page.get_mediabox()
    wide = max(0.0, min(right, east) - max(left, west))
    high = max(0.0, min(top, north) - max(bottom, south))
    return float(wide * high / max(1.0, (east - west) * (north - south)))


def _the_scan(page: Any) -> Any | None:
    """The one picture that is all there is to see on a page; None where there is more.

    Text laid invisibly over a scan does not count; anything drawn over it, stamps and
    annotations too, does. A mirrored picture is left to the renderer.
    """
    from pypdfium2 import raw

    pictures = _pictures(page)
    if len(pictures) != 1 or raw.FPDFPage_GetAnnotCount(page) > 0:
        return None
    for thing in page.get_objects(max_depth=4):
        if thing.type == raw.FPDF_PAGEOBJ_TEXT:
            if raw.FPDFTextObj_GetTextRenderMode(thing) != raw.FPDF_TEXTRENDERMODE_INVISIBLE:
                return None
        elif thing.type not in (raw.FPDF_PAGEOBJ_IMAGE, raw.FPDF_PAGEOBJ_FORM):
            return None
    a, b, c, d, _, _ = pictures[0].get_matrix().get()
    whole = _share(page, pictures[0]) >= _WHOLE and a * d - b * c > 0
    return pictures[0] if whole else None


def _embedded(task: PageTask, page: Any) -> Photo | Failure | None:
    """The scan at its own resolution, as it was put in; None where the page must be rendered."""
    from papernudge.vision.photo import MAX_PIXELS, Photo, open_photo

    scan = _the_scan(page)
    if scan is None:
        return None
    if scan.get_filters(skip_simple=True) == ["DCTDecode"]:
        photo = open_photo(bytes(scan.get_data(decode_simple=True)), task.name)
        return photo if isinstance(photo, Photo) else None
    width, height = scan.get_px_size()
    if width * height > MAX_PIXELS:
        return _too_big(task, (width, height))
    return _photo_of(scan.get_bitmap(render=False), task.name)


def _rendered(task: PageTask, page: Any) -> Photo:
    """The page drawn, as finely as its finest picture."""
    scale = 0.0
    for picture in _pictures(page):
        left, bottom, right, top = picture.get_bounds()
        width, height = picture.get_px_size()
        span = max(right - left, top - bottom)
        if _share(page, picture) > 0.02 and span > 0:
            scale = max(scale, max(width, height) / span)
    scale = min(max(scale, _LEAST), _MOST) if scale else _PLAIN
    points = page.get_width() * page.get_height()
    scale = min(scale, (_RENDERED / max(points, 1.0)) ** 0.5)
    return _photo_of(page.render(scale=scale), task.name)


def _photo_of(bitmap: Any, called: str) -> Photo:
    """Pixels of a PDFium bitmap, grey or colour in any order, as blue, green, red."""
    import numpy as np

    from papernudge.vision.photo import Photo

    pixels = bitmap.to_numpy()
    if pixels.ndim == 2 or pixels.shape[2] == 1:
        pixels = np.repeat(pixels.reshape(*pixels.shape[:2], 1), 3, axis=2)
    colour = pixels[..., :3]
    if bitmap.rev_byteorder:
        colour = colour[..., ::-1]
    # PDFium frees the bitmap's memory with the page: never a view of it.
    return Photo(np.array(colour, np.uint8, order="C", copy=True), 1, called)
