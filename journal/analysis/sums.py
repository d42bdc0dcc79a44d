"""The sum of the shares to whether the readings can be trusted, and which explanations fit when they cannot."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from statistics import median

import numpy as np

from journal.analysis.contributions import Worth, sum_by_idle_fuel, worth
from journal.analysis.findings import Level, Remark, Suspect
from journal.analysis.readings import Measured, Method, Taken
from journal.analysis.settings import Settings

_MENDED = 2.0
"""How many standard uncertainties the mended sum may stray from one."""
_USUAL_STRENGTH = (0.8, 1.25)
_MOST_IDLE_FUEL = 0.4
_MOST_SUSPECTS = 2
_FEWEST_AT_A_LIMIT = 3
_ONE_IN_FIVE = 0.8416
"""The normal quantile that 1 in 5 exceed; with it the chi-square quantile of Wilson and Hilferty (1931)."""
_NEWTON = 10
"""Steps of Newton's method, of which each doubles the digits that are right."""


def check_sum(
    taken: Taken, done: Worth, total: float, u_total: float, settings: Settings, *, speed_held: bool = True
) -> tuple[list[Remark], tuple[Suspect, ...], bool]:
    """Remarks on the sum of the shares, readings that may have been misheard, and whether the readings agree.

    Shares by fuel must add up to one; shares by speed drop or brake load do so by construction and check nothing. A
    sum that strays only a little is let pass, unless it strays by just what the one cylinder that stands apart is
    short or over by: then a question is cheap.
    """
    if done.solved or taken.method not in (Method.FUEL, Method.FUEL_RATE):
        return [], (), True
    u = math.hypot(u_total, settings.sum_model)
    off = abs(total - 1.0) / u
    if off <= settings.sum_z_pointed:
        return [], (), True
    suspects = find_suspects(taken, done, total, u, settings)
    if off <= settings.sum_z:
        suspects = tuple(s for s in suspects if _pointed_at(s, done, total))
        if not suspects:
            return [], (), True
    z = settings.sum_z if off > settings.sum_z else settings.sum_z_pointed
    said = [f"the shares add up to {total:.2f} where {1 - z * u:.2f} to {1 + z * u:.2f} was to be expected"]
    said += [_suspected(s, taken.unit) for s in suspects]
    said += [
        text
        for text in (
            _limit(taken, done, total, settings, speed_held),
            _drift(taken),
            _idle_fuel(taken, total, settings),
        )
        if text
    ]
    if len(said) == 1:
        said.append(_otherwise(taken, done, total))
    entries = tuple(s.entry for s in suspects) or tuple(r.entry for r in (*taken.baselines, *taken.cuts))
    return [Remark(Level.WARNING, "; ".join(said), entries)], suspects, False


def find_suspects(taken: Taken, done: Worth, total: float, u: float, settings: Settings) -> tuple[Suspect, ...]:
    """Readings whose sound-alike would bring the sum back to one, likeliest first.

    A candidate counts by how often the one number is heard for the other, by how near to one it brings the sum, and,
    for a cut, by whether the cylinder then stands among its peers: a cylinder that really is dead leaves the sum at
    one, so a sum that is short by the share of the very cylinder that stands apart points at its reading.
    """
    found: list[tuple[float, Suspect]] = []
    middle = median(done.pull.tolist())
    for reading, instead, often, mended, strength in _candidates(taken, done, total, middle, settings):
        z = (mended - 1.0) / u
        if abs(z) > _MENDED:
            continue
        score = often * math.exp(-z * z / 2) * (1.0 if strength is None or _usual(strength) else 0.2)
        found.append((score, Suspect(reading.entry, reading.cylinder, reading.value, instead, mended)))
    found.sort(key=lambda item: -item[0])
    if not found:
        return _standing_apart(taken, done, total, u, settings)
    return tuple(suspect for score, suspect in found[:_MOST_SUSPECTS] if score >= 0.2 * found[0][0])


def _standing_apart(taken: Taken, done: Worth, total: float, u: float, settings: Settings) -> tuple[Suspect, ...]:
    """The one reading that would mend the sum with another number, though nothing that sounds like it would.

    That is one of two baselines without which the sum is one; else the one cut whose cylinder stands apart now and
    would then stand among its peers; else, where the sum is too large, the one cut that can have made it so, for no
    cylinder pulls less than nothing.
    """
    found = _baseline_apart(taken, u, settings)
    if found is not None:
        return (found,)
    middle = median(done.pull.tolist())
    if middle <= 0:
        return ()
    mended = [float(pull) - (total - 1.0) for pull in done.pull]
    once = [i for i, count in enumerate(done.readings) if count == 1]
    apart = [i for i in once if not _usual(float(done.pull[i]) / middle) and _usual(mended[i] / middle)]
    if len(apart) != 1 and total > 1:
        apart = [i for i in once if mended[i] > -_MENDED * u]
    if len(apart) != 1:
        return ()
    pull = max(mended[apart[0]], 0.0)
    cut = next(c for c in taken.cuts if c.cylinder == done.cylinders[apart[0]])
    if cut.no_change or pull >= 1:
        return ()
    q0 = _idle_fuel_of_a_cut(taken)
    fits = q0 + (cut.value - q0) * (1.0 - float(done.pull[apart[0]])) / (1.0 - pull)
    return (Suspect(cut.entry, cut.cylinder, cut.value, None, 1.0, round(fits / cut.step) * cut.step),)


def _baseline_apart(taken: Taken, u: float, settings: Settings) -> Suspect | None:
    """The one of two baselines without which the shares add up to one, while without the other they do not."""
    if len(taken.baselines) != 2:
        return None
    first, second = taken.baselines
    fits = []
    for wrong, right in ((first, second), (second, first)):
        redone = worth(replace(taken, baselines=(right,)), settings)
        if redone is not None and abs(float(redone.pull.sum()) - 1.0) < _MENDED * u:
            fits.append(Suspect(wrong.entry, None, wrong.value, None, float(redone.pull.sum()), right.value))
    return fits[0] if len(fits) == 1 else None


def _pointed_at(suspect: Suspect, done: Worth, total: float) -> bool:
    """Whether the suspect's cylinder stands apart now and would not with the other number."""
    middle = median(done.pull.tolist())
    if suspect.cylinder is None or middle <= 0:
        return False
    pull = float(done.pull[done.cylinders.index(suspect.cylinder)])
    return not _usual(pull / middle) and _usual((pull + suspect.mended_sum - total) / middle)


def _candidates(
    taken: Taken, done: Worth, total: float, middle: float, settings: Settings
) -> Iterator[tuple[Measured, float, float, float, float | None]]:
    """Each reading with a number that sounds like it, how often, the sum with it, and the cylinder's strength then.

    A cut that was repeated, and a baseline among several, vouch for each other: `without_strays` has seen to those.
    """
    from journal.wording.doubt import alike_numbers  # most sums are right, and what they need starts sooner without

    for at, baseline in enumerate(taken.baselines):
        if len(taken.baselines) > 2:
            break
        for instead, often in alike_numbers(baseline.value):
            if instead <= 0:
                continue
            baselines = (*taken.baselines[:at], replace(baseline, value=instead), *taken.baselines[at + 1 :])
            redone = worth(replace(taken, baselines=baselines), settings)
            if redone is not None:
                yield baseline, instead, often, float(redone.pull.sum()), None
    place = {c: i for i, c in enumerate(done.cylinders)}
    ratio = len(taken.live) / (len(taken.live) - 1) if taken.method == Method.FUEL_RATE else 1.0
    q0 = _idle_fuel_of_a_cut(taken)
    for cut in taken.cuts:
        if cut.no_change or cut.cylinder is None:
            continue
        i = place[cut.cylinder]
        if done.readings[i] > 1:
            continue
        above = done.baseline / ratio - q0
        for instead, often in alike_numbers(cut.value):
            if instead <= q0:
                continue
            change = (above / (cut.value - q0) - above / (instead - q0)) / done.readings[i]
            others = middle if middle > 0 else 1.0
            yield cut, instead, often, total + change, (float(done.pull[i]) + change) / others


def _idle_fuel_of_a_cut(taken: Taken) -> float:
    """How much of a cut's reading is fuel that makes no torque."""
    return taken.idle_fuel * (len(taken.live) - 1 if taken.method == Method.FUEL_RATE else 1)


def _usual(strength: float) -> bool:
    return _USUAL_STRENGTH[0] <= strength <= _USUAL_STRENGTH[1]


def _suspected(suspect: Suspect, unit: str) -> str:
    what = "the baseline" if suspect.cylinder is None else f"cylinder {suspect.cylinder}"
    if suspect.instead is None:
        fits = f"{suspect.fits:g} {unit}"
        return f"{what}, entered as {suspect.value:g}, would fit the others at about {fits}: read it again"
    return (
        f"{what}, entered as {suspect.value:g}, may have been {suspect.instead:g} {unit}, which sounds alike and would "
        f"make it {suspect.mended_sum:.2f}: read it again"
    )


def _otherwise(taken: Taken, done: Worth, total: float) -> str:
    """What is left to be said: the baseline that would fit, and that the load or the speed may have changed."""
    if done.baseline <= 0 or total >= len(taken.live):
        return "take the run again"
    q0 = taken.idle_fuel * (len(taken.live) if taken.method == Method.FUEL_RATE else 1)
    fits = q0 + (done.baseline - q0) * (len(taken.live) - 1) / (len(taken.live) - total)
    return (
        f"a baseline of about {fits:.3g} {taken.unit} would make it one: the baseline moved, or the load or the speed "
        "changed; read the baseline again, then take the run again"
    )


def _limit(taken: Taken, done: Worth, total: float, settings: Settings, speed_held: bool) -> str:
    """A governor at its fuel limit cannot raise fuel further: cuts of different cylinders stop at one number.

    Healthy cylinders differ, so with strengths of the spread h the cuts c over a baseline b spread by h (c - b) c/b
    beside the display's wander and rounding. Cuts that spread so little that four in five engines would show more (the
    chi-square of their variance), on a display that would show it, may have stopped at a limit; so may any that spread
    no more than that while the speed was said not to hold.
    """
    values = {c.cylinder: c.value for c in taken.cuts if not c.no_change}
    if total >= 1 or done.baseline <= 0 or len(values) < _FEWEST_AT_A_LIMIT:
        return ""
    ratio = (len(taken.live) - 1) / len(taken.live) if taken.method == Method.FUEL_RATE else 1.0
    base = done.baseline * ratio
    usual, step = median(values.values()) - base, max(c.step for c in taken.cuts)
    if usual <= step:
        return ""
    level = np.array([v for v in values.values() if v - base >= settings.standing_weak_below * usual])
    at = float(level.mean())
    if len(level) < max(_FEWEST_AT_A_LIMIT, len(taken.live) / 2):
        return ""
    healthy = settings.standing_healthy_spread * (at - base) * at / base
    expected = healthy**2 + (settings.display_scatter * at) ** 2 + step**2 / 12
    freedom = len(level) - 1
    few = freedom * (1 - 2 / (9 * freedom) - _ONE_IN_FIVE * math.sqrt(2 / (9 * freedom))) ** 3
    spread = freedom * float(level.var(ddof=1))
    if not (spread <= freedom * expected if not speed_held else spread < few * expected and healthy >= step):
        return ""
    fell = "" if speed_held else ", and the speed did not hold"
    return (
        f"{len(level)} cuts stop at about {at:.3g}, more alike than cylinders are{fell}: a fuel limit may be reached; "
        "watch the speed while a cylinder is cut, and test where less fuel is needed"
    )


def _drift(taken: Taken) -> str:
    """Pulls that change steadily with the time they were read at point to a baseline that moved."""
    if len(taken.baselines) > 1 or len(taken.cuts) < 5:
        return ""
    usable = [c for c in taken.cuts if not c.no_change]
    at = np.array([c.seconds for c in usable])
    values = np.array([c.value for c in usable])
    keep = np.abs(values - np.median(values)) < 0.2 * np.median(values)
    at, values = at[keep], values[keep]
    if len(at) < 4 or np.ptp(at) <= 0:
        return ""
    slope, left = np.polyfit(at, values, 1, cov=False), 0.0
    left = float(np.std(values - np.polyval(slope, at), ddof=2)) / math.sqrt(float(np.sum((at - at.mean()) ** 2)))
    if abs(slope[0]) > 4 * max(left, 1e-12):
        way = "down" if slope[0] < 0 else "up"
        return f"the readings go steadily {way} with time, so the baseline has moved: read it again now"
    return ""


def _idle_fuel(taken: Taken, total: float, settings: Settings) -> str:
    """The fuel that makes no torque, fitted so that the shares add up to one, where it comes out believable."""
    q0 = fit_idle_fuel(taken, settings) if total < 1 else None
    if q0 is None:
        return ""
    return (
        f"{q0:.3g} {taken.unit} of the fuel making no torque, in each cylinder, would explain it too: it is not "
        "allowed for until it is said of this run"
    )


def fit_idle_fuel(taken: Taken, settings: Settings) -> float | None:
    """The q0, in the run's unit per cylinder, that makes the shares add up to one; none when it is not believable.

    The sum grows with q0, since every (b - q0)/(c - q0) with b < c falls, and ever faster: Newton's method comes down
    from the highest believable q0 to where it passes one. A reading below the baseline may bend the sum; where a step
    would leave the bracket, the bracket is halved.
    """
    per = len(taken.live) if taken.method == Method.FUEL_RATE else 1
    low, high = 0.0, _MOST_IDLE_FUEL * min(b.value for b in taken.baselines) / per
    if high >= min((c.value for c in taken.cuts if not c.no_change), default=math.inf) / max(per - 1, 1):
        return None
    total = sum_by_idle_fuel(taken, settings)
    if not total(low)[0] < 1.0 < total(high)[0]:
        return None
    q0 = high
    for _ in range(_NEWTON):
        value, slope = total(q0)
        low, high = (q0, high) if value < 1.0 else (low, q0)
        following = q0 - (value - 1.0) / slope if slope > 0 else low
        q0 = following if low <= following <= high else (low + high) / 2
    return q0
