"""A page as it travels to another machine: its pixels, and nothing that the camera wrote beside.

JPEG, PNG and WebP files lose what is no picture, byte by byte, so that the decoder over there
delivers what it would here. Pages of any other kind are decoded here and travel as PNG.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from papernudge.cli.base import limited
from papernudge.cli.base.opening import failure
from papernudge.cli.base.paths import MOST_SOURCE, read_regular
from papernudge.cli.books.rows import PageTask
from papernudge.cli.said import in_words
from papernudge.hints.catalogue import message
from papernudge.vision.failure import Failure, said_by_system

_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = frozenset({b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"acTL", b"fcTL", b"fdAT"})
_WEBP_KEPT = frozenset({b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ANIM", b"ANMF"})
_WEBP_SAYS = 0b00101100
"""The bits of VP8X that promise a colour profile, Exif and XMP (WebP container specification)."""


def bare_task(task: PageTask) -> PageTask | Failure:
    """The task with its page inside: no metadata, no folder; or what is wrong with the page. Made
    in a child with limits.
    """
    try:
        load: PageTask | Failure = limited.ask(bare_here, task)
    except limited.Ended as ended:
        return failure(ended, in_words("page of a file", called=task.name, page=task.number))
    except MemoryError:
        return Failure("open", "memory", message("file takes too much memory", called=task.name))
    return load


def bare_here(task: PageTask) -> PageTask | Failure:
    """The same, in this process."""
    data: bytes | None = None
    if task.kind == "photo":
        try:
            data = without_metadata(read_regular(Path(task.path), MOST_SOURCE))
        except (OSError, ValueError) as error:
            says = message("source can't be opened", called=task.name, why=said_by_system(error))
            return Failure("open", "unreadable", says)
    if data is None:
        drawn = _drawn(task)
        if isinstance(drawn, Failure):
            return drawn
        data = drawn
    return replace(task, kind="photo", path="", data=data)


def _drawn(task: PageTask) -> bytes | Failure:
    """The page's pixels as a PNG file."""
    import cv2

    from papernudge.cli.books.sources import open_page

    photo = open_page(task)
    if isinstance(photo, Failure):
        return photo
    done, file = cv2.imencode(".png", photo.pixels, [cv2.IMWRITE_PNG_COMPRESSION, 1])
    assert done, "an open picture can be encoded"
    return bytes(file.tobytes())


def without_metadata(data: bytes) -> bytes | None:
    """The file without Exif, XMP, GPS, profiles, thumbnails and remarks, its picture untouched.

    None for a kind, or a damage, that this does not know.
    """
    if data[:3] == b"\xff\xd8\xff":
        parts = _of_jpeg(data)
    elif data[:8] == _PNG:
        parts = _of_png(data)
    elif data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        parts = _of_webp(data)
    else:
        return None
    kept = list(parts)
    if None in kept:
        return None
    whole = b"".join(part for part in kept if part is not None)
    if data[:4] == b"RIFF":
        return b"RIFF" + (len(whole) + 4).to_bytes(4, "little") + b"WEBP" + whole
    return whole


def _of_jpeg(data: bytes) -> Iterator[bytes | None]:
    """All segments but APP0 to APP15 and COM (ITU-T T.81, annex B); of those only APP14 stays,
    which says how the colours are coded. What follows the picture's end goes too.
    """
    yield data[:2]
    at = 2
    while at + 4 <= len(data):
        if data[at] != 0xFF:
            break
        marker = data[at + 1]
        if marker == 0xFF or marker == 0x01 or 0xD0 <= marker <= 0xD8:
            at += 1 if marker == 0xFF else 2
            continue
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if end > len(data) or end < at + 4:
            break
        if marker == 0xDA:
            yield from _scans(data, at)
            return
        if not (0xE0 <= marker <= 0xEF or marker == 0xFE) or marker == 0xEE:
            yield data[at:end]
        at = end
    yield None


def _scans(data: bytes, at: int) -> Iterator[bytes | None]:
    """From the first scan on: coded data holds no marker but fill and restarts, so the next one is
    a segment between scans, or the end.
    """
    while True:
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        while True:
            end = data.find(b"\xff", end)
            if end < 0 or end + 1 >= len(data):
                yield data[at:]  # cut off: the decoder says so
                return
            if data[end + 1] not in (0x00, 0x01, 0xFF) and not 0xD0 <= data[end + 1] <= 0xD7:
                break
            end += 1 if data[end + 1] == 0xFF else 2
        yield data[at:end]
        at = end
        while at + 4 <= len(data) and data[at + 1] not in (0xDA, 0xD9):
            end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
            if not 0xE0 <= data[at + 1] <= 0xEF and data[at + 1] != 0xFE:
                yield data[at:end]
            at = end
            if data[at : at + 1] != b"\xff":
                yield None
                return
        if data[at : at + 2] != b"\xff\xda":
            yield b"\xff\xd9" if data[at : at + 2] == b"\xff\xd9" else None
            return


def _of_png(data: bytes) -> Iterator[bytes | None]:
    """The chunks that make the picture (W3C, PNG, 3rd edition)."""
    yield _PNG
    at = 8
    while at + 12 <= len(data):
        end = at + 12 + int.from_bytes(data[at : at + 4], "big")
        name = data[at + 4 : at + 8]
        if end > len(data):
            break
        if name in _PNG_KEPT:
            yield data[at:end]
        if name == b"IEND":
            return
        at = end
    yield None


def _of_webp(data: bytes) -> Iterator[bytes | None]:
    at = 12
    while at + 8 <= len(data):
        size = int.from_bytes(data[at + 4 : at + 8], "little")
        end = at + 8 + size + size % 2
        name = data[at : at + 4]
        if at + 8 + size > len(data):
            yield None
            return
        if name == b"VP8X" and size >= 10:
            says = bytes([data[at + 8] & ~_WEBP_SAYS & 0xFF])
            yield data[at : at + 8] + says + data[at + 9 : end]
        elif name in _WEBP_KEPT:
            yield data[at:end]
        at = end
