"""Usable readings to how much each cylinder pulls, with the covariance that display, wander and baseline leave."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from journal.analysis.display import Array
from journal.analysis.propagation import Propagation
from journal.analysis.readings import Measured, Method, Taken
from journal.analysis.settings import Settings

FORMULAS: dict[Method, str] = {
    Method.FUEL: "share = 1 - (b - q0)/(c - q0): b fuel per stroke before the cut, c with the cylinder cut, q0 fuel "
    "that makes no torque",
    Method.FUEL_RATE: "share = 1 - (b/n - q0)/(c/(n - 1) - q0): b fuel rate with n cylinders on, c with one cut, "
    "q0 fuel that makes no torque",
    Method.SPEED: "share = drop / sum of drops: drop is the speed lost when the cylinder is cut, fuel held",
    Method.BRAKE: "share = (B - Bi) / sum of (B - Bi): B brake load or power, Bi with cylinder i cut, speed held "
    "(Morse test)",
}
"""The formula of each method in words and symbols."""


@dataclass(frozen=True)
class Worth:
    """How much each cylinder pulls, on a scale where only ratios count, and how surely."""

    cylinders: tuple[int, ...]
    """Which, in number order; m of them."""
    pull: Array
    """Shape (m,): the share (fuel methods), or the drop in the run's unit (speed, brake)."""
    covariance: Array
    """Shape (m, m), of `pull`."""
    fixed: Array
    """Shape (m,): the part of `pull`'s variance that repeating the readings does not shrink."""
    readings: tuple[int, ...]
    """How many readings each rests on."""
    freedom: float
    """Degrees of freedom behind the variance between repeats."""
    scatter: float
    """Standard deviation between repeats, in the run's unit."""
    baseline: float
    """Mean baseline used, in the run's unit."""
    resolution: float
    """How far below nothing a pull may lie and mean nothing: a step of the display, or what the model allows."""
    grain: Array
    """Shape (m,): what a step of a display that stands still is worth in `pull`; less the more it wanders."""
    phases: Array
    """Shape (m,): in how many places between two steps of the display each cylinder was seen."""
    solved: bool = False
    """True when no baseline was said and it was worked out from the sum."""


def worth(taken: Taken, settings: Settings) -> Worth | None:
    """How much each cut cylinder pulls.

    Derivations, with n live cylinders, T the torque the engine must make to hold its speed and e_i the torque that
    cylinder i makes per unit of fuel:

    * fuel per stroke, speed governed: T = (b - q0) * sum(e) before the cut and T = (c_i - q0) * (sum(e) - e_i) with
      cylinder i out, so its share e_i / sum(e) = 1 - (b - q0)/(c_i - q0).
    * total fuel rate at governed speed: the fuel of each enabled cylinder is the rate over how many are enabled, so
      b/n and c/(n - 1) take the places of b and c.
    * fuel held: what the cylinder made is lost, and the speed falls until the load asks that much less; for a small
      drop the load falls in proportion, so the drop is proportional to e_i.
    * brake load or power at one speed (the Morse test): friction and pumping stay, so the drop is the cylinder's
      indicated load or power.

    Variances are carried through by their exact derivatives (GUM, JCGM 100:2008, 5.1 and 5.2).

    Returns:
        None when there is no reading to work with, or no baseline and no way to work one out.
    """
    if taken.method is None or not taken.cuts:
        return None
    n = len(taken.live)
    scale_b, scale_c = (n, n - 1) if taken.method == Method.FUEL_RATE else (1, 1)
    if scale_c == 0:
        return None
    baselines, solved = taken.baselines, False
    if not baselines:
        level = (
            _baseline_from_sum(taken, scale_b / scale_c) if taken.method in (Method.FUEL, Method.FUEL_RATE) else None
        )
        if level is None:
            return None
        step = max(c.step for c in taken.cuts)
        baselines, solved = (Measured(level, step / np.sqrt(n), 0.0, ""),), True
    fuel = taken.method in (Method.FUEL, Method.FUEL_RATE)
    weights = None if solved else taken.weights
    run = Propagation(
        baselines, taken.cuts, settings, fuel=fuel, q0=taken.idle_fuel, scale=(scale_b, scale_c), weights=weights
    )
    if not run.possible():
        return None
    changing, freedom = run.scatter()
    covariance, fixed = run.covariance(changing)
    grain, phases = run.grain(changing)
    return Worth(
        cylinders=run.cylinders,
        pull=run.mean(run.pulls[0]),
        covariance=covariance,
        fixed=fixed,
        readings=tuple(run.counts.astype(int).tolist()),
        freedom=freedom,
        scatter=math.sqrt(changing),
        baseline=float(run.base.mean()) * scale_b,
        resolution=max(run.step / float(run.base.mean()), settings.sum_model) if fuel else run.step,
        grain=grain,
        phases=phases,
        solved=solved,
    )


def sum_by_idle_fuel(taken: Taken, settings: Settings) -> Callable[[float], tuple[float, float]]:
    """The sum of the shares and its slope, as functions of q0, for a run with a baseline, watched by fuel.

    Only for a q0 below every reading. The derivative of 1 - (b - q0)/(c - q0) is (c - b)/(c - q0)^2.
    """
    n = len(taken.live)
    scale = (n, n - 1) if taken.method == Method.FUEL_RATE else (1, 1)
    run = Propagation(taken.baselines, taken.cuts, settings, fuel=True, q0=0.0, scale=scale, weights=taken.weights)
    weight = 1.0 / run.counts[run.owner]

    def total(q0: float) -> tuple[float, float]:
        left = weight / (run.cut - q0)
        lost = (run.cut - run.base) * left
        return float(lost.sum()), float((lost / (run.cut - q0)).sum())

    return total


def _baseline_from_sum(taken: Taken, ratio: float) -> float | None:
    """The baseline that makes all shares add up to one: b - q0 = (n - 1) / sum(1/(c_i - q0)), from the shares' formula.

    `ratio` is how many cylinders a baseline's fuel goes to for each that a cut's goes to.
    """
    means: dict[int, list[float]] = {}
    for cut in taken.cuts:
        if cut.no_change or cut.cylinder is None:
            return None
        means.setdefault(cut.cylinder, []).append(cut.value)
    if set(means) != set(taken.live) or len(means) < 2:
        return None
    q0 = taken.idle_fuel * (len(taken.live) - 1 if taken.method == Method.FUEL_RATE else 1)
    return ratio * (q0 + (len(means) - 1) / sum(1.0 / (sum(v) / len(v) - q0) for v in means.values()))
