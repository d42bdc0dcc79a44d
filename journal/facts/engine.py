"""The engine under test: how many cylinders, how they are arranged, and which of them share something."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

from journal.errors import WrongEngine

MOST_CYLINDERS = 20


class Arrangement(StrEnum):
    """How the cylinders stand."""

    INLINE = "inline"
    VEE = "vee"


class Injection(StrEnum):
    """How fuel is metered and pressurised."""

    HYDRAULIC = "hydraulically actuated"
    COMMON_RAIL = "common rail"
    UNIT_INJECTOR = "unit injector"
    UNIT_PUMP = "unit pump"
    MECHANICAL = "mechanical"


Group = tuple[int, ...]
"""Cylinder numbers that share one thing."""


@dataclass(frozen=True)
class Engine:
    """An engine's layout as the technician confirmed it against the service manual."""

    cylinders: int
    """How many cylinders, 1 to 20; they are numbered from 1."""
    firing_order: Group = ()
    """Every cylinder once, in the order they fire; empty when not known."""
    arrangement: Arrangement = Arrangement.INLINE
    """Inline or vee."""
    injection: Injection = Injection.COMMON_RAIL
    """Injection type."""
    banks: tuple[Group, ...] = ()
    """Cylinders of each bank of a vee; empty for an inline engine or when not known."""
    drivers: tuple[Group, ...] = ()
    """Cylinders whose injectors share a driver in the control module; empty when not known."""
    branches: tuple[Group, ...] = ()
    """Cylinders whose injectors share a harness branch; empty when not known."""

    def __post_init__(self) -> None:
        """Refuse a layout that contradicts itself.

        Raises:
            WrongEngine: with a line naming what does not fit.
        """
        if not 1 <= self.cylinders <= MOST_CYLINDERS:
            raise WrongEngine(f"{self.cylinders} cylinders: give a number from 1 to {MOST_CYLINDERS}")
        if self.firing_order and sorted(self.firing_order) != list(self.numbers):
            said = "-".join(map(str, self.firing_order))
            raise WrongEngine(f"firing order {said}: name each of the cylinders 1 to {self.cylinders} exactly once")
        for name, groups in (("bank", self.banks), ("driver", self.drivers), ("branch", self.branches)):
            members = [c for group in groups for c in group]
            if len(set(members)) != len(members):
                raise WrongEngine(f"a cylinder stands in more than one {name} group: list each once")
            for cylinder in members:
                self.require(cylinder)

    @property
    def numbers(self) -> range:
        """The cylinder numbers, from 1."""
        return range(1, self.cylinders + 1)

    @property
    def order(self) -> Group:
        """The firing order, or the cylinders by number where it is not known."""
        return self.firing_order or tuple(self.numbers)

    def next_to_cut(self, done: Sequence[int], held_out: Sequence[int] = ()) -> int | None:
        """The cylinder that "next" means after these cuts: by number, or by firing order where they went by that.

        Args:
            done: cylinders cut so far in the run, in order; one may come more than once.
            held_out: cylinders held out throughout the run.

        Returns:
            The first after the last cut, round the engine, that was not cut yet; none when every one was.
        """
        live = [c for c in self.numbers if c not in held_out]
        by_firing = [c for c in self.order if c in live]
        order = by_firing if _follows(done, by_firing) and not _follows(done, live) else live
        if not order or (done and done[-1] not in order):
            return None
        at = order.index(done[-1]) + 1 if done else 0
        return next((c for c in order[at:] + order[:at] if c not in done), None)

    def require(self, cylinder: int) -> None:
        """Raise `WrongEngine` unless the cylinder is on this engine."""
        if cylinder not in self.numbers:
            raise WrongEngine(f"there is no cylinder {cylinder} on this engine: it has 1 to {self.cylinders}")


def _follows(done: Sequence[int], order: Sequence[int]) -> bool:
    """Whether cylinders were cut one after the other in this order."""
    places = [order.index(c) for c in done if c in order]
    return len(places) > 1 and all(b - a == 1 for a, b in pairwise(places))
