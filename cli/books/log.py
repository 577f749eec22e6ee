"""What SQLite's log beside a book says: whether a run was cut short, and whether it is damaged.

SQLite reads the log up to the first frame that doesn't fit and takes the rest for a torn end. That
is right after a power cut and wrong after a byte has changed: then finished pages vanish without a
word. So the frames behind are looked at too (https://www.sqlite.org/fileformat2.html#walformat).
"""

from __future__ import annotations

import struct
import time
from pathlib import Path

from papernudge.cli.base.paths import read_regular

_HEAD, _FRAME = 32, 24
_MAGIC = (0x377F0682, 0x377F0683)
_MASK = 0xFFFFFFFF
Sums = tuple[int, int]

_LONGEST = 1_000_000_000
"""Bytes of the longest log that is looked at."""
_LOOKS, _PAUSE = 10, 0.1
"""How often a log that seems torn is looked at again, and after how many seconds."""
ABSENT, WHOLE, TORN, DAMAGED = "absent", "whole", "torn", "damaged"


def log_of(book: Path) -> Path:
    """Where SQLite keeps the log of a book."""
    return book.with_name(book.name + "-wal")


def state_of(log: Path) -> str:
    """``absent`` (or empty), ``whole``, ``torn`` (its end was never finished) or ``damaged``: a
    page that had been finished can't be read from it any more.
    """
    data = _bytes(log)
    state = _state(data)
    for _ in range(_LOOKS):
        if state in (ABSENT, WHOLE):
            break
        time.sleep(_PAUSE)  # somebody may be at it
        before, data = data, _bytes(log)
        state = _state(data)
        if data == before:
            break
    return state


def _bytes(log: Path) -> bytes:
    try:
        return read_regular(log, _LONGEST)
    except OSError:
        return b""


def _state(data: bytes) -> str:
    if not data:
        return ABSENT
    if len(data) < _HEAD:
        return TORN
    magic, _, size, _, *salts, one, two = struct.unpack(">8I", data[:_HEAD])
    order = ">" if magic & 1 else "<"
    if magic not in _MAGIC or _summed((0, 0), data[:24], order) != (one, two):
        return DAMAGED
    return _frames(data, size, (salts[0], salts[1]), (one, two), order)


def _frames(data: bytes, size: int, salts: Sums, sums: Sums, order: str) -> str:
    at, fits, ended = _HEAD, True, True
    while at + _FRAME <= len(data):
        page, after, *salt, one, two = struct.unpack(">6I", data[at : at + _FRAME])
        ours = [a == b for a, b in zip(salt, salts, strict=True)]
        if not any(ours):  # left over from before the log was begun anew
            return WHOLE if fits and ended else TORN
        body = data[at + _FRAME : at + _FRAME + size]
        if len(body) < size:  # whoever wrote it was stopped
            return TORN
        if fits:
            sums = _summed(_summed(sums, data[at : at + 8], order), body, order)
            fits = all(ours) and (one, two) == sums and page > 0
        if not fits and (after or not all(ours)):
            return DAMAGED
        ended = bool(after)
        at += _FRAME + size
    return WHOLE if fits and ended and at == len(data) else TORN


def _summed(sums: Sums, data: bytes, order: str) -> Sums:
    """The log's checksum, gone on with."""
    words = struct.unpack(f"{order}{len(data) // 4}I", data[: len(data) // 4 * 4])
    one, two = sums
    for k in range(0, len(words) - 1, 2):
        one = (one + words[k] + two) & _MASK
        two = (two + words[k + 1] + one) & _MASK
    return one, two
