"""A run that does not add up, or only just, to the explanations that fit it, in words."""

from __future__ import annotations

import math

from journal.analysis.findings import Level, Remark, Suspect
from journal.analysis.run.fit import Belief
from journal.analysis.run.model import Model
from journal.analysis.run.readings import Method

_SURE = 2.6
"""Standard uncertainties from which a drift is said."""
_ONE_SIDED = 1.645
"""The same for fuel that makes no torque, which there can be no less of than none: 95 %."""
_WORTH_SAYING = 0.02
"""A drift by less than this fraction, or less of the fuel making no torque, is not worth a line."""


def off(model: Model, total: float, u: float, found: tuple[Suspect, ...], at_limit: str) -> Remark:
    """What is said of a run whose readings cannot all be right."""
    low, high = model.priors.rise - 2 * model.priors.rise_sd, 1 + 2 * u
    said = [f"the shares add up to {total:.2f} where {low:.2f} to {high:.2f} was to be expected"]
    said += [suspected(one, model.taken.unit) for one in found]
    if at_limit:
        said.append(at_limit)
    if len(said) == 1:
        said.append(_otherwise(model, total))
    entries = tuple(one.entry for one in found) or tuple(r.entry for r in model.said)
    return Remark(Level.WARNING, "; ".join(said), entries)


def suspected(suspect: Suspect, unit: str) -> str:
    """A reading that may have been misheard, in words."""
    what = "the baseline" if suspect.cylinder is None else f"cylinder {suspect.cylinder}"
    if suspect.instead is None:
        fits = f"{suspect.fits:g} {unit}"
        return f"{what}, entered as {suspect.value:g}, would fit the others at about {fits}: read it again"
    return (
        f"{what}, entered as {suspect.value:g}, may have been {suspect.instead:g} {unit}, which sounds alike and fits "
        "the others: read it again"
    )


def _otherwise(model: Model, total: float) -> str:
    """What is left to be said: the baseline that would fit, and that the load or the speed may have changed."""
    taken, n = model.taken, len(model.taken.live)
    base = sum(b.value for b in taken.baselines) / len(taken.baselines)
    if base <= 0 or total >= n:
        return "take the run again"
    q0 = taken.idle_fuel * model.per[0]
    fits = q0 + (base - q0) * (n - 1) / (n - total)
    return (
        f"a baseline of about {fits:.3g} {taken.unit} would make it one: the baseline moved, or the load or the speed "
        "changed; read the baseline again, then take the run again"
    )


def drift(model: Model, belief: Belief) -> Remark | None:
    """A level that moved while there was but one baseline, as the cuts themselves show it."""
    if len(model.taken.baselines) > 1:
        return None
    slope, u = float(belief.weight @ belief.level[:, 1]), float(belief.weight @ belief.level_u[:, 1])
    if abs(slope) <= _SURE * u or abs(2 * slope) < _WORTH_SAYING:
        return None
    way = "up" if (slope > 0) == model.by_fuel else "down"
    return Remark(
        Level.WARNING,
        f"the readings go steadily {way} with time, by about {200 * abs(slope):.0f} % over the run, so the baseline "
        "has moved: read it again now",
        tuple(r.entry for r in model.said),
    )


def idle_fuel(model: Model, belief: Belief) -> Remark | None:
    """Fuel that makes no torque, where the readings show it."""
    taken = model.taken
    if not model.by_fuel or taken.idle_fuel or not taken.baselines:
        return None
    rise = float(belief.weight @ belief.rise)
    u = math.sqrt(float(belief.weight @ (belief.rise_u**2 + (belief.rise - rise) ** 2)))
    part = idle_part(rise, len(taken.live))
    if rise + _ONE_SIDED * u > 1 or part < _WORTH_SAYING:
        return None
    amount = part * sum(b.value for b in taken.baselines) / len(taken.baselines) / model.per[0]
    return Remark(
        Level.REMARK,
        f"about {amount:.2g} {taken.unit} of the fuel making no torque, in each cylinder, fits these readings, and the "
        "shares allow for it; say it of the run where the maker gives it",
        tuple(r.entry for r in model.said),
    )


def idle_part(rise: float, cylinders: int) -> float:
    """What part of a baseline makes no torque, for fuel that rises so with torque when an even one of n is cut.

    With c - q0 = (b - q0) n/(n - 1) and log(c/b) = rise log(n/(n - 1)).
    """
    ratio = cylinders / (cylinders - 1)
    return 1 - (math.pow(ratio, rise) - 1) / (ratio - 1)


def efficiency(model: Model, belief: Belief, trusted: bool) -> Remark | None:
    """Brake over indicated from a complete Morse test: B over the sum of all B - Bi."""
    taken = model.taken
    if taken.method is not Method.BRAKE or not taken.baselines or any(not model.count(c) for c in taken.live):
        return None
    base = sum(b.value for b in taken.baselines) / len(taken.baselines)
    cuts = {c: [r.value for r in taken.cuts if r.cylinder == c and not r.no_change] for c in taken.live}
    indicated = sum(base - sum(values) / len(values) for values in cuts.values() if values)
    found = base / indicated if indicated > 0 else 0.0
    if trusted and 0.0 < found <= 1.0:
        return Remark(Level.REMARK, f"mechanical efficiency by these readings {100 * found:.1f} %")
    return Remark(
        Level.WARNING,
        f"brake over indicated comes to {100 * found:.0f} %, which no engine can do: the speed was not held or a "
        "reading was misheard",
    )
