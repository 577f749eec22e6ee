"""Named streams of chance, so that changing one thing on a page leaves the rest as it was."""

from __future__ import annotations

import zlib

import numpy as np


def stream(seed: int, *names: str | int) -> np.random.Generator:
    """A generator that depends on the seed and the names alone, never on earlier draws."""
    words = [zlib.crc32(str(name).encode()) for name in names]
    # What fits is handed over as 32-bit words, which spares turning number by number into them.
    key = np.array([seed, *words], np.uint32) if seed >> 32 == 0 else [seed, *words]
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(key)))
