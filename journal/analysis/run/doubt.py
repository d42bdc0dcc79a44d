"""Each reading against all the others: which may have been misheard, and whether the run as a whole can be right."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from journal.analysis.findings import Suspect
from journal.analysis.run.fit import Belief, believe
from journal.analysis.run.model import Model, alike, sum_by_itself
from journal.analysis.run.readings import Measured
from journal.analysis.settings import Settings

_ALIKE = 0.7
"""The part of wrong readings that were heard for a number that sounds alike."""
_USUAL = (0.8, 1.25)
"""A cylinder read once whose strength lies here, in a run that adds up, gives no cause to look further."""
_SUMS = 2.0
"""The sum of the shares of a run that is off lies anywhere from nought to this."""
_MUCH_NOISE = 0.012
_MOST_SUSPECTS = 2
_WORTH_NAMING = 0.2
"""A suspect this much less likely than the first is not named."""
_MOST_STRAYS = 3
_STEPS_APART = 1.5
"""A reading no further than this from its fellows, in steps of the display, does not contradict them."""


@dataclass(frozen=True)
class Stray:
    """A reading that the cylinder's other readings contradict."""

    at: int
    """Its place in `Model.said`."""
    torn: bool
    """True where there is but one other, so that the cylinder cannot be judged."""


def strays(models: Sequence[Model], beliefs: Sequence[Belief], settings: Settings) -> list[Stray | None]:
    """For each run the likeliest wrong one of its repeated readings, where that is likely enough; else none."""
    return [_stray(model, belief, settings) for model, belief in zip(models, beliefs, strict=True)]


def _stray(model: Model, belief: Belief, settings: Settings) -> Stray | None:
    data = model.data
    row, slot, last = data.row, data.slot, len(data.read) - 1
    most = math.log(settings.wrong_left_out / (1 - settings.wrong_left_out))
    prior = math.log(settings.wrong_reading / (1 - settings.wrong_reading))
    counts = np.bincount(row, data.read[row, slot])[row]
    base = row == last
    fellows = data.read[row, slot] & (counts >= np.where(base, 3, 2))
    width = (data.high - data.low)[row, slot]
    # Neighbouring numbers of a display are what one level shows that lies between them.
    middle, plain = (data.high + data.low)[row, slot] / 2, data.basis[row, slot, 0] > 0
    taken = (data.read[row, slot] & plain).astype(float)
    total, others = (np.bincount(row, weights)[row] for weights in (taken * middle, taken))
    of_others = (total - taken * middle) / np.maximum(others - taken, 1)
    fellows &= ~plain | (np.abs(middle - of_others) > _STEPS_APART * width)
    # A wrong reading that sounds like nothing in particular lies anywhere over one of the model's scale.
    odds = np.where(fellows, prior + np.log(width) - belief.read_log[row, slot], -np.inf)
    at = int(odds.argmax())
    return Stray(at, not base[at] and int(counts[at]) == 2) if odds[at] > most else None


def drop_strays(
    models: Sequence[Model], settings: Settings
) -> tuple[list[tuple[Model, Belief]], list[tuple[Stray, ...]]]:
    """The runs believed without the readings that their fellows contradict, and which those are."""
    now = list(models)
    beliefs: list[Belief] = _believe_all(now)
    found: list[list[Stray]] = [[] for _ in models]
    again = list(range(len(models)))
    for _ in range(_MOST_STRAYS):
        worst = strays([now[k] for k in again], [beliefs[k] for k in again], settings)
        again = [k for k, stray in zip(again, worst, strict=True) if stray is not None]
        if not again:
            break
        for k, stray in zip(again, [stray for stray in worst if stray is not None], strict=True):
            found[k].append(stray)
            now[k] = replace(now[k], data=now[k].data.without([stray.at]))
        for k, belief in zip(again, _believe_all([now[k] for k in again]), strict=True):
            beliefs[k] = belief
    return list(zip(now, beliefs, strict=True)), [tuple(strays) for strays in found]


def _believe_all(models: Sequence[Model]) -> list[Belief]:
    """What is believed of each run; those of one shape are worked out together."""
    found: dict[int, Belief] = {}
    for places in alike(models):
        together = believe([models[k].data for k in places], models[places[0]].priors)
        found.update(zip(places, together, strict=True))
    return [found[k] for k in range(len(models))]


def suspects(
    model: Model, belief: Belief, settings: Settings, total: float | None
) -> tuple[tuple[Suspect, ...], Belief]:
    """Readings that were taken once and may have been misheard, the likeliest first, and what is believed, without the
    first where it is wrong rather than right.

    By Bayes' rule, for each reading: the evidence of all readings against that of all but it, times the chance of its
    number for one that was misheard, be it for another that sounds like it or for any.
    """
    single = [at for at, reading in enumerate(model.said) if _alone(model, reading)]
    if not single or not _looks_odd(model, belief, total):
        return (), belief
    without = believe([model.data.without([at]) for at in single], model.priors)
    odds, named = [], []
    for at, other in zip(single, without, strict=True):
        chance, suspect = _misheard(model, other, at, settings)
        log_odds = other.evidence + math.log(chance / (1 - settings.wrong_reading)) - belief.evidence
        odds.append(log_odds)
        named.append(suspect)
    top = max(odds)
    right = math.exp(-max(top, 0.0))
    wrong = sum(math.exp(one - max(top, 0.0)) for one in odds)
    if wrong < settings.wrong_said * (wrong + right):
        return (), belief
    order = sorted(range(len(odds)), key=lambda k: -odds[k])[:_MOST_SUSPECTS]
    chosen = tuple(named[k] for k in order if odds[k] - top >= math.log(_WORTH_NAMING))
    return chosen, without[order[0]] if wrong > right else belief


def _alone(model: Model, reading: Measured) -> bool:
    """Whether no other reading says the same: a cylinder cut once, or one of at most two baselines."""
    if reading.no_change:
        return False
    if reading.cylinder is None:
        return len(model.taken.baselines) <= 2
    return model.count(reading.cylinder) == 1


def _looks_odd(model: Model, belief: Belief, total: float | None) -> bool:
    """Whether anything about the run makes it worth looking at each reading by itself."""
    strength = belief.weight @ belief.strength
    once = [i for i, c in enumerate(model.taken.live) if model.count(c) == 1]
    apart = any(not _USUAL[0] <= float(strength[i]) <= _USUAL[1] for i in once)
    noisy = float(belief.weight @ belief.noise) > _MUCH_NOISE
    return apart or noisy or (total is not None and abs(total - 1) > 0.05)


def _misheard(model: Model, without: Belief, at: int, settings: Settings) -> tuple[float, Suspect]:
    """The chance of a wrong reading of this number, by what is believed without it, and what it may have been."""
    from journal.wording.doubt import alike_numbers  # most runs are right, and what they need starts sooner without

    reading = model.said[at]
    row, slot = int(model.data.row[at]), int(model.data.slot[at])
    mean, u = without.shown[:, row, slot], without.shown_u[:, row, slot]

    def chance(value: float) -> float:
        low, high = model.on_scale(reading, value)
        variance = u**2 + (high - low) ** 2 / 12
        density = np.exp(-0.5 * ((low + high) / 2 - mean) ** 2 / variance) / np.sqrt(2 * math.pi * variance)
        return float(without.weight @ density) * (high - low)

    alike = [(value, often) for value, often in alike_numbers(reading.value) if value > 0]
    often_all = sum(often for _, often in alike)
    terms = [(_ALIKE * often / often_all * chance(value), value) for value, often in alike]
    low, high = model.on_scale(reading, reading.value)
    anything = (1 - _ALIKE if alike else 1.0) * (high - low)  # anywhere over one of the scale
    wrong = settings.wrong_reading * (anything + sum(term for term, _ in terms))
    best = max(terms, default=(0.0, 0.0))
    fits = model.off_scale(reading, float(without.weight @ mean))
    fits = max(round(fits / reading.step), 0) * reading.step
    instead = best[1] if best[0] > anything else None
    return wrong, Suspect(
        reading.entry, reading.cylinder, reading.value, instead, 1.0, None if instead is not None else round(fits, 6)
    )


def sum_fits(
    model: Model, belief: Belief, settings: Settings, limited: float
) -> tuple[float, float, float, bool] | None:
    """The sum of the shares by themselves, the ends of its 95 % interval, and whether the run can be right.

    Args:
        model: the run.
        belief: what is believed of it.
        settings: how likely it is beforehand that a run is off.
        limited: how likely a governor at its fuel limit is, by how alike the cuts are; the sum then falls short by
            anything.

    Where all fuel makes torque the sum is one; where some makes none it falls short by nearly what fuel rises less.
    None where not every cylinder, or no baseline, was read.
    """
    found = sum_by_itself(model, belief.noise)
    if found is None:
        return None
    total, of_noise = found
    if not model.by_fuel:
        return 1.0, 1.0, 1.0, True
    means, deviations, weights = model.priors.rises()
    spread = np.hypot(of_noise[:, None], deviations)
    each = np.exp(weights - 0.5 * ((total - means) / spread) ** 2) / (spread * math.sqrt(2 * math.pi))
    # A sum that strays makes the readings look noisy, so it is held against what all but the sum says of the noise.
    density = 1 / (belief.weight @ (1 / np.maximum(each.sum(axis=1), 1e-300)))
    wrong = settings.wrong_run / _SUMS + (limited if total < 1 else 0.0)
    fits = (1 - settings.wrong_run) * float(density) > wrong
    u = float(np.exp(belief.weight @ np.log(of_noise)))
    return total, total - 1.96 * u, total + 1.96 * u, fits
