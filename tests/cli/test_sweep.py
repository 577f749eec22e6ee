"""No word leads to a fault, a wait, a lost file or a controlled terminal: every option, swept."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

HERE = Path(__file__).with_name("sweep.py")

if not hasattr(os, "mkfifo"):
    pytest.skip("pipes are no files on this system", allow_module_level=True)


@pytest.fixture(scope="module")
def sweep() -> ModuleType:
    spec = importlib.util.spec_from_file_location("sweep", HERE)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def runs() -> list[dict[str, Any]]:
    done = subprocess.run(
        [sys.executable, str(HERE)], capture_output=True, text=True, check=False, timeout=550
    )
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]


def told(run: dict[str, Any]) -> str:
    where = f"{run['command']} {run['name']}, {run['case']}"
    return f"{where}: {run['code']} {run['changed'] or ''} {run['err'][:200]!r}"


def test_the_table_knows_every_option_and_no_other(sweep: ModuleType) -> None:
    """A new option is put into the table of ``sweep.py``, or it is not tried."""
    table = {(command, name) for command, names in sweep.KINDS.items() for name in names}
    assert table == set(sweep.options())


@pytest.mark.slow
def test_every_run_ends_in_time_with_a_code_that_blames_the_words_or_the_file(
    runs: list[dict[str, Any]],
) -> None:
    assert len(runs) > 1000
    assert [told(r) for r in runs if r["code"] not in ("0", "1", "2", "3", "4", "5", "6")] == []


@pytest.mark.slow
def test_each_failure_is_one_sentence(runs: list[dict[str, Any]]) -> None:
    """A book's other pages are read on, so it tells more than one thing; what was sought in vain
    is told before what follows from it.
    """

    def odd(run: dict[str, Any]) -> bool:
        said = run["err"]
        if "Traceback" in said or run["command"] == "digitise" or run["code"] == "0":
            return "Traceback" in said
        before = ("No puzzle fits.", "hidden single in a block: 0 of 1 positions found")
        lines = [line for line in said.splitlines() if not line.startswith(before)]
        return len(lines) != 1 or not said.endswith(".\n") or len(said) > 900

    assert [told(run) for run in runs if odd(run)] == []


@pytest.mark.slow
def test_nothing_that_was_named_reaches_the_terminal_raw(runs: list[dict[str, Any]]) -> None:
    def raw(run: dict[str, Any]) -> bool:
        said = (run["out"] + run["err"]).replace("\n", "")
        return any(not mark.isprintable() for mark in said)

    assert [told(run) for run in runs if raw(run)] == []


@pytest.mark.slow
def test_what_is_only_read_stays_as_it_is(sweep: ModuleType, runs: list[dict[str, Any]]) -> None:
    """What an output's own word names may be written over; nothing else may change."""

    def lost(run: dict[str, Any]) -> bool:
        kind = sweep.KINDS[run["command"]][run["name"]]
        path = sweep.PATHS.get(run["case"].removesuffix(f", {kind}"), "")
        own = {ascii(path), ascii(path + kind)} if kind not in (sweep.IN, sweep.NUMBER) else set()
        return not set(run["changed"]) <= own

    assert [told(run) for run in runs if lost(run)] == []


@pytest.mark.slow
@pytest.mark.parametrize(
    "case",
    [
        *("missing", "below a file", "folder", "pipe", "socket", "loop", "link to nothing"),
        *("too long", "far too long", "huge", "no word", "endless", "growing"),
    ],
)
def test_what_cannot_be_read_is_never_said_to_be_done(
    sweep: ModuleType, runs: list[dict[str, Any]], case: str
) -> None:
    reading = [r for r in runs if sweep.KINDS[r["command"]][r["name"]] == sweep.IN]
    here = [run for run in reading if run["case"] == case]
    assert here
    assert [told(run) for run in here if run["code"] not in ("2", "5")] == []


@pytest.mark.slow
@pytest.mark.parametrize(
    "case", ["no permission", "in a folder without permission", "folder without permission"]
)
def test_what_may_not_be_read_is_never_said_to_be_done(
    sweep: ModuleType, runs: list[dict[str, Any]], case: str
) -> None:
    here = [r for r in runs if r["case"].removesuffix(".png") == case]
    if not any("permission denied" in run["out"] + run["err"] for run in here):
        pytest.skip("an administrator's rights can't be given up here: nothing is denied")
    assert [told(run) for run in here if run["code"] not in ("2", "5")] == []


@pytest.mark.slow
@pytest.mark.parametrize(
    "case",
    [
        *("folder", "pipe", "socket", "loop", "full", "in no folder", "below a file", "too long"),
        "far too long",
    ],
)
def test_what_cannot_be_written_is_never_said_to_be_done(
    sweep: ModuleType, runs: list[dict[str, Any]], case: str
) -> None:
    kinds = {(c, n): kind for c, names in sweep.KINDS.items() for n, kind in names.items()}
    here = []
    for run in runs:
        kind = kinds[run["command"], run["name"]]
        here += [run] if run["case"] == f"{case}, {kind}" else []
        here += [run] if kind == sweep.BOTH and run["case"] == case else []
    assert len(here) >= 9
    assert [told(run) for run in here if run["code"] not in ("2", "5")] == []
