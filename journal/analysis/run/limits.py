"""Cuts that stop at one number, as those of a governor at its fuel limit do: how likely that is, and in words."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import median

import numpy as np

from journal.analysis.run.model import Model
from journal.analysis.settings import Settings

_FEWEST = 3
_ONE_IN_FIVE = 0.8416
"""The normal quantile that 1 in 5 exceed; with it the chi-square quantile of Wilson and Hilferty (1931)."""
_STILL = 0.004
"""How much the reading of a governor at its limit wanders, as a fraction."""


@dataclass(frozen=True)
class Limit:
    """How cuts of different cylinders stop at one number."""

    odds: float = 0.0
    """How likely a limit is against none, by how alike the cuts are and nothing else."""
    text: str = ""
    """What is said of it; empty where they are no more alike than cylinders are."""


def limit(model: Model, settings: Settings, *, held_out: bool, speed_held: bool) -> Limit:
    """Whether the cuts stop at one number.

    A governor at its fuel limit cannot raise fuel further: cuts of different cylinders stop at one number.

    Healthy cylinders differ, so with strengths of the spread h the cuts c over a baseline b spread by h (c - b) c/b
    (to the first order). It is said where the cuts spread less than one in five of such engines would make them: with
    the reading's own wander and its step. Where the speed fell, a spread as usual says enough: the speed tells the
    limit, and is so much likelier at one. With cylinders held out the others need about twice the fuel beforehand.
    """
    taken = model.taken
    values = {c.cylinder: c.value for c in taken.cuts if not c.no_change}
    if not model.by_fuel or not taken.baselines or len(values) < _FEWEST:
        return Limit()
    ratio = model.per[1] / model.per[0]
    base = ratio * sum(b.value for b in taken.baselines) / len(taken.baselines)
    usual, step = median(values.values()) - base, max(c.step for c in taken.cuts)
    if usual <= step or base <= 0:
        return Limit()
    level = np.array([v for v in values.values() if v - base >= settings.standing_weak_below * usual])
    at = float(level.mean())
    if len(level) < max(_FEWEST, len(taken.live) / 2):
        return Limit()
    healthy = settings.cylinder_spread * (at - base) * at / base
    still = (_STILL * at) ** 2 + step**2 / 12
    expected = healthy**2 + still
    freedom = len(level) - 1
    spread = freedom * float(level.var(ddof=1))
    odds = settings.wrong_limit_half if held_out else settings.wrong_limit
    odds *= (expected / still) ** (freedom / 2) * math.exp(-0.5 * spread * (1 / still - 1 / expected))
    if not speed_held:
        odds *= settings.wrong_speed_fell
    few = freedom * (1 - 2 / (9 * freedom) - _ONE_IN_FIVE * math.sqrt(2 / (9 * freedom))) ** 3
    if not (spread <= freedom * expected if not speed_held else spread < few * expected and healthy >= step):
        return Limit(odds)
    fell = "" if speed_held else ", and the speed did not hold"
    text = (
        f"{len(level)} cuts stop at about {at:.3g}, more alike than cylinders are{fell}: a fuel limit may be reached; "
        "watch the speed while a cylinder is cut, and test where less fuel is needed"
    )
    return Limit(odds, text)
