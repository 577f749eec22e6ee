"""How long 40 pages of practice take to draw, and what another reader makes of the file.

    python tests/cli/sheets/bench_sheets.py [PAGES]

Each layout three times, the best of them counts. Needs pdffonts and pdftoppm (poppler-utils).
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from papernudge.cli.sheets.code import Task
from papernudge.cli.sheets.sheet import drawn, pages_of
from papernudge.hints.drilling import Reason, drills_in
from papernudge.hints.generate import puzzle


def tasks(many: int) -> list[Task]:
    """Positions of our own, as different as they come."""
    found: list[Task] = []
    seed = 0
    while len(found) < many:
        for drill in drills_in(puzzle(seed), [Reason.parse("hidden single")], seed):
            n = len(found) + 1
            found.append(
                Task(n, drill.digits, drill.solution, drill.reason, drill.looks, drill.answers)
            )
        seed += 1
    return found[:many]


def fonts(pdf: Path) -> str:
    """Each typeface and whether it lies in the file."""
    ran = subprocess.run(["pdffonts", str(pdf)], check=True, capture_output=True, text=True)
    rows = [row.split() for row in ran.stdout.splitlines()[2:]]
    return ", ".join(f"{row[0].split('+')[-1]} embedded {row[-5]}" for row in rows)


def main() -> None:
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    with tempfile.TemporaryDirectory() as folder:
        for paper, each, minutes in (("a4", 4, 0), ("letter", 4, 0), ("a4", 6, 0), ("a4", 1, 5)):
            pages = pages_of(tasks(many * each), each, paper, minutes)
            best, data = 1e9, b""
            for _ in range(3):
                began = time.process_time()
                data = drawn(pages, "Practice")
                best = min(best, time.process_time() - began)
            pdf = Path(folder) / "sheet.pdf"
            pdf.write_bytes(data)
            began = time.process_time()
            subprocess.run(
                ["pdftoppm", "-r", "50", "-png", str(pdf), str(Path(folder) / "page")], check=True
            )
            shown = len(list(Path(folder).glob("page-*.png")))
            for page in Path(folder).glob("page-*.png"):
                page.unlink()
            print(
                f"{paper}, {each} a page: {len(pages)} pages in {best:.2f} s of processor time,"
                f" {len(data) // 1024} KiB, {shown} pages shown by pdftoppm; {fonts(pdf)}"
            )


if __name__ == "__main__":
    sys.path.append(str(Path(__file__).resolve().parents[2]))
    from figures import recorded

    with recorded():
        main()
