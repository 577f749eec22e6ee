"""Opening photo files: every kind a phone or a scanner makes, and every kind of trouble."""

from __future__ import annotations

import io
import os
import random
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from PIL import Image

from papernudge.vision.failure import Failure
from papernudge.vision.photo import MAX_SIDE, Photo, open_photo

WIDE, TALL = 40, 24


def page() -> npt.NDArray[np.uint8]:
    """A small page, red, green, blue, with a dark left top corner: no turn of it looks the same."""
    rows, columns = np.mgrid[0:TALL, 0:WIDE]
    grey = 40 + rows * 4 + columns * 3
    return np.stack([grey, grey * 0.9, grey * 0.8], axis=2).astype(np.uint8)


def saved(kind: str, image: Image.Image | None = None, **options: object) -> bytes:
    out = io.BytesIO()
    if kind == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener()
    (image or Image.fromarray(page())).save(out, kind, **options)  # type: ignore[arg-type]
    return out.getvalue()


def opened(data: bytes) -> Photo:
    photo = open_photo(data, "breakfast.jpg")
    assert isinstance(photo, Photo), photo
    assert photo.pixels.dtype == np.uint8
    assert photo.pixels.ndim == 3
    assert photo.pixels.shape[2] == 3
    return photo


def refused(data: bytes) -> Failure:
    failure = open_photo(data, "breakfast.jpg")
    assert isinstance(failure, Failure)
    assert failure.stage == "open"
    assert "breakfast.jpg" in failure.sentence
    assert failure.sentence.endswith(".")
    assert "\n" not in failure.sentence
    return failure


def png_of_size(width: int, height: int) -> bytes:
    def chunk(name: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def test_an_empty_file_is_refused_with_its_own_reason() -> None:
    assert refused(b"").reason == "empty"


def test_what_is_not_an_image_is_refused() -> None:
    assert refused(b"Dear Lantern, my grid of last Tuesday").reason == "not an image"
    assert refused(b"\0" * 5000).reason == "not an image"
    assert refused(b"%PDF-1.7\n").reason == "not an image"
    assert "PDF" in refused(b"%PDF-1.7\n").sentence


def test_a_missing_file_a_folder_and_a_nameless_path_are_refused(tmp_path: Path) -> None:
    missing = open_photo(tmp_path / "nowhere.jpg")
    assert isinstance(missing, Failure)
    assert missing.reason == "missing"
    folder = open_photo(tmp_path)
    assert isinstance(folder, Failure)
    assert folder.reason == "folder"
    odd = open_photo(Path("a\0b.jpg"))
    assert isinstance(odd, Failure)
    assert odd.reason == "unreadable"


def test_a_device_in_place_of_a_file_does_not_hang() -> None:
    zero = open_photo(Path("/dev/zero"))
    assert isinstance(zero, Failure)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_file_that_ends_early_is_refused(kind: str) -> None:
    noise = np.random.default_rng(3).integers(0, 255, (200, 300, 3)).astype(np.uint8)
    data = saved(kind, Image.fromarray(noise))
    assert refused(data[: len(data) * 2 // 3]).reason in ("cut off", "damaged")


def test_a_cut_off_jpeg_says_that_it_is_cut_off() -> None:
    data = saved("JPEG", Image.fromarray(np.tile(page(), (9, 9, 1))))
    for part in (0.4, 0.7, 0.99):
        failure = refused(data[: int(len(data) * part)])
        assert failure.reason == "cut off"
        assert "copy it again" in failure.sentence


@pytest.mark.parametrize(("width", "height"), [(20_000, 20_000), (20_000, 10), (15_000, 15_000)])
def test_a_huge_header_is_refused_before_decoding(width: int, height: int) -> None:
    failure = refused(png_of_size(width, height))
    assert failure.reason == "too big"
    jpeg = bytearray(saved("JPEG"))
    frame = jpeg.index(b"\xff\xc0")
    jpeg[frame + 5 : frame + 9] = struct.pack(">HH", height, width)
    assert refused(bytes(jpeg)).reason == "too big"
    assert MAX_SIDE <= 20_000


def test_one_pixel_opens() -> None:
    dot = Image.new("RGB", (1, 1), (1, 2, 3))
    assert opened(saved("PNG", dot)).pixels.tolist() == [[[3, 2, 1]]]
    assert opened(saved("JPEG", dot)).size == (1, 1)


@pytest.mark.parametrize("kind", ["PNG", "TIFF", "BMP"])
def test_lossless_files_open_exactly_and_in_the_order_blue_green_red(kind: str) -> None:
    photo = opened(saved(kind))
    assert photo.size == (WIDE, TALL)
    assert np.array_equal(photo.pixels[..., ::-1], page())


@pytest.mark.parametrize("kind", ["JPEG", "WEBP", "HEIF"])
def test_lossy_files_open_nearly_exactly(kind: str) -> None:
    photo = opened(saved(kind, quality=95))
    away = np.abs(photo.pixels[..., ::-1].astype(int) - page().astype(int))
    assert photo.size == (WIDE, TALL)
    assert away.mean() < 6


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP"])
@pytest.mark.parametrize("tag", range(1, 9))
def test_a_rotation_tag_is_told_and_never_applied(kind: str, tag: int) -> None:
    exif = Image.Exif()
    exif[0x0112] = tag
    photo = opened(saved(kind, exif=exif))
    assert photo.tag == tag
    assert photo.size == (WIDE, TALL)
    dark = photo.pixels[:6, :6].mean()
    assert dark < photo.pixels[-6:, -6:].mean() - 30


def test_a_compressed_tiff_with_a_rotation_tag_is_not_turned_either() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    photo = opened(saved("TIFF", exif=exif, compression="tiff_lzw"))
    assert (photo.tag, photo.size) == (6, (WIDE, TALL))


def test_a_nonsense_rotation_tag_counts_as_none() -> None:
    exif = Image.Exif()
    exif[0x0112] = 77
    assert opened(saved("JPEG", exif=exif)).tag == 1


def test_a_heic_photo_comes_as_its_decoder_turns_it() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6
    photo = opened(saved("HEIF", exif=exif.tobytes()))
    assert photo.tag == 1
    assert photo.size == (TALL, WIDE)


MIRRORED = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    7: Image.Transpose.TRANSVERSE,
}


@pytest.mark.parametrize("tag", MIRRORED)
@pytest.mark.parametrize("by", ["its own box", "the tag alone"])
def test_a_mirrored_heic_is_turned_right(tag: int, by: str) -> None:
    corner = np.full((64, 96, 3), 255, np.uint8)
    corner[:32, :48] = 0
    image = Image.fromarray(corner)
    exif, plain = Image.Exif(), Image.Exif()
    exif[0x0112], plain[0x0112] = tag, 1
    if by == "its own box":  # Pillow's plug-in writes one for a tag
        data = saved("HEIF", image, exif=exif.tobytes())
        assert b"imir" in data
    else:
        data = saved("HEIF", image, exif=plain.tobytes())
        told, other = (e.tobytes().removeprefix(b"Exif\0\0") for e in (plain, exif))
        assert data.count(told) == 1
        data = data.replace(told, other)
        assert b"imir" not in data
    photo = opened(data)
    wanted = np.asarray(image.transpose(MIRRORED[tag]))
    assert photo.pixels.shape == wanted.shape
    assert np.abs(photo.pixels.astype(int) - wanted).mean() < 6


def test_a_16_bit_png_keeps_its_light_and_dark() -> None:
    deep = (page()[..., 0].astype(np.uint16) * 257).astype(np.uint16)
    photo = opened(saved("PNG", Image.fromarray(deep)))
    assert np.abs(photo.pixels[..., 0].astype(int) - page()[..., 0]).max() <= 1


def test_a_cmyk_jpeg_opens_the_right_way_round() -> None:
    photo = opened(saved("JPEG", Image.fromarray(page()).convert("CMYK"), quality=95))
    assert np.abs(photo.pixels[..., ::-1].astype(int) - page().astype(int)).mean() < 8


def test_grey_palette_and_one_bit_files_open() -> None:
    grey = Image.fromarray(page()).convert("L")
    assert np.ptp(opened(saved("JPEG", grey)).pixels, axis=2).max() == 0
    assert opened(saved("PNG", grey.convert("P"))).size == (WIDE, TALL)
    assert opened(saved("PNG", grey.convert("1"))).size == (WIDE, TALL)


def test_transparent_parts_are_paper() -> None:
    clear = Image.new("RGBA", (8, 8), (0, 0, 0, 0))
    assert opened(saved("PNG", clear)).pixels.min() == 255


def test_an_animated_file_gives_its_first_frame() -> None:
    first, second = Image.new("RGB", (9, 9), (250, 250, 250)), Image.new("RGB", (9, 9), (5, 5, 5))
    for kind in ("GIF", "WEBP", "PNG"):
        data = saved(kind, first, save_all=True, append_images=[second])
        assert opened(data).pixels.mean() > 200


def test_bytes_a_path_and_an_open_file_give_the_same_photo(tmp_path: Path) -> None:
    data = saved("PNG")
    path = tmp_path / "kitchen table.png"
    path.write_bytes(data)
    by_path = open_photo(path)
    by_file = open_photo(io.BytesIO(data), "kitchen table.png")
    assert isinstance(by_path, Photo)
    assert isinstance(by_file, Photo)
    assert by_path.name == by_file.name == "kitchen table.png"
    assert np.array_equal(by_path.pixels, by_file.pixels)


def test_a_tiff_with_absurd_samples_is_refused_in_silence(tmp_path: Path) -> None:
    """In a process of its own: here pytest itself would catch what Pillow logs."""
    data = bytearray(saved("TIFF"))
    (ifd,) = struct.unpack_from("<I", data, 4)
    (count,) = struct.unpack_from("<H", data, ifd)
    at = next(e for e in range(ifd + 2, ifd + 2 + 12 * count, 12) if data[e : e + 2] == b"\x15\x01")
    struct.pack_into("<H", data, at + 8, 2048)
    refused(bytes(data))
    path = tmp_path / "page.tif"
    path.write_bytes(data)
    program = (
        "import sys, pathlib; from papernudge.vision.photo import open_photo;"
        "sys.exit(bool(open_photo(pathlib.Path(sys.argv[1]))))"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, path], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF", "WEBP", "HEIF"])
def test_damaged_bytes_never_raise_and_say_nothing_on_standard_error(
    kind: str, capfd: pytest.CaptureFixture[str]
) -> None:
    dice = random.Random(11)
    whole = saved(kind, Image.fromarray(np.tile(page(), (4, 4, 1))))
    for _ in range(40):
        data = bytearray(whole)
        for _ in range(dice.randrange(1, 12)):
            data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)
        result = open_photo(bytes(data[: dice.randrange(len(data) // 2, len(data) + 1)]), "x.jpg")
        assert isinstance(result, Photo | Failure)
    assert capfd.readouterr() == ("", "")


def test_real_photos_open_with_their_tag(data_dir: Path) -> None:
    tagged = open_photo(data_dir / "photos" / "printed" / "1036.jpg")
    assert isinstance(tagged, Photo)
    assert tagged.tag != 1


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes are no files on this system")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.jpg")
    opened = open_photo(tmp_path / "pipe.jpg")
    assert isinstance(opened, Failure)
    assert opened.reason == "not an image"
