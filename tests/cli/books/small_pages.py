"""A few small pages to read again and again."""

from __future__ import annotations

from pathlib import Path


def small_pages(desk: Path, many: int = 8) -> list[Path]:
    """One easy grid each, quick to read and to grade: what is tried with them is the writing."""
    import cv2

    from papernudge.digits_model.training.pages import draw, preset
    from papernudge.digits_model.training.pages.own import OwnSupplies

    folder = desk / "small"
    folder.mkdir()
    for seed in range(many):
        spec = preset(
            "easy", seed, split="test", width=480, height=480, grids=1, share=0.9, off_x=0.0,
            off_y=0.0, cut="", turn=2.0, neighbours=0.0, fill=0.0, givens=38,
        )  # fmt: skip
        cv2.imwrite(str(folder / f"{seed}.jpg"), draw(spec, OwnSupplies()).image)
    return sorted(folder.glob("*.jpg"))
