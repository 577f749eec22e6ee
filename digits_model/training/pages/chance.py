"""Named streams of chance, so that changing one thing on a page leaves the rest as it was."""

from __future__ import annotations

import zlib

import numpy as np


def stream(seed: int, *names: str | int) -> np.random.Generator:
    """A generator that depends on the seed and the names alone, never on earlier draws."""
    words = [zlib.crc32(str(name).encode()) for name in names]
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, *words])))
