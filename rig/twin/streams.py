"""Named streams of random numbers, so that one draw never shifts another."""

import zlib

import numpy as np


def stream(seed: int, *names: str | int) -> np.random.Generator:
    """A generator that depends on the seed and the names only, on every machine alike.

    Python's own `hash` of a string changes from process to process; CRC-32 does not.
    """
    words = [zlib.crc32(str(name).encode()) for name in names]
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed & 0xFFFFFFFF, *words])))
