"""Files by machine: a good one with bytes changed, cut, doubled or swapped, and plain noise."""

from __future__ import annotations

import random

from hypothesis import strategies as st

TELLING = (0, 1, 0x7F, 0x80, 0xFF)
"""Bytes that lie at the edges of what lengths and counts can be."""


def spoil(good: bytes, chance: random.Random) -> bytes:
    """A good file's bytes after a few accidents."""
    data = bytearray(good)
    for _ in range(chance.randint(1, 4)):
        # Headers are where a reader decides what to believe: half of the accidents happen there.
        reach = min(len(data), 200) if chance.random() < 0.5 else len(data)
        at = chance.randrange(reach) if reach else 0
        match chance.randrange(5):
            case 0:
                data[at : at + 1] = bytes([chance.choice(TELLING)])
            case 1:
                data[at : at + 4] = chance.randbytes(4)
            case 2:
                del data[at:]
            case 3:
                data[at:at] = data[at : at + chance.randrange(1, 64)]
            case _:
                del data[at : at + chance.randrange(1, 64)]
    return bytes(data)


def accidents(good: list[bytes]) -> st.SearchStrategy[tuple[int, int] | bytes]:
    """What to do to one of these files, short enough to be read in a report; `after` makes the bytes."""
    accident = st.tuples(st.integers(0, len(good) - 1), st.integers(0, 2**32))
    return st.one_of(accident, accident, accident, st.binary(max_size=300))


def after(accident: tuple[int, int] | bytes, good: list[bytes]) -> bytes:
    """A good file after an accident; seed 0 leaves it as it is."""
    if isinstance(accident, bytes):
        return accident
    which, seed = accident
    return good[which] if seed == 0 else spoil(good[which], random.Random(seed))
