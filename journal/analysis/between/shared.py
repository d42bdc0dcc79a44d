"""Low cylinders to what they share, a bank, a driver, a harness branch or neighbouring bores, and the chance of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import comb

from journal.facts import Engine

_LEAST_TELLING = 0.34
"""A thing shared more often than this by chance says nothing worth reading."""


@dataclass(frozen=True)
class Shared:
    """Something that low cylinders have in common."""

    what: str
    """`bank`, `driver`, `harness branch` or `neighbouring bores`."""
    cylinders: tuple[int, ...]
    """The low cylinders that share it."""
    chance: float
    """Probability that so many low cylinders, placed at random, would share one."""


def shared_by(low: Sequence[int], engine: Engine) -> tuple[Shared, ...]:
    """What two or more of the low cylinders share, the least likely by chance first."""
    low = sorted(set(low) & set(engine.numbers))
    if len(low) < 2:
        return ()
    found = [
        Shared(what, members, chance)
        for what, groups in (("bank", engine.banks), ("driver", engine.drivers), ("harness branch", engine.branches))
        for members, chance in (_in_one(low, groups, engine.cylinders),)
        if members
    ]
    side_by_side = _neighbours(low, engine)
    if side_by_side:
        rows = [len(row) for row in _rows(engine)]
        found.append(Shared("neighbouring bores", side_by_side, chance_of_neighbours(rows, len(low))))
    return tuple(sorted(found, key=lambda s: s.chance))


def telling(shared: Sequence[Shared]) -> tuple[Shared, ...]:
    """Those that chance would not bring about often."""
    return tuple(s for s in shared if s.chance <= _LEAST_TELLING)


def chance_of_sharing(sizes: Sequence[int], cylinders: int, low: int, together: int) -> float:
    """Probability that `together` or more of `low` cylinders, drawn at random, fall into one group.

    The groups are disjoint, so the subsets with fewer than `together` in each group are counted by the coefficient of
    x^low in the product over groups of sum(C(size, i) x^i, i < together), times (1 + x)^rest for those in no group.
    """
    ways = [1]
    for size in sizes:
        ways = _times(ways, [comb(size, i) for i in range(together)])
    rest = cylinders - sum(sizes)
    ways = _times(ways, [comb(rest, i) for i in range(rest + 1)])
    apart = ways[low] if low < len(ways) else 0
    return 1.0 - apart / comb(cylinders, low)


def chance_of_neighbours(rows: Sequence[int], low: int) -> float:
    """Probability that some two of `low` cylinders, drawn at random, stand side by side in one of the rows.

    Of a row of r, i cylinders with no two side by side can be chosen in C(r - i + 1, i) ways; rows multiply.
    """
    ways = [1]
    for row in rows:
        ways = _times(ways, [comb(row - i + 1, i) for i in range((row + 1) // 2 + 1)])
    apart = ways[low] if low < len(ways) else 0
    return 1.0 - apart / comb(sum(rows), low)


def _times(a: list[int], b: list[int]) -> list[int]:
    out = [0] * (len(a) + len(b) - 1)
    for i, x in enumerate(a):
        for j, y in enumerate(b):
            out[i + j] += x * y
    return out


def _in_one(low: Sequence[int], groups: Sequence[Sequence[int]], cylinders: int) -> tuple[tuple[int, ...], float]:
    most = max((tuple(c for c in low if c in group) for group in groups), key=len, default=())
    if len(most) < 2:
        return (), 1.0
    return most, chance_of_sharing([len(g) for g in groups], cylinders, len(low), len(most))


def _rows(engine: Engine) -> list[list[int]]:
    if engine.banks:
        rows = [sorted(bank) for bank in engine.banks]
        alone = sorted(set(engine.numbers) - {c for row in rows for c in row})
        return [*rows, *([c] for c in alone)]
    return [list(engine.numbers)]


def _neighbours(low: Sequence[int], engine: Engine) -> tuple[int, ...]:
    if engine.arrangement == "vee" and not engine.banks:
        return ()
    beside = [{a, b} for row in _rows(engine) for a, b in pairwise(row) if a in low and b in low]
    return tuple(sorted(set().union(*beside))) if beside else ()
