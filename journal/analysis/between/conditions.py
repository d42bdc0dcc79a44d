"""How a run was made, in one unit each, and whether two runs were made in the same way: the one place that tells."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from statistics import median

from journal.analysis.findings import Contribution, RunFinding
from journal.analysis.settings import Settings
from journal.facts import PressureLevel, Quantity, RunKind, RunStarted
from journal.facts.units import convert
from journal.record.job import Reading, Run

_WORDS = {PressureLevel.LOW: -1, None: 0, PressureLevel.HIGH: 1}
_SAME_PRESSURE = 0.02
"""Two pressures that differ by less than this fraction are one."""


@dataclass(frozen=True)
class Pressure:
    """An injection pressure, in words or as a number."""

    set_by_hand: bool
    """False where the engine chose it."""
    order: int
    """-1, 0 and 1 for low, as the engine has it (or not said to be either), and high."""
    mpa: float | None = None
    """The number in MPa: what it was set to, or what was read while the engine chose."""
    words: str = "the usual pressure"
    """As it was said."""

    def same(self, other: Pressure) -> bool:
        """Whether it is the other one, as far as was said."""
        if self.set_by_hand != other.set_by_hand:
            return False
        if not self.set_by_hand:
            return True
        if self.mpa is None or other.mpa is None:
            return self.mpa is other.mpa and self.order == other.order
        return _near(self.mpa, other.mpa, _SAME_PRESSURE)

    def above(self, other: Pressure) -> bool | None:
        """Whether it is higher than the other; none where nobody said.

        A number set by hand stands above what the engine chooses by itself where that was not read: pressure is set
        by hand to raise it (common practice, no source), unless it was said to be low.
        """
        if self.mpa is not None and other.mpa is not None:
            return None if _near(self.mpa, other.mpa, _SAME_PRESSURE) else self.mpa > other.mpa
        mine, others = self._rank(), other._rank()
        if mine == others:
            return None
        return mine > others

    def _rank(self) -> float:
        return float(self.order) if self.order or self.mpa is None or not self.set_by_hand else 0.5


@dataclass(frozen=True)
class Conditions:
    """How a run was made."""

    kind: RunKind
    """How cylinders were cut."""
    quantity: Quantity
    """What was watched."""
    held_out: tuple[int, ...]
    """Cylinders held out throughout, in number order."""
    pressure: Pressure
    """Injection pressure."""
    after_repair: bool
    """Whether it was made to see what a repair did."""
    speed_rpm: float | None = None
    """Engine speed, the median of those said; none where none was."""
    temperature_c: float | None = None
    """Coolant's, or else oil's, temperature as last said; none where none was."""
    swapped: tuple[tuple[int, int], ...] = ()
    """Injectors that do not sit where they sat at first: cylinder, and the one from which its injector came."""

    def like(self, other: Conditions, settings: Settings, *, but: Iterable[str] = ()) -> bool:
        """Whether the other run was made in the same way.

        Speeds and temperatures that were not said are taken to be the same.

        Args:
            other: the other run's.
            settings: how far speed may differ and still be held.
            but: names of fields that may differ.
        """
        free = frozenset(but)
        plain = ("kind", "quantity", "held_out", "after_repair", "swapped")
        if any(name not in free and getattr(self, name) != getattr(other, name) for name in plain):
            return False
        if "pressure" not in free and not self.pressure.same(other.pressure):
            return False
        a, b = self.speed_rpm, other.speed_rpm
        if "speed_rpm" not in free and a is not None and b is not None and not _near(a, b, settings.held_speed_between):
            return False
        a, b = self.temperature_c, other.temperature_c
        if "temperature_c" in free or a is None or b is None:
            return True
        return abs(a - b) <= settings.held_warmer_between_c


@dataclass(frozen=True)
class Judged:
    """A run that judged at least one cylinder, with how it was made."""

    conditions: Conditions
    """How it was made."""
    start: RunStarted
    """How it was said to be made."""
    finding: RunFinding
    """What it says."""
    started_at: datetime
    """When it began."""

    def of(self, cylinder: int) -> Contribution | None:
        """What it says of one cylinder; none without a reading."""
        return next((c for c in self.finding.contributions if c.cylinder == cylinder), None)

    @property
    def plain(self) -> bool:
        """Whether injection pressure was left to the engine."""
        return not self.conditions.pressure.set_by_hand


def conditions_of(run: Run) -> Conditions:
    """How a run was made, by its start and by what was said meanwhile."""
    start = run.start
    speeds = [r.value for r in _said(run, Quantity.ENGINE_SPEED) if r.value is not None and r.value > 0]
    warm = [r for q in (Quantity.COOLANT_TEMPERATURE, Quantity.OIL_TEMPERATURE) for r in _said(run, q)[-1:]]
    return Conditions(
        kind=start.run,
        quantity=start.quantity,
        held_out=tuple(sorted(start.held_out)),
        pressure=_pressure(run),
        after_repair=start.after_repair,
        speed_rpm=median(speeds) if speeds else None,
        temperature_c=convert(warm[0].value, warm[0].unit, "degC") if warm and warm[0].value is not None else None,
    )


def _near(a: float, b: float, part: float) -> bool:
    """Whether two numbers differ by no more than a part of the larger one."""
    return abs(a - b) <= part * max(a, b)


def _said(run: Run, quantity: Quantity) -> list[Reading]:
    return [r for r in run.conditions if r.quantity is quantity and r.value is not None]


def _pressure(run: Run) -> Pressure:
    start = run.start
    if start.pressure_value is not None:
        mpa = convert(start.pressure_value, start.pressure_unit, "MPa")
        return Pressure(True, _WORDS[start.pressure], mpa, f"{start.pressure_value:g} {start.pressure_unit}")
    if start.pressure is not None:
        return Pressure(True, _WORDS[start.pressure], None, f"{start.pressure} pressure")
    read = [convert(r.value, r.unit, "MPa") for r in _said(run, Quantity.INJECTION_PRESSURE) if r.value is not None]
    usual = Pressure(False, 0)
    return replace(usual, mpa=median(read)) if read else usual
