"""Which units of a lot are tested: drawn at random, so that anybody can draw the same again.

Each unit, numbered from 1, gets the SHA-256 of ``SEED:UNIT`` (ASCII, decimal) as its draw; the
units with the smallest draws are the sample.  That needs no generator of random numbers whose
stream might differ in another version, and can be checked with any tool that knows SHA-256.
"""

import hashlib
import heapq
import re
import secrets
from typing import Final

from rungbench.lots.errors import LotRefused

METHOD: Final = "smallest SHA-256 of SEED:UNIT"
_SEED: Final = re.compile(r"[0-9A-Za-z._-]{1,64}")
_BYTES: Final = 8


def new_seed() -> str:
    """A seed that nobody can have chosen: 64 random bits in hexadecimal."""
    return secrets.token_hex(_BYTES)


def check_seed(seed: str) -> str:
    """`seed`, if it can be one; `LotRefused` otherwise."""
    if _SEED.fullmatch(seed) is None:
        raise LotRefused(
            f"The seed {seed!r} is of no use; give 1 to 64 letters, digits, dots or hyphens, or "
            "none at all."
        )
    return seed


def draw(seed: str, lot_size: int, sample_size: int) -> tuple[int, ...]:
    """Units of the sample, numbers from 1 to `lot_size`, in rising order.

    Raises
    ------
    ValueError : a sample that is larger than the lot.
    """
    if not 0 <= sample_size <= lot_size:
        raise ValueError(f"{sample_size} units cannot be drawn from {lot_size}")
    chosen = heapq.nsmallest(sample_size, range(1, lot_size + 1), lambda unit: _draw(seed, unit))
    return tuple(sorted(chosen))


def _draw(seed: str, unit: int) -> bytes:
    return hashlib.sha256(f"{seed}:{unit}".encode("ascii")).digest()
