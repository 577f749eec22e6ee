"""Pages as files: photo and truth side by side."""

from __future__ import annotations

import io
import json
from pathlib import Path

import numpy as np

from papernudge.digits_model.training.pages.draw import Page

ENDINGS = (".jpg", ".png", ".heic")


def stored(page: Page, ending: str = ".jpg", quality: int = 80) -> bytes:
    """The photo as a file, with the spec's rotation tag; ValueError for an unknown ending.

    A page drawn with ``jpeg`` set has been through JPEG once already, as a photo that was sent on
    has. HEIC decoders turn the raster by the tag themselves, so HEIC carries none.
    """
    from PIL import Image

    if ending not in ENDINGS:
        raise ValueError(f"expected an ending of {ENDINGS}, got {ending!r}")
    picture = Image.fromarray(np.ascontiguousarray(page.image[..., ::-1]))
    out = io.BytesIO()
    tags = Image.Exif()
    if page.spec.tag:
        tags[0x0112] = page.spec.tag
    if ending == ".png":
        picture.save(out, "PNG", optimize=True, exif=tags)
    elif ending == ".heic":
        import pillow_heif

        pillow_heif.register_heif_opener()
        picture.save(out, "HEIF", quality=quality)
    else:
        picture.save(out, "JPEG", quality=quality, exif=tags)
    return out.getvalue()


def write_page(page: Page, folder: Path, name: str, ending: str = ".jpg") -> Path:
    """Writes ``name`` + ending and ``name`` + ending + ``.json`` (spec and truth)."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / f"{name}{ending}"
    path.write_bytes(stored(page, ending, page.spec.jpeg or 90))
    told = {"photo": path.name, "spec": page.spec.as_json(), **page.truth.as_json()}
    text = json.dumps(told, separators=(",", ":")) + "\n"
    path.with_name(f"{path.name}.json").write_text(text, encoding="utf-8")
    return path
