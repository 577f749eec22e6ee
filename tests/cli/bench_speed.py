"""How quick the command is: ``python tests/cli/bench_speed.py [PHOTO]``.

Prints ``--help`` and a cold hint on a photo of 640×480 against
``python -c "import cv2, onnxruntime"``; and, warm, a 12-megapixel JPEG from its bytes to the drawn
raster against its own decoding. Of several runs the quickest counts, by the clock and by processor
time: on a busy machine the latter says what the work costs. Without PHOTO a fixture is used.

Python compiles modules when they are first imported and pip when it installs them; the runs here
keep them in a folder of their own, as any Python does that is not told to keep none.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command does, before numpy
FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"


def quickest(work: Callable[[], object], rounds: int) -> tuple[float, float]:
    """Seconds of one call by the clock and by processor time, children's included."""
    spent = []
    for _ in range(rounds):
        began, used = time.perf_counter(), processor()
        work()
        spent.append((time.perf_counter() - began, processor() - used))
    return min(wall for wall, _ in spent), min(cpu for _, cpu in spent)


def processor() -> float:
    """Processor seconds that this process and its finished children have used."""
    children = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + children.ru_utime + children.ru_stime


def row(label: str, spent: tuple[float, float], of: tuple[float, float], wanted: str = "") -> None:
    """One line: milliseconds and ratios, by the clock and by processor time."""
    wall, cpu = spent
    print(
        f"{label:<30}{1000 * wall:7.0f} ms {wall / of[0]:6.2f}"
        f"{1000 * cpu:9.0f} ms {cpu / max(of[1], 1e-3):6.2f}  {wanted}"
    )


def command(*words: str, compiled: Path) -> Callable[[], object]:
    """A run of a fresh Python that keeps compiled modules in ``compiled``."""
    kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    kept["PYTHONPYCACHEPREFIX"] = str(compiled)

    def start() -> object:
        return subprocess.run([sys.executable, *words], capture_output=True, check=False, env=kept)

    start()  # what it keeps is there from here on
    return start


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


def cold(small: Path, compiled: Path) -> None:
    """Starts from nothing, each in a process of its own."""
    print(f"{'':<30}{'clock':>7}    {'ratio':>6}{'processor':>9}    {'ratio':>6}")
    peer = quickest(command("-c", "import cv2, onnxruntime", compiled=compiled), 7)
    row("import cv2, onnxruntime", peer, peer)
    help_ = quickest(command("-m", "papernudge.cli", "--help", compiled=compiled), 7)
    row("--help", help_, peer, "want ≤ 250 ms")
    nudge = quickest(command("-m", "papernudge.cli", "hint", str(small), compiled=compiled), 7)
    row("cold hint, 640×480", nudge, peer, "want ≤ 900 ms")


def warm(large: Path) -> None:
    """From the file's bytes to the drawn raster, stage by stage, in this process."""
    from papernudge.cli.pictures.pictures import answer_raster
    from papernudge.cli.pictures.scene import answer_scene
    from papernudge.cli.session.answers import HintWishes, hint_answer
    from papernudge.cli.session.pages import Sheet, choose
    from papernudge.cli.terminal.sources import Source, open_page
    from papernudge.hints import solve
    from papernudge.vision.photo import open_photo
    from papernudge.vision.read import read_page

    def whole() -> None:
        sheet = choose(open_page(Source(str(large))), None)
        answer = hint_answer(sheet, 1, HintWishes())
        answer_raster(answer.sheet, answer_scene(answer), 1600)

    whole()
    page = open_page(Source(str(large)))
    photo = page.photo
    assert photo is not None
    sheet: Sheet = choose(page, None)
    scene = answer_scene(hint_answer(sheet, 1, HintWishes()))
    decode = quickest(lambda: open_photo(large), 9)
    width, height = page.reading.size
    row(f"decoding {width}×{height}", decode, decode)
    row("photo to drawn raster", quickest(whole, 9), decode, "want ≤ 2.5")
    row("  read", quickest(lambda: read_page(photo.pixels, solve=solve), 9), decode)
    for stage, spent in page.reading.milliseconds.items():
        print(f"    of which {stage:<17} {spent:7.0f} ms {spent / 1000 / decode[0]:6.2f}")
    row("  hint", quickest(lambda: hint_answer(sheet, 1, HintWishes()), 9), decode)
    row("  draw", quickest(lambda: answer_raster(sheet, scene, 1600), 9), decode)


def main(photo: Path) -> None:
    """Prints the table."""
    with tempfile.TemporaryDirectory() as name:
        cold(scaled(photo, 640 * 480, Path(name)), Path(name) / "compiled")
        warm(scaled(photo, 12_000_000, Path(name)))


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[1]))
    from figures import recorded

    with recorded():
        main(Path(sys.argv[1]) if len(sys.argv) > 1 else sorted(FIXTURES.glob("*.jpg"))[0])
