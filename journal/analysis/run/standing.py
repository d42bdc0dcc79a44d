"""What is believed of the strengths to how each cylinder stands, and how many readings would settle what is open."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from journal.analysis.findings import Standing
from journal.analysis.run.display import Array, kept_rounding
from journal.analysis.run.fit import Belief
from journal.analysis.run.model import Model, alike
from journal.analysis.run.strengths import chances
from journal.analysis.settings import Settings

MOST_REPEATS = 12
"""More readings than this are not asked for."""
_RATHER = 0.5
"""A cylinder that is rather weak than not is not called even, however surely it is above `even_above`."""
_HARDLY_DOUBTED = 0.95
"""A cylinder that is called weak at less than this chance is said to be so with its chance."""
_RESERVE = 0.85
"""Standard uncertainties kept in reserve: what is known of the strength now is itself uncertain."""


@dataclass(frozen=True)
class Stand:
    """One cylinder's standing with the numbers behind it."""

    standing: Standing
    """How it stands."""
    strength: float
    """Mean strength, an even cylinder's being one."""
    uncertainty: float
    """Its standard uncertainty."""
    why: str
    """One sentence."""
    repeats_needed: int | None = None
    """For one that is not settled: how many readings in all would settle it."""


def standings(models: Sequence[Model], beliefs: Sequence[Belief], settings: Settings) -> list[dict[int, Stand]]:
    """The standing of every cylinder with a reading, for each run; runs of one shape are worked out together."""
    bounds = np.array(
        [settings.standing_dead_below, settings.standing_even_above, settings.standing_weak_below,
         settings.standing_strong_above]
    )  # fmt: skip
    found: list[dict[int, Stand]] = [{} for _ in models]
    for places in alike(models):
        some = [beliefs[k] for k in places]
        spread, mean, u = (
            np.concatenate([getattr(b, name) for b in some]) for name in ("spread", "strength", "strength_u")
        )
        each = chances(models[places[0]].priors, spread[:, None], mean, u**2, bounds)
        ends = np.cumsum([len(b.weight) for b in some])[:-1]
        of_runs = zip(*(np.split(part, ends, axis=-2) for part in each), strict=True)
        for k, (under, dead, middle, own) in zip(places, of_runs, strict=True):
            found[k] = _standings(models[k], beliefs[k], settings, under, dead, middle, own)
    return found


def _standings(
    model: Model, belief: Belief, settings: Settings, under: Array, dead: Array, middle: Array, own: Array
) -> dict[int, Stand]:
    strength = belief.weight @ middle
    u = np.sqrt(belief.weight @ (own + (middle - strength) ** 2))
    below = np.tensordot(under, belief.weight, axes=(1, 0))
    nothing = belief.weight @ dead
    found = {}
    for i, cylinder in enumerate(model.taken.live):
        if model.count(cylinder):
            dead_below, even, weak, strong = below[:, i].tolist()
            chance = _Chances(dead_below, even, weak, strong, float(nothing[i]))
            found[cylinder] = _stand(model, belief, settings, cylinder, i, float(strength[i]), float(u[i]), chance)
    return found


@dataclass(frozen=True)
class _Chances:
    """Chances that a strength is below each bound."""

    dead: float
    even: float
    weak: float
    strong: float
    nothing: float
    """That it does nothing at all."""


def _stand(
    model: Model, belief: Belief, settings: Settings, cylinder: int, i: int, strength: float, u: float, chance: _Chances
) -> Stand:
    percent = f"{100 * strength:.0f} % of an even one"

    def stand(standing: Standing, why: str, repeats: int | None = None) -> Stand:
        return Stand(standing, strength, u, why, repeats)

    if chance.weak >= settings.sure_low:
        repeats = _repeats(model, belief, settings, i, strength)
        if chance.dead >= settings.sure_dead:
            if chance.nothing >= settings.sure_dead:
                return stand(Standing.DEAD, "cutting it changes nothing beyond what the display resolves")
            more = f"; {repeats} readings in all would tell" if repeats else "; a finer display would tell"
            return stand(Standing.DEAD, f"dead or nearly: it pulls {percent}, give or take {200 * u:.0f} %{more}")
        doubt = f", low with a chance of {100 * chance.weak:.0f} %" if chance.weak < _HARDLY_DOUBTED else ""
        if chance.dead > 1 - settings.sure_dead:
            doubt += ", and it may be doing nothing at all"
        if doubt and repeats:
            doubt += f"; {repeats} readings in all would tell"
        return stand(Standing.WEAK, f"it pulls {percent}, give or take {200 * u:.0f} %{doubt}")
    if 1 - chance.strong >= settings.sure_strong:
        return stand(Standing.STRONG, f"it pulls {percent}, give or take {200 * u:.0f} %")
    if 1 - chance.even >= settings.sure_even and chance.weak < _RATHER:
        return stand(Standing.EVEN, f"it pulls {percent}, as an even one may")
    unsure = f"it pulls {percent}, give or take {200 * u:.0f} %"
    needed = _repeats(model, belief, settings, i, strength)
    if needed is None:
        return stand(
            Standing.UNCLEAR,
            f"{unsure}; repeats alone would not settle it: use a finer display, or hold half the engine out so that "
            "each cylinder's rise is larger",
        )
    return stand(Standing.UNCLEAR, f"{unsure}; {needed} readings in all in one run should settle it", needed)


def _repeats(model: Model, belief: Belief, settings: Settings, i: int, strength: float) -> int | None:
    """How many readings in all would decide; none when no number up to `MOST_REPEATS` would.

    What the readings alone say of a strength is as uncertain as one over the root of their number, but for the part of
    the display's rounding that repeats do not average away.
    """
    done = model.count(model.taken.live[i])
    own = model.data.row == i
    row, slot = model.data.row[own], model.data.slot[own]
    width = float((model.data.high - model.data.low)[row, slot].max())
    noise = float(belief.weight @ belief.noise)
    by_effect = _slope(model, belief, i)
    kept = kept_rounding(noise / width) * width**2 * by_effect**2
    now = float(belief.weight @ belief.strength_u[:, i] ** 2)
    shrinking = max(now - kept, 1e-9) * done
    normal = NormalDist()
    z_low, z_even = (normal.inv_cdf(sure) + _RESERVE for sure in (settings.sure_low, settings.sure_even))
    best = math.inf
    for margin in (
        (settings.standing_weak_below - strength) / z_low,
        (strength - settings.standing_even_above) / z_even,
    ):
        if margin > 0 and margin**2 > kept:
            best = min(best, shrinking / (margin**2 - kept))
    needed = max(best, done + 1)
    return math.ceil(needed) if needed <= MOST_REPEATS else None


def _slope(model: Model, belief: Belief, i: int) -> float:
    """How much of a strength one unit on the readings' scale is worth."""
    share: Array = belief.weight @ belief.share
    even = float(np.median(share))
    return (1 - float(share[i]) if model.by_fuel else 1.0) / max(even, 1e-6)


__all__ = ["MOST_REPEATS", "Stand", "standings"]
