"""Opens a photo file: bytes from anywhere to pixels, or one clear sentence."""

from __future__ import annotations

import contextlib
import io
import logging
import os
import stat
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np
import numpy.typing as npt

from papernudge.hints.catalogue import Message, message
from papernudge.vision.failure import Failure, said_by_system

if TYPE_CHECKING:
    from PIL import Image

Raster = npt.NDArray[np.uint8]

MAX_SIDE = 20_000
"""Longest side that is decoded, pixels: whatever is larger is refused by its header (it says
20,000 or more)."""
MAX_PIXELS_JPEG = 110_000_000
"""Most pixels of a JPEG in one scan: a phone's 108-megapixel mode fits. It decodes at 3 bytes a
pixel."""
MAX_PIXELS = 56_000_000
"""Most pixels of any other file: their decoders hold up to 10 bytes a pixel at once."""
MAX_SEGMENTS = 5_000
"""Most marker segments before a JPEG's pixels: a depth map beside a photo takes some hundreds."""
MAX_BYTES = 300_000_000
"""Longest file that is read."""

# Pillow logs what is odd about a file; without a handler Python would print that.
logging.getLogger("PIL").addHandler(logging.NullHandler())

_STRIP = 512  # rows converted at a time, so that a large file is never held three times


@dataclass(frozen=True, eq=False)
class Photo:
    """A decoded photo.

    ``pixels``: uint8 (H, W, 3), channels blue, green, red, exactly as the decoder delivers them:
    a rotation tag is not applied, except by HEIC decoders, which turn the picture themselves.
    ``tag``: the Exif rotation tag, 1–8, a hint about which way is up; 1 where there is none.
    ``name``: what to call the file when talking about it. ``reduced``: how many pixels of the file
    each side of one here stands for: 1, 2, 4 or 8.
    """

    pixels: Raster
    tag: int = 1
    name: str | Message = "photo"
    reduced: int = 1

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the raster, pixels."""
        return self.pixels.shape[1], self.pixels.shape[0]


def open_photo(
    source: Path | bytes | BinaryIO, name: str | Message | None = None, *, side: int | None = None
) -> Photo | Failure:
    """Decodes JPEG, PNG, TIFF, WebP, HEIC, BMP and GIF (an animated file gives its first frame).

    ``source``: a path, the file's bytes, or an open binary file, which is read to its end.
    ``side``: a JPEG may come reduced by 2, 4 or 8, as long as its longer side keeps so many pixels:
    the decoder leaves out fine waves then, at less than half the time. None: as it is.
    Whatever is wrong with the file comes back as a falsy :class:`Failure` of stage ``"open"``
    with a reason among ``missing``, ``folder``, ``unreadable``, ``empty``, ``too big``,
    ``not an image``, ``cut off``, ``damaged``; nothing is raised for bad bytes.
    """
    called = name or (source.name if isinstance(source, Path) else "photo")
    data = source if isinstance(source, bytes) else file_bytes(source, called)
    if isinstance(data, Failure):
        return data
    if not data:
        return _failure("empty", "file is empty", called)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _decode(data, called, side)
    except MemoryError:
        return _too_big("photo takes too much memory", called)
    except Exception:  # decoders raise nearly every type there is on damaged bytes
        return _damaged(called)


def file_bytes(source: Path | BinaryIO, called: str | Message) -> bytes | Failure:
    """All bytes of a file; a Failure of :func:`open_photo` where it is none, or too long."""
    try:
        if isinstance(source, Path):
            mode = source.stat().st_mode
            if stat.S_ISDIR(mode):
                return _failure("folder", "file is a folder", called)
            if not stat.S_ISREG(mode):  # a pipe waits for its other end, a device has no end
                return _not_an_image(called)
            with source.open("rb") as file:
                data = file.read(MAX_BYTES + 1)
        else:
            data = source.read(MAX_BYTES + 1)
    except FileNotFoundError:
        return _failure("missing", "no such file", called)
    except (OSError, ValueError) as error:
        known = getattr(error, "strerror", None)
        why = said_by_system(error) if known else message("the name is not valid")
        return _failure("unreadable", "file can't be read", called, why=why)
    if len(data) > MAX_BYTES:
        return _too_big("photo is too long", called, most=MAX_BYTES // 1_000_000)
    return data


def _failure(reason: str, code: str, called: str | Message, **data: Any) -> Failure:
    return Failure("open", reason, message(code, called=called, **data))


def _not_an_image(called: str | Message) -> Failure:
    return _failure("not an image", "not a photo", called)


def _damaged(called: str | Message) -> Failure:
    return _failure("damaged", "photo is damaged", called)


def _cut_off(called: str | Message) -> Failure:
    return _failure("cut off", "photo is cut off", called)


def _too_big(code: str, called: str | Message, **data: Any) -> Failure:
    return _failure("too big", code, called, **data)


def _wrong_size(called: str | Message, width: int, height: int, limit: int) -> Failure | None:
    if width >= MAX_SIDE or height >= MAX_SIDE or width * height > limit:
        most = limit // 1_000_000
        return _too_big(
            "photo is too big", called, width=width, height=height, most=most, side=MAX_SIDE
        )
    return _damaged(called) if width < 1 or height < 1 else None


def _decode(data: bytes, called: str | Message, side: int | None) -> Photo | Failure:
    if data[:3] == b"\xff\xd8\xff":
        return _decode_jpeg(data, called, side)
    if data[4:8] == b"ftyp" and data[8:12] not in (b"avif", b"avis"):
        return _decode_heic(data, called)
    if data[:5] == b"%PDF-":
        return _failure("not an image", "photo is a PDF", called)
    return _decode_other(data, called)


# ---------------------------------------------------------------- JPEG


@dataclass(frozen=True, slots=True)
class _Frame:
    """What a JPEG says of itself before its pixels."""

    width: int
    height: int
    bits: int
    channels: int
    tag: int
    progressive: bool  # in many scans, all held until the last
    scan: int  # where the first scan starts, bytes


def _decode_jpeg(data: bytes, called: str | Message, side: int | None) -> Photo | Failure:
    """The usual road: about as fast as libjpeg can go, and nothing but cv2 imported."""
    frame = _jpeg_frame(data)
    if frame is None:
        return _damaged(called)
    most = MAX_PIXELS if frame.progressive else MAX_PIXELS_JPEG
    wrong = _wrong_size(called, frame.width, frame.height, most)
    if wrong is not None:
        return wrong
    # The bytes FF D9 can't occur inside coded data: without them, the file was cut.
    if data.find(b"\xff\xd9", frame.scan) < 0:
        return _cut_off(called)
    if frame.bits != 8 or frame.channels not in (1, 3):
        wrong = _wrong_size(called, frame.width, frame.height, MAX_PIXELS)
        return wrong if wrong is not None else _decode_other(data, called)
    import cv2

    longest = max(frame.width, frame.height)
    reduced = next((by for by in (8, 4, 2) if side is not None and longest >= by * side), 1)
    flags = {
        1: cv2.IMREAD_COLOR,
        2: cv2.IMREAD_REDUCED_COLOR_2,
        4: cv2.IMREAD_REDUCED_COLOR_4,
        8: cv2.IMREAD_REDUCED_COLOR_8,
    }
    how = flags[reduced] | cv2.IMREAD_IGNORE_ORIENTATION
    with _quiet_libraries():
        pixels = cv2.imdecode(np.frombuffer(data, np.uint8), how)
    if pixels is None:
        return _damaged(called)
    return Photo(np.asarray(pixels, np.uint8), frame.tag, called, reduced)


def _jpeg_frame(data: bytes) -> _Frame | None:
    """Walks the marker segments up to the first scan (ITU-T T.81, annex B); None if damaged."""
    at, tag, size, progressive, segments = 2, None, None, False, 0
    while at + 4 <= len(data) and segments < MAX_SEGMENTS:
        if data[at] != 0xFF:
            return None
        marker = data[at + 1]
        if marker == 0xFF:  # a fill byte
            at += 1
            continue
        if marker == 0x01 or 0xD0 <= marker <= 0xD8:  # markers that stand alone
            at += 2
            continue
        segments += 1
        length = int.from_bytes(data[at + 2 : at + 4], "big")
        body = data[at + 4 : at + 2 + length]
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC) and len(body) >= 6:
            size = (
                int.from_bytes(body[3:5], "big"),
                int.from_bytes(body[1:3], "big"),
                body[0],
                body[5],
            )
            progressive = marker in (0xC2, 0xC6, 0xCA, 0xCE)
        if marker == 0xE1 and tag is None and body[:6] == b"Exif\0\0":
            tag = _exif_rotation(body[6:])
        at += 2 + max(length, 2)
        if marker == 0xDA:
            return None if size is None else _Frame(*size, tag or 1, progressive, at)
        if marker == 0xD9:
            return None
    return None


def _exif_rotation(tiff: bytes) -> int:
    """The rotation tag of an Exif block (tag 0x0112 of its first directory), 1 if none."""
    order = {b"II": "little", b"MM": "big"}.get(tiff[:2])
    if order is None:
        return 1

    def number(start: int, length: int) -> int:
        return int.from_bytes(tiff[start : start + length], order)  # type: ignore[arg-type]

    first = number(4, 4)
    for entry in range(first + 2, first + 2 + 12 * min(number(first, 2), 200), 12):
        if number(entry, 2) == 0x0112:
            tag = number(entry + 8, 2)
            return tag if 1 <= tag <= 8 else 1
    return 1


@contextlib.contextmanager
def _quiet_libraries() -> Iterator[None]:
    """Libraries inside cv2 and Pillow write remarks straight to file descriptor 2: not here."""
    try:
        kept = os.dup(2)
    except OSError:  # standard error is closed: nothing can leak
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(kept, 2)
        os.close(nowhere)
        os.close(kept)


# ---------------------------------------------------------------- everything else


def _decode_heic(data: bytes, called: str | Message) -> Photo | Failure:
    import pillow_heif

    try:
        heif = pillow_heif.open_heif(data, convert_hdr_to_8bit=True)
    except (ValueError, OSError, RuntimeError, SyntaxError, EOFError):
        known = data[8:12] in (b"heic", b"heix", b"mif1", b"msf1", b"hevc", b"heim", b"heis")
        return _damaged(called) if known else _not_an_image(called)
    width, height = heif.size
    wrong = _wrong_size(called, width, height, MAX_PIXELS)
    if wrong is not None:
        return wrong
    exif = heif.info.get("exif")  # before Pillow's picture is made, which tells a tag of 1
    with _quiet_libraries():
        image = heif.to_pillow()
    pixels, tag = _to_bgr(image), _exif_rotation((exif or b"").removeprefix(b"Exif\0\0"))
    if tag in _MIRRORS and not _turns_itself(data):
        pixels = np.ascontiguousarray(_MIRRORS[tag](pixels))
    return Photo(pixels, 1, called)


_MIRRORS: dict[int, Callable[[Raster], Raster]] = {
    2: lambda p: p[:, ::-1],
    4: lambda p: p[::-1],
    5: lambda p: p.transpose(1, 0, 2),
    7: lambda p: p[::-1, ::-1].transpose(1, 0, 2),
}
"""How a mirrored picture is turned right, by its rotation tag. Which way is up the digits tell, so
a turn can be left to them; what is mirrored can't be read either way."""


def _turns_itself(data: bytes) -> bool:
    """Whether a HEIC file says by its own means, in its ``meta`` box, how it is turned or mirrored
    (ISO/IEC 23008-12, ``irot`` and ``imir``): then the decoder has done it, and the tag only
    repeats it.
    """
    at = 0
    while at + 8 <= len(data):
        size, name = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        if size == 1:
            size = int.from_bytes(data[at + 8 : at + 16], "big")
        end = at + size if size >= 8 else len(data)
        if name == b"meta":
            return data.find(b"irot", at, end) >= 0 or data.find(b"imir", at, end) >= 0
        at = end
    return False


def _decode_other(data: bytes, called: str | Message) -> Photo | Failure:
    from PIL import Image, UnidentifiedImageError

    kinds = ("PNG", "JPEG", "TIFF", "WEBP", "BMP", "GIF", "AVIF")
    try:
        image = Image.open(io.BytesIO(data), formats=kinds)
    except UnidentifiedImageError:
        return _damaged(called) if _looks_like_a_photo(data) else _not_an_image(called)
    except Image.DecompressionBombError:
        return _too_big("photo says too many pixels", called)
    wrong = _wrong_size(called, *image.size, MAX_PIXELS)
    if wrong is not None:
        return wrong
    tag = _rotation(image)
    try:
        with _quiet_libraries():
            image.load()
    except OSError as error:
        return _cut_off(called) if "truncated" in str(error) else _damaged(called)
    pixels = _to_bgr(image)
    return Photo(_unturned(pixels, tag) if image.format == "TIFF" else pixels, tag, called)


def _looks_like_a_photo(data: bytes) -> bool:
    starts = (b"\x89PNG", b"\xff\xd8\xff", b"II*\0", b"MM\0*", b"RIFF", b"BM", b"GIF8")
    return data.startswith(starts)


def _rotation(image: Image.Image) -> int:
    try:
        tag = image.getexif().get(0x0112, 1)
    except Exception:  # a broken Exif block is no reason to refuse a photo
        return 1
    return tag if isinstance(tag, int) and 1 <= tag <= 8 else 1


def _unturned(pixels: Raster, tag: int) -> Raster:
    """Takes back the turn that Pillow gives to a TIFF with a rotation tag, and to nothing else."""
    back = {
        2: lambda p: p[:, ::-1],
        3: lambda p: p[::-1, ::-1],
        4: lambda p: p[::-1],
        5: lambda p: p.transpose(1, 0, 2),
        6: lambda p: np.rot90(p),
        7: lambda p: p[::-1, ::-1].transpose(1, 0, 2),
        8: lambda p: np.rot90(p, -1),
    }.get(tag)
    return pixels if back is None else np.ascontiguousarray(back(pixels))


def _to_bgr(image: Image.Image) -> Raster:
    """Any Pillow image as uint8 (H, W, 3), blue, green, red; transparent parts become white."""
    width, height = image.size
    out = np.empty((height, width, 3), np.uint8)
    deep = image.mode in ("I", "F") or image.mode.startswith("I;16")
    top = _deepest(image) if deep else 1.0
    for y in range(0, height, _STRIP):
        strip = image.crop((0, y, width, min(y + _STRIP, height)))
        if deep:
            grey = np.asarray(strip).astype(np.float32) * (255.0 / top)
            out[y : y + _STRIP] = np.clip(np.nan_to_num(grey), 0, 255).astype(np.uint8)[..., None]
        else:
            out[y : y + _STRIP] = _flat_rgb(strip)[..., ::-1]
    return out


def _deepest(image: Image.Image) -> float:
    """The value that stands for white in a picture of more than 8 bits."""
    if image.mode.startswith("I;16"):
        return 65535.0
    extrema: Any = image.getextrema()
    high = float(extrema[1])
    if image.mode == "I" and 255 < high <= 65535:
        return 65535.0
    return high if np.isfinite(high) and high > 0 else 1.0


def _flat_rgb(strip: Image.Image) -> Raster:
    """Red, green, blue, with transparency laid on white paper."""
    if "A" in strip.mode or "a" in strip.mode or "transparency" in strip.info:
        from PIL import Image

        clear = strip.convert("RGBA")
        paper = Image.new("RGBA", clear.size, (255, 255, 255, 255))
        paper.alpha_composite(clear)
        strip = paper
    return np.asarray(strip.convert("RGB"), np.uint8)
