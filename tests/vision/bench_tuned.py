"""What moves when a number of finding moves, on photos and pages: records of ``vision/tuned.py``.

Run as ``python tests/vision/bench_tuned.py`` (all), or name records: ``flatten._CLOSE``. Each value
is taken a fifth less and a quarter more (of a table every number; of counts at least one), and
finding looks at every ``--each``-th photo, ``--pages`` drawn pages of the preset hard and as many
with boards of other sizes and forms. Told are
the pictures whose grids are others or of another kind, those in which only crossings move by more
than 0.03 cells, and the processor time against that with the value as it is. A picture on which no
line that holds a record's constant ran is not looked at for that record: nothing can move there.
What moves nothing here may still matter elsewhere: a bound of time on pages of fifty grids, say.
``--reached`` names instead the records by whose constants nothing went on any of those pictures.
Photos are looked for in ``../shared/data`` or where PAPERNUDGE_DATA says.
"""

from __future__ import annotations

import argparse
import ast
import importlib
import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from types import FrameType, ModuleType
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.append(str(Path(__file__).parents[1]))

import cv2
import numpy as np

from papernudge.vision import tuned

NAMES = ("lines", "flatten", "quality", "crossings", "find_outlines", "find_kind", "find_net")
ROOM = "papernudge.vision."
ORDER = [ROOM + n for n in (*NAMES, "find_again", "find", "boards.lattice", "boards.find")]
"""The modules of finding, each after those that it knows."""
LESS, MORE = 0.8, 1.25
MOVED = 0.03
"""How far a crossing must move to count, cells."""

Said = list[tuple[str, str | None, Any, Any]]


def moved(value: tuned.Value, by: float) -> tuned.Value:
    """The value less or more."""
    if isinstance(value, tuple):
        return tuple(tuple(number * by for number in row) for row in value)
    if isinstance(value, int):
        return min(round(value * by), value - 1) if by < 1 else max(round(value * by), value + 1)
    return value * by


def built(session: Any) -> ModuleType:
    """Finding, with the records as they stand now."""
    for name in ORDER:
        module = importlib.reload(importlib.import_module(name))
        if name.endswith("crossings"):
            module._session = lambda: session  # type: ignore[attr-defined]
    return sys.modules[ORDER[-1]]


def pictures(each: int, pages: int) -> list[tuple[str, Any]]:
    """Photos and drawn pages, with which of them they are."""
    from papernudge.digits_model.training.pages import board_page, draw, named, preset

    told = os.environ.get("PAPERNUDGE_DATA")
    folder = Path(told) if told else Path(__file__).parents[2].parent / "shared" / "data"
    photos = sorted((folder / "photos").glob("*/*.jpg"))[::each]
    found = [("photos", cv2.imread(str(path))) for path in photos]
    for k in range(pages):
        found.append(("pages", draw(preset("hard", 610_000 + k, split="test")).image))
        spec = board_page("newspaper", 620_000 + k, named("any", 620_000 + k), split="test")
        found.append(("boards", draw(spec).image))
    return found


def said(finding: ModuleType, page: Any) -> Said:
    """What finding says of a picture."""
    return [
        (g.kind.value, g.quality.reason, g.corners, None if g.mesh is None else g.mesh.crossings)
        for g in finding.find_all(page)
    ]


def apart(before: Said, after: Said) -> float:
    """How far crossings or corners lie apart, cells; infinite where the grids are others."""
    if [one[:2] for one in before] != [one[:2] for one in after]:
        return float("inf")
    most = 0.0
    for one, two in zip(before, after, strict=True):
        for was, now in zip(one[2:], two[2:], strict=True):
            if was is not None:
                cell = float(np.ptp(was.reshape(-1, 2), axis=0).max()) / 9
                most = max(most, float(np.abs(was - now).max()) / cell)
    return most


def looked(finding: ModuleType, seen: list[tuple[str, Any]]) -> tuple[list[Said], float]:
    """What is said of all pictures, and the processor time that it took, seconds."""
    begun = time.process_time()
    return [said(finding, page) for _, page in seen], time.process_time() - begun


def lines_of(module: ModuleType) -> dict[str, set[int]]:
    """In which lines of a module's functions each of its constants stands; one that is the default
    of an argument, or of which another is made, in the line that does so.
    """
    assert module.__file__ is not None
    tree = ast.parse(Path(module.__file__).read_text("utf-8"))
    found: dict[str, set[int]] = {}
    for node in ast.walk(tree):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Load):
            found.setdefault(node.id, set()).add(node.lineno)
    return found


def ran_of(session: Any, seen: list[tuple[str, Any]]) -> list[dict[str, set[int]]]:
    """Lines of each module of finding that ran on each picture, or while it was put together, by
    the module's last name.
    """
    finding, built_by = traced(lambda: built(session))
    each = [traced(lambda page=page: said(finding, page))[1] for _, page in seen]
    return [{name: lines | built_by[name] for name, lines in ran.items()} for ran in each]


def traced(work: Callable[[], Any]) -> tuple[Any, dict[str, set[int]]]:
    """What work gives, and the lines of each module of finding that ran."""
    files = {sys.modules[name].__file__: name.removeprefix(ROOM) for name in ORDER}
    ran: dict[str, set[int]] = {name: set() for name in files.values()}

    def local(frame: FrameType, event: str, _: object) -> Any:
        if event == "line":
            ran[files[frame.f_code.co_filename]].add(frame.f_lineno)
        return local

    def watched(frame: FrameType, event: str, _: object) -> Any:
        return local if frame.f_code.co_filename in files else None

    sys.settrace(watched)
    try:
        return work(), ran
    finally:
        sys.settrace(None)


def reached(session: Any, seen: list[tuple[str, Any]]) -> dict[str, list[int]]:
    """On which pictures something went by each record."""
    built(session)
    ran = ran_of(session, seen)
    places = {name.removeprefix(ROOM): lines_of(sys.modules[name]) for name in ORDER}
    found = {}
    for name in tuned.RECORDS:
        of, _, held = name.rpartition(".")
        lines = places[of].get(held, set())
        found[name] = [k for k, one in enumerate(ran) if lines & one[of]]
    return found


def main() -> None:
    """The table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("names", nargs="*", help="records; all if none is named")
    parser.add_argument("--each", type=int, default=8, help="every so manieth photo")
    parser.add_argument("--pages", type=int, default=12, help="drawn pages")
    parser.add_argument("--reached", action="store_true", help="only name what nothing went by")
    words = parser.parse_args()
    seen = pictures(words.each, words.pages)
    session = importlib.import_module("papernudge.vision.crossings")._session()
    went = reached(session, seen)
    if words.reached:
        never = [name for name, where in went.items() if not where]
        print(f"{len(seen)} pictures, {len(tuned.RECORDS)} records, not reached:", *never)
        return
    finding = built(session)
    usual = [looked(finding, [one]) for one in seen]
    row("number", "value", "on", "a fifth less", "time", "a quarter more", "time")
    for name in words.names or tuned.RECORDS:
        if went[name]:
            survey(name, session, [(seen[k], *usual[k]) for k in went[name]])
        else:
            row(name, "not reached on any")


Known = tuple[tuple[str, Any], list[Said], float]
"""A picture, what is said of it with all numbers as they are, and how long that takes."""


def survey(name: str, session: Any, known: list[Known]) -> None:
    """The row of one record."""
    record, seen = tuned.RECORDS[name], [one for one, _, _ in known]
    before = [one for _, found, _ in known for one in found]
    cells: list[Any] = [name, "…" if isinstance(record.value, tuple) else record.value, len(known)]
    for by in (LESS, MORE):
        tuned.RECORDS[name] = record._replace(value=moved(record.value, by))
        after, took = looked(built(session), seen)
        share = took / max(sum(usual for _, _, usual in known), 1e-9)
        cells += counted(seen, before, after), f"{share:.2f}"
    tuned.RECORDS[name] = record
    row(*cells)


def row(*cells: Any) -> None:
    """One line of the table."""
    wide = (28, 7, 3, 38, 5, 38, 5)
    print("  ".join(f"{c!s:<{w}}" for c, w in zip(cells, wide, strict=True)), flush=True)


def counted(seen: list[tuple[str, Any]], before: list[Said], after: list[Said]) -> str:
    """In how many pictures the grids are others, or only lie elsewhere."""
    off = [apart(*pair) for pair in zip(before, after, strict=True)]
    parts = []
    for kind in ("photos", "pages", "boards"):
        here = [o for (of, _), o in zip(seen, off, strict=True) if of == kind]
        others, places = sum(o == float("inf") for o in here), sum(MOVED < o < 1e9 for o in here)
        parts.append(f"{kind} {others}+{places}")
    return ", ".join(parts)


if __name__ == "__main__":
    from figures import recorded

    with recorded():
        main()
