"""Small files made to cost much: what ``bench_bad_files.py`` and the tests feed to the commands.

Each is made by a function of its own from nothing but Python's library, NumPy, cv2 and Pillow. Most
claim far more than they hold, or ask for work out of all proportion to their size.
"""

from __future__ import annotations

import io
import itertools
import struct
import zlib
from collections.abc import Callable
from typing import Any

import numpy as np


def encoded(kind: str, image: Any, **how: Any) -> bytes:
    """A Pillow image as a file."""
    out = io.BytesIO()
    image.save(out, kind, **how)
    return out.getvalue()


def plain(wide: int, high: int, mode: str = "RGB", colour: Any = None) -> Any:
    """A Pillow image of one colour."""
    from PIL import Image

    return Image.new(mode, (wide, high), colour if colour is not None else 200)


def array(pixels: Any) -> Any:
    """A Pillow image of an array."""
    from PIL import Image

    return Image.fromarray(np.asarray(pixels, np.uint8))


# ---------------------------------------------------------------- TIFF


def tiff(wide: int, high: int, tags: dict[int, tuple[int, int]], data: bytes = b"") -> bytes:
    """A TIFF of one strip. ``tags``: number to type (3 short, 4 long) and value."""
    size = 8 + 2 + 12 * (len(tags) + 7) + 4
    whole = {
        256: (4, wide),
        257: (4, high),
        258: (3, 8),
        259: (3, 1),
        262: (3, 1),
        273: (4, size),
        279: (4, max(1, len(data))),
        **tags,
    }
    head = struct.pack("<2sHIH", b"II", 42, 8, len(whole))
    for number, (kind, value) in sorted(whole.items()):
        head += struct.pack("<HHII", number, kind, 1, value)
    return (head + bytes(4)).ljust(size, b"\0") + data


def many_frames(count: int, loop: bool = False) -> bytes:
    """A TIFF of that many frames of 8 × 8 pixels; or one whose last is followed by the first."""
    out = bytearray(b"II*\0" + struct.pack("<I", 8))
    entry = ((256, 4, 8), (257, 4, 8), (258, 3, 8), (259, 3, 1), (262, 3, 1), (279, 4, 64))
    length = 2 + 12 * 7 + 4
    for number in range(count):
        at = 8 + number * length
        last = number == count - 1
        after = (8 if loop else 0) if last else at + length
        out += struct.pack("<H", 7)
        for one in sorted((*entry, (273, 4, 8))):
            out += struct.pack("<HHII", one[0], one[1], 1, one[2])
        out += struct.pack("<I", after)
    return bytes(out) + bytes(64)


# ---------------------------------------------------------------- JPEG


def parts(data: bytes) -> tuple[bytes, list[bytes]]:
    """A JPEG's head and its scans, each with the tables before it."""
    at, head, scans, start = 2, 0, [], 0
    while data[at + 1] != 0xD9:
        marker = data[at + 1]
        end = at + 2 + int.from_bytes(data[at + 2 : at + 4], "big")
        if 0xC0 <= marker <= 0xC2:
            head = start = end
        if marker == 0xDA:
            while not (data[end] == 0xFF and data[end + 1] not in (0, *range(0xD0, 0xD8))):
                end += 1
            scans.append(data[start:end])
            start = end
        at = end
    return data[:head], scans


def many_scans(side: int, times: int) -> bytes:
    """A progressive JPEG whose last scan comes again and again."""
    whole = encoded("JPEG", plain(side, side, "L"), progressive=True)
    head, scans = parts(whole)
    return head + b"".join(scans) + scans[-1] * times + b"\xff\xd9"


def exif_segments(total: int) -> bytes:
    """A JPEG with so many bytes of Exif segments, each of 200 entries that say nothing."""
    block = b"Exif\0\0II*\0" + struct.pack("<IH", 8, 65535) + bytes(20)
    segment = b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block
    whole = encoded("JPEG", plain(64, 64))
    return whole[:2] + segment * (total // len(segment)) + whole[2:]


def tall_jpeg() -> bytes:
    """A small JPEG that says it is 19,999 × 5,500 pixels."""
    whole = bytearray(encoded("JPEG", plain(64, 64)))
    at = whole.index(b"\xff\xc0")
    whole[at + 5 : at + 9] = struct.pack(">HH", 5_500, 19_999)
    return bytes(whole)


# ---------------------------------------------------------------- PNG


def png(wide: int, high: int, depth: int, colour: int, data: bytes, extra: bytes = b"") -> bytes:
    """A PNG with these compressed bytes for its pixels. ``extra``: chunks before them."""
    head = struct.pack(">IIBBBBB", wide, high, depth, colour, 0, 0, 0)
    parts_ = (chunk(b"IHDR", head), extra, chunk(b"IDAT", data), chunk(b"IEND", b""))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts_)


def chunk(name: bytes, data: bytes) -> bytes:
    """One chunk of a PNG."""
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def zeros(count: int) -> bytes:
    """So many zero bytes, compressed."""
    press = zlib.compressobj(9)
    block = bytes(1 << 20)
    out = [press.compress(block) for _ in range(count >> 20)]
    return b"".join([*out, press.compress(bytes(count & 0xFFFFF)), press.flush()])


# ---------------------------------------------------------------- PDF


def pdf(*objects: bytes, pages: str = "[3 0 R]", count: int = 1) -> bytes:
    """A PDF; ``objects`` from the third on: the first is the page."""
    out = io.BytesIO(b"%PDF-1.7\n")
    out.seek(0, 2)
    starts = []
    tree = f"<</Type/Pages/Kids {pages}/Count {count}>>".encode()
    for number, body in enumerate((b"<</Type/Catalog/Pages 2 0 R>>", tree, *objects), start=1):
        starts.append(out.tell())
        out.write(b"%d 0 obj\n" % number + body + b"\nendobj\n")
    at = out.tell()
    out.write(b"xref\n0 %d\n0000000000 65535 f \n" % (len(starts) + 1))
    out.write(b"".join(b"%010d 00000 n \n" % start for start in starts))
    out.write(b"trailer<</Size %d/Root 1 0 R>>\nstartxref\n%d\n%%%%EOF" % (len(starts) + 1, at))
    return out.getvalue()


def page(box: str = "0 0 400 560", resources: str = "", contents: int = 4) -> bytes:
    """A page's dictionary."""
    return (
        f"<</Type/Page/Parent 2 0 R/MediaBox[{box}]/Resources<<{resources}>>"
        f"/Contents {contents} 0 R>>"
    ).encode()


def stream(data: bytes, words: str = "") -> bytes:
    """A stream object."""
    return f"<</Length {len(data)}{words}>>stream\n".encode() + data + b"\nendstream"


DRAW = stream(b"q 400 0 0 560 0 0 cm /I Do Q")
HAS = "/XObject<</I 5 0 R>>"


def picture(wide: int, high: int, data: bytes, filters: str, space: str = "/DeviceRGB") -> bytes:
    """A PDF of one page with a picture over all of it."""
    words = (
        f"/Type/XObject/Subtype/Image/Width {wide}/Height {high}/BitsPerComponent 8"
        f"/ColorSpace{space}/Filter{filters}"
    )
    return pdf(page(resources=HAS), DRAW, stream(data, words))


def nested_filters(count: int) -> bytes:
    """A picture that is compressed three times over, ``count`` bytes in the end."""
    data = zlib.compress(zlib.compress(zeros(count), 9), 9)
    return picture(20_000, 20_000, data, "[/FlateDecode/FlateDecode/FlateDecode]")


def nested_content(count: int) -> bytes:
    """The same for what is drawn on a page."""
    data = zlib.compress(zlib.compress(zeros(count), 9), 9)
    words = "/Filter[/FlateDecode/FlateDecode/FlateDecode]"
    return pdf(page(), stream(data, words))


def laughs(deep: int, each: int) -> bytes:
    """Forms that draw a form that draws a form."""
    forms = []
    for level in range(deep):
        last = level == deep - 1
        body = b"0 0 9 9 re f " if last else b"/F Do " * each
        inner = "" if last else f"/Resources<</XObject<</F {6 + level} 0 R>>>>"
        forms.append(stream(body, f"/Type/XObject/Subtype/Form/BBox[0 0 400 560]{inner}"))
    return pdf(page(resources=HAS), stream(b"/I Do"), *forms)


def scan_page(data: bytes, wide: int, high: int) -> bytes:
    """A page that is one JPEG."""
    return picture(wide, high, data, "/DCTDecode", "/DeviceGray")


# ---------------------------------------------------------------- what opens, and is odd to search


def tiny_grids(cell: int, wide: int = 1280, high: int = 960) -> Any:
    """A page full of grids, cells so many pixels wide: uint8 (H, W)."""
    side, gap = 9 * cell, max(3, cell)
    one = np.full((side + gap, side + gap), 235, np.uint8)
    for line in range(10):
        thick = 2 if line % 3 == 0 else 1
        one[line * cell : line * cell + thick, : side + 1] = 40
        one[: side + 1, line * cell : line * cell + thick] = 40
    return np.tile(one, (high // len(one), wide // len(one)))


def doubled_digits(side: int, cell: int) -> Any:
    """A page of side × side grids in a third of whose cells two digits are printed on each other:
    uint8 (H, W).
    """
    import cv2

    dice = np.random.default_rng(1)
    page = np.tile(tiny_grids(cell, 11 * cell, 11 * cell), (side, side))
    step = len(page) // side
    for grid, at in itertools.product(range(side * side), range(81)):
        if dice.random() < 0.33:
            x = grid % side * step + at % 9 * cell + cell // 4
            y = grid // side * step + at // 9 * cell + 3 * cell // 4
            for digit in dice.integers(1, 10, 2):
                text = str(digit)
                cv2.putText(page, text, (x, y), cv2.FONT_HERSHEY_DUPLEX, cell / 42, 30, 1)
    return page


def noise(wide: int, high: int, seed: int = 3) -> Any:
    """Grey noise, uint8 (H, W)."""
    return np.random.default_rng(seed).integers(0, 256, (high, wide), np.uint8)


def stripes(wide: int, high: int, step: int) -> Any:
    """Lines across and down, uint8 (H, W)."""
    out = np.full((high, wide), 240, np.uint8)
    out[::step] = 30
    out[:, ::step] = 30
    return out


CRAFTED: dict[str, tuple[str, Callable[[], bytes]]] = {
    # claims
    "TIFF of 56 megapixels in 150 bytes": ("tif", lambda: tiff(7_480, 7_480, {})),
    "the same in 32-bit colour": (
        "tif",
        lambda: tiff(7_480, 7_480, {258: (3, 32), 262: (3, 1), 339: (3, 3)}),
    ),
    "the same deflated, all zero": (
        "tif",
        lambda: tiff(7_480, 7_480, {259: (3, 8)}, zeros(7_480 * 7_480)),
    ),
    "TIFF of 100 megapixels, turned": (
        "tif",
        lambda: tiff(10_000, 10_000, {274: (3, 6), 259: (3, 8)}, zeros(100_000_000)),
    ),
    "TIFF of 50 megapixels, turned": (
        "tif",
        lambda: tiff(7_000, 7_000, {274: (3, 6), 259: (3, 8)}, zeros(49_000_000)),
    ),
    "TIFF of 19,999 × 19,999": ("tif", lambda: tiff(19_999, 19_999, {})),
    "TIFF of a row of 4 billion": ("tif", lambda: tiff(2**32 - 1, 1, {})),
    "TIFF of 2,000 frames": ("tif", lambda: many_frames(2_000)),
    "TIFF of 30,000 frames": ("tif", lambda: many_frames(30_000)),
    "TIFF whose frames go round": ("tif", lambda: many_frames(20, loop=True)),
    "PNG of 56 megapixels, 16 bits, clear": (
        "png",
        lambda: png(7_480, 7_480, 16, 6, zeros(8 * 7_480 * 7_480)),
    ),
    "PNG of 56 megapixels, grey": ("png", lambda: png(7_480, 7_480, 8, 0, zeros(7_481 * 7_480))),
    "PNG without pixels": ("png", lambda: png(7_480, 7_480, 8, 2, b"")),
    "PNG with a gigabyte of text": (
        "png",
        lambda: png(64, 64, 8, 0, zeros(65 * 64), chunk(b"zTXt", b"a\0\0" + zeros(1 << 30))),
    ),
    "PNG of no width": ("png", lambda: png(0, 64, 8, 0, zeros(64))),
    "GIF of 7,000 × 7,000": ("gif", lambda: encoded("GIF", plain(7_000, 7_000, "L"))),
    "GIF of 300 frames": (
        "gif",
        lambda: encoded(
            "GIF",
            plain(900, 900, "L"),
            save_all=True,
            append_images=[plain(900, 900, "L", n % 250) for n in range(300)],
        ),
    ),
    "BMP of 56 megapixels, cut": ("bmp", lambda: encoded("BMP", plain(7_480, 7_480, "L"))[:2_000]),
    "WebP of 7,000 × 7,000": ("webp", lambda: encoded("WEBP", plain(7_000, 7_000), quality=1)),
    "AVIF of 6,000 × 6,000": (
        "avif",
        lambda: encoded("AVIF", plain(6_000, 6_000), quality=1, speed=10),
    ),
    # JPEG
    "JPEG with 2 MB of Exif": ("jpg", lambda: exif_segments(2_000_000)),
    "JPEG with 20 MB of Exif": ("jpg", lambda: exif_segments(20_000_000)),
    "JPEG of 110 megapixels in 700 bytes": ("jpg", tall_jpeg),
    "JPEG of 100 megapixels": ("jpg", lambda: encoded("JPEG", plain(10_000, 10_000))),
    "progressive, 8,000 × 7,000, 300 scans more": ("jpg", lambda: many_scans(7_400, 300)),
    "progressive, 4,000 × 4,000, 2,000 scans more": ("jpg", lambda: many_scans(4_000, 2_000)),
    "progressive of 56 megapixels": (
        "jpg",
        lambda: encoded("JPEG", plain(7_480, 7_480), progressive=True),
    ),
    "CMYK of 56 megapixels": ("jpg", lambda: encoded("JPEG", plain(7_480, 7_480, "CMYK", 9))),
    # PDF
    "PDF of 50,000 pages in 435 bytes": ("pdf", lambda: pdf(page(), stream(b""), count=50_000)),
    "PDF of a billion pages": ("pdf", lambda: pdf(page(), stream(b""), count=10**9)),
    "PDF whose pages are its pages": ("pdf", lambda: pdf(page(), pages="[2 0 R 2 0 R]", count=9)),
    "PDF of 4 GB in 600 bytes": ("pdf", lambda: nested_filters(1 << 30)),
    "PDF with 4 GB to draw": ("pdf", lambda: nested_content(1 << 30)),
    "PDF with a picture of 30,000 × 30,000": (
        "pdf",
        lambda: picture(30_000, 30_000, zlib.compress(bytes(9)), "/FlateDecode"),
    ),
    "PDF with a picture of 7,000 × 7,000": (
        "pdf",
        lambda: picture(7_000, 7_000, zeros(147_000_000), "/FlateDecode"),
    ),
    "PDF with run lengths of 20,000 × 20,000": (
        "pdf",
        lambda: picture(20_000, 20_000, b"\x81\0" * 60_000 + b"\x80", "/RunLengthDecode"),
    ),
    "PDF of nested arrays": ("pdf", lambda: pdf(page(), b"[" * 600_000 + b"]" * 600_000)),
    "PDF of nested dictionaries": (
        "pdf",
        lambda: pdf(page(resources="/X " + "<</A " * 200_000 + "1" + ">>" * 200_000), stream(b"")),
    ),
    "PDF of nested states": ("pdf", lambda: pdf(page(), stream(b"q " * 600_000))),
    "PDF of nested arrays to draw": ("pdf", lambda: pdf(page(), stream(b"[" * 1_200_000))),
    "PDF of forms in forms": ("pdf", lambda: laughs(12, 12)),
    "PDF of two million lines": (
        "pdf",
        lambda: pdf(
            page(), stream(zlib.compress(b"0 0 m 400 560 l S " * 2_000_000), "/Filter/FlateDecode")
        ),
    ),
    "PDF of a page ten miles wide": (
        "pdf",
        lambda: pdf(page("0 0 99999999 99999999"), stream(b"0 0 9 9 re f")),
    ),
    "PDF of a page of no size": ("pdf", lambda: pdf(page("0 0 0 0"), stream(b"0 0 9 9 re f"))),
    "PDF of a page one point high": ("pdf", lambda: pdf(page("0 0 90000 1"), stream(b"f"))),
    "PDF of a scan of many scans": (
        "pdf",
        lambda: scan_page(many_scans(4_000, 2_000), 4_000, 4_000),
    ),
    "PDF cut in half": ("pdf", lambda: nested_filters(1 << 20)[:300]),
    # what opens
    "16 × 16,000 pixels": ("png", lambda: encoded("PNG", array(noise(16, 16_000)))),
    "16,000 × 16 pixels": ("png", lambda: encoded("PNG", array(noise(16_000, 16)))),
    "70 × 19,999 pixels": ("png", lambda: encoded("PNG", array(stripes(70, 19_999, 7)))),
    "1 × 1 pixel": ("png", lambda: encoded("PNG", plain(1, 1))),
    "60 × 60 pixels": ("png", lambda: encoded("PNG", array(stripes(60, 60, 6)))),
    "700 grids of cells of 4": ("png", lambda: encoded("PNG", array(tiny_grids(4)))),
    "230 grids of cells of 7": ("png", lambda: encoded("PNG", array(tiny_grids(7)))),
    "54 grids of cells of 14": ("png", lambda: encoded("PNG", array(tiny_grids(14)))),
    "800 grids on 12 megapixels": (
        "png",
        lambda: encoded("PNG", array(tiny_grids(12, 4_000, 3_000))),
    ),
    "9 grids of digits on digits": ("png", lambda: encoded("PNG", array(doubled_digits(3, 30)))),
    "noise of 12 megapixels": ("png", lambda: encoded("PNG", array(noise(4_000, 3_000)))),
    "stripes of 12 megapixels": ("png", lambda: encoded("PNG", array(stripes(4_000, 3_000, 14)))),
    "fine stripes": ("png", lambda: encoded("PNG", array(stripes(2_000, 1_500, 5)))),
    "black": ("png", lambda: encoded("PNG", plain(4_000, 3_000, "L", 0))),
    # what is something else
    "a program under a photo's name": ("jpg", lambda: b"\x7fELF" + bytes(4_000)),
    "text under a PDF's name": ("pdf", lambda: b"Dear sir,\n" * 40),
    "nothing": ("jpg", lambda: b""),
}
"""Name to ending and bytes."""
