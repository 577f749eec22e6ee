"""How quick the command is: ``python tests/cli/bench_speed.py [PHOTO]``.

Prints, as medians of several runs: ``--help`` and a cold hint on a photo of 640×480 against
``python -c "import cv2, onnxruntime"``; and, warm, a 12-megapixel JPEG from its bytes to the drawn
raster against its own decoding. Without PHOTO a fixture is used.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy
FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"


def median(work: Callable[[], object], rounds: int) -> float:
    """Median seconds of one call."""
    spent = []
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        spent.append(time.perf_counter() - began)
    return statistics.median(spent)


def command(*words: str) -> Callable[[], object]:
    """A run of a fresh Python."""
    return lambda: subprocess.run([sys.executable, *words], capture_output=True, check=False)


def scaled(photo: Path, pixels: int, folder: Path) -> Path:
    """The photo as a JPEG of about this many pixels."""
    import cv2

    image = cv2.imread(str(photo), cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION)
    assert image is not None, f"{photo} is no photo"
    scale = (pixels / (image.shape[0] * image.shape[1])) ** 0.5
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    out = folder / f"{pixels}.jpg"
    cv2.imwrite(str(out), cv2.resize(image, None, fx=scale, fy=scale, interpolation=how))
    return out


def cold(small: Path) -> None:
    """Starts from nothing, each in a process of its own."""
    peer = median(command("-c", "import cv2, onnxruntime"), 7)
    help_ = median(command("-m", "papernudge.cli", "--help"), 7)
    nudge = median(command("-m", "papernudge.cli", "hint", str(small)), 7)
    print(f"import cv2, onnxruntime      {1000 * peer:7.0f} ms   1.00")
    print(f"--help                       {1000 * help_:7.0f} ms   {help_ / peer:.2f}")
    print(f"cold hint, 640×480           {1000 * nudge:7.0f} ms   {nudge / peer:.2f}")


def warm(large: Path) -> None:
    """From the file's bytes to the drawn raster, stage by stage, in this process."""
    from papernudge.cli.answers import HintWishes, hint_answer
    from papernudge.cli.pages import Sheet, Source, choose, open_page
    from papernudge.cli.pictures import answer_raster
    from papernudge.cli.scene import answer_scene
    from papernudge.vision.photo import open_photo

    def whole() -> None:
        sheet = choose(open_page(Source(str(large))), None)
        answer = hint_answer(sheet, 1, HintWishes())
        answer_raster(answer.sheet, answer_scene(answer), 1600)

    whole()
    decode = median(lambda: open_photo(large), 7)
    everything = median(whole, 7)
    page = open_page(Source(str(large)))
    sheet: Sheet = choose(page, None)
    hinting = median(lambda: hint_answer(sheet, 1, HintWishes()), 5)
    scene = answer_scene(hint_answer(sheet, 1, HintWishes()))
    drawing = median(lambda: answer_raster(sheet, scene, 1600), 5)
    width, height = page.reading.size
    print(f"decoding {width}×{height}         {1000 * decode:7.0f} ms   1.00")
    print(f"photo to drawn raster        {1000 * everything:7.0f} ms   {everything / decode:.2f}")
    stages = {**page.reading.milliseconds, "hint": 1000 * hinting, "draw": 1000 * drawing}
    for stage, spent in stages.items():
        print(f"  {stage:<26} {spent:7.0f} ms   {spent / 1000 / decode:.2f}")


def main(photo: Path) -> None:
    """Prints the table."""
    with tempfile.TemporaryDirectory() as name:
        cold(scaled(photo, 640 * 480, Path(name)))
        warm(scaled(photo, 12_000_000, Path(name)))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else sorted(FIXTURES.glob("*.jpg"))[0])
