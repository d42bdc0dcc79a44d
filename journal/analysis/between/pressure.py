"""Runs alike but for the injection pressure to how each low cylinder pulls at each of them, and what that says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cmp_to_key
from itertools import pairwise

import numpy as np

from journal.analysis.between.conditions import Judged, Pressure
from journal.analysis.findings import Contribution, Standing
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


MEANING = {
    Answer.RECOVERS: "that speaks for the injector, or for what opens it; valve gear and rings do not mend with "
    "pressure",
    Answer.RISES: "that speaks for the injector, or for what opens it",
    Answer.SAME: "that speaks for valve gear, a leak past rings or valves, or an injector that gets no signal",
    Answer.FALLS: "no fault of one cylinder does that: make sure of both runs",
}
"""What each says of injector, valve gear and cylinder; common practice, no source."""


@dataclass(frozen=True)
class Level:
    """A cylinder at one injection pressure."""

    pressure: Pressure
    """Which."""
    found: Contribution
    """What the run there says of it."""


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
    levels = tuple(Level(j.conditions.pressure, c) for j in series if (c := j.of(cylinder)) is not None)
    if len(levels) < 2:
        return None
    low, high = levels[0].found, levels[-1].found
    gain, gain_u = high.strength - low.strength, float(np.hypot(low.strength_u, high.strength_u))
    sure = abs(gain) > settings.changed_z * max(gain_u, 1e-6)
    answer = Answer.SAME if not sure else Answer.FALLS if gain < 0 else Answer.RISES
    if sure and gain > 0 and low.standing in LOW and high.standing not in LOW | {Standing.UNCLEAR}:
        answer = Answer.RECOVERS
    between = None
    for before, after in pairwise(levels):
        if before.found.standing is Standing.DEAD and after.found.standing not in (Standing.DEAD, Standing.UNCLEAR):
            between = (before.pressure, after.pressure)
    return Pressed(cylinder, levels, answer, gain, gain_u, _slope(levels), between if answer in _FIRES else None)


_FIRES = (Answer.RECOVERS, Answer.RISES)


def _slope(levels: Sequence[Level]) -> tuple[float, float] | None:
    """Weighted least squares of strength over pressure (GUM, JCGM 100:2008, H.3, with weights)."""
    numbered = [(p.pressure.mpa, p.found) for p in levels if p.pressure.mpa is not None]
    at = np.array([mpa for mpa, _ in numbered])
    if len(numbered) < 2 or np.ptp(at) <= 0:
        return None
    weight = np.array([1 / max(found.strength_u, 1e-3) ** 2 for _, found in numbered])
    strength = np.array([found.strength for _, found in numbered])
    away = at - float(weight @ at / weight.sum())
    square = float(weight @ away**2)
    return float(weight @ (away * strength)) / square, float(1 / np.sqrt(square))
