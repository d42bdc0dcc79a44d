"""Runs alike but for the injection pressure to how each low cylinder pulls at each of them, and what that says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cmp_to_key
from itertools import pairwise

import numpy as np

from journal.analysis.between.conditions import Judged, Pressure
from journal.analysis.between.line import slope
from journal.analysis.findings import Contribution, PressurePoint, PressureResponse, Standing
from journal.analysis.run.find import LOW
from journal.analysis.settings import Settings


class Answer(StrEnum):
    """How a cylinder takes more injection pressure."""

    RECOVERS = "recovers"
    """It was low and is not any more."""
    RISES = "rises"
    """It pulls more, and is still low."""
    SAME = "no difference"
    """No difference that the readings show."""
    FALLS = "falls"
    """It pulls less."""
    VARIES = "varies"
    """As strong at both ends, and not between them."""


MEANING = {
    Answer.RECOVERS: "that speaks for the injector, or for what opens it; valve gear and rings do not mend with "
    "pressure",
    Answer.RISES: "that speaks for the injector, or for what opens it",
    Answer.SAME: "that speaks for valve gear, a leak past rings or valves, or an injector that gets no signal",
    Answer.FALLS: "no fault of one cylinder does that: make sure of both runs",
    Answer.VARIES: "no fault of one cylinder does that: make sure of the run that differs",
}
"""What each says of injector, valve gear and cylinder; common practice, no source."""


@dataclass(frozen=True)
class Level:
    """A cylinder at one injection pressure."""

    pressure: Pressure
    """Which."""
    found: Contribution
    """What the run there says of it."""
    run: str
    """The run's identifier."""


@dataclass(frozen=True)
class Pressed:
    """A cylinder over injection pressures, lowest first."""

    cylinder: int
    """Which."""
    levels: tuple[Level, ...]
    """Two or more."""
    answer: Answer
    """How it takes more pressure."""
    gain: float
    """How much stronger it is at the highest than at the lowest, an even cylinder's strength being one."""
    gain_u: float
    """Standard uncertainty of that."""
    per_mpa: tuple[float, float] | None
    """Slope of strength against pressure and its standard uncertainty, for each MPa; none without numbers."""
    fires_between: tuple[Pressure, Pressure] | None
    """Between which neighbours it turns from dead to pulling; none where it does not."""

    @property
    def low(self) -> bool:
        """Whether it is low at any of them."""
        return any(level.found.standing in LOW for level in self.levels)

    def as_finding(self) -> PressureResponse:
        """The same as facts for people, with 95 % intervals."""
        points = tuple(
            PressurePoint(
                level.run,
                level.pressure.words,
                level.pressure.mpa,
                level.found.strength,
                *interval(level.found.strength, level.found.strength_u),
                level.found.standing,
            )
            for level in self.levels
        )
        meaning = MEANING[self.answer] if self.low else ""
        found = PressureResponse(
            self.cylinder, points, self.answer, self.gain, *interval(self.gain, self.gain_u), meaning=meaning
        )
        if self.per_mpa is None:
            return found
        low, high = interval(*self.per_mpa)
        return replace(found, per_mpa=self.per_mpa[0], per_mpa_low=low, per_mpa_high=high)


def interval(value: float, u: float) -> tuple[float, float]:
    """The 95 % interval of a value with a standard uncertainty."""
    return value - 1.96 * u, value + 1.96 * u


def series_of(judged: Sequence[Judged], settings: Settings) -> list[list[Judged]]:
    """Runs alike but for the injection pressure, lowest first, the last one of each pressure; two or more each."""
    groups: list[list[Judged]] = []
    for run in judged:
        for group in groups:
            if group[0].conditions.like(run.conditions, settings, but=("pressure",)):
                group[:] = [j for j in group if not j.conditions.pressure.same(run.conditions.pressure)] + [run]
                break
        else:
            groups.append([run])
    return [sorted(group, key=cmp_to_key(_by_pressure)) for group in groups if len(group) > 1]


def places(series: Sequence[Judged]) -> list[float]:
    """Where each run of a series stands on a line: in MPa where all have numbers, else one after another."""
    numbers = [j.conditions.pressure.mpa for j in series]
    known = [mpa for mpa in numbers if mpa is not None]
    return known if len(known) == len(numbers) else [float(k) for k in range(len(series))]


def _by_pressure(one: Judged, other: Judged) -> int:
    above = one.conditions.pressure.above(other.conditions.pressure)
    return 0 if above is None else 1 if above else -1


def pressed(cylinder: int, series: Sequence[Judged], settings: Settings) -> Pressed | None:
    """How a cylinder takes injection pressure over a series of runs; none unless two of them judged it."""
    levels = tuple(Level(j.conditions.pressure, c, j.finding.run) for j in series if (c := j.of(cylinder)) is not None)
    if len(levels) < 2:
        return None
    low, high = levels[0].found, levels[-1].found
    gain, gain_u = high.strength - low.strength, float(np.hypot(low.strength_u, high.strength_u))
    sure = abs(gain) > settings.changed_z * max(gain_u, 1e-6)
    answer = Answer.SAME if not sure else Answer.FALLS if gain < 0 else Answer.RISES
    if sure and gain > 0 and low.standing in LOW and high.standing not in LOW | {Standing.UNCLEAR}:
        answer = Answer.RECOVERS
    if answer is Answer.SAME and _varies(levels, settings):
        answer = Answer.VARIES
    between = None
    for before, after in pairwise(levels):
        if before.found.standing is Standing.DEAD and after.found.standing not in (Standing.DEAD, Standing.UNCLEAR):
            between = (before.pressure, after.pressure)
    return Pressed(cylinder, levels, answer, gain, gain_u, _slope(levels), between if answer in _FIRES else None)


def _varies(levels: Sequence[Level], settings: Settings) -> bool:
    """Whether a cylinder pulls otherwise between two pressures than at both."""
    ends = (levels[0].found, levels[-1].found)
    return any(
        all(_moved(end, level.found) > settings.changed_z for end in ends)
        or all(_moved(end, level.found) < -settings.changed_z for end in ends)
        for level in levels[1:-1]
    )


def _moved(a: Contribution, b: Contribution) -> float:
    return (b.strength - a.strength) / max(float(np.hypot(a.strength_u, b.strength_u)), 1e-6)


_FIRES = (Answer.RECOVERS, Answer.RISES)


def _slope(levels: Sequence[Level]) -> tuple[float, float] | None:
    numbered = [(level.pressure.mpa, level.found) for level in levels if level.pressure.mpa is not None]
    return slope([mpa for mpa, _ in numbered], [c.strength for _, c in numbered], [c.strength_u for _, c in numbered])
