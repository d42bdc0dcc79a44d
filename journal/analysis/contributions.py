"""Usable readings to how much each cylinder pulls, with the covariance that display, wander and baseline leave."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from journal.analysis.display import Array, changing_variance, rounding_covariance
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
    solved: bool = False
    """True when no baseline was said and it was worked out from the sum."""


def worth(taken: Taken, settings: Settings, q0: float = 0.0) -> Worth | None:
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
    return _Propagation(taken, baselines, settings, q0, scale_b, scale_c).worth(solved)


def _baseline_from_sum(taken: Taken, ratio: float) -> float | None:
    """The baseline that makes all shares add up to one: sum of 1 - b/c_i = 1 gives b = (n - 1) / sum(1/c_i)."""
    means: dict[int, list[float]] = {}
    for cut in taken.cuts:
        if cut.no_change or cut.cylinder is None:
            return None
        means.setdefault(cut.cylinder, []).append(cut.value)
    if set(means) != set(taken.live) or len(means) < 2:
        return None
    return ratio * (len(means) - 1) / sum(len(v) / sum(v) for v in means.values())


class _Propagation:
    """The linear algebra of one run: B baselines, K cuts, m cylinders."""

    def __init__(
        self, taken: Taken, baselines: tuple[Measured, ...], settings: Settings, q0: float, scale_b: int, scale_c: int
    ) -> None:
        self.cuts = taken.cuts
        self.baselines = baselines
        self.fuel = taken.method in (Method.FUEL, Method.FUEL_RATE)
        self.cylinders = tuple(sorted({c.cylinder for c in taken.cuts if c.cylinder is not None}))
        self.q0 = q0
        self.settings = settings
        self.ratio = scale_b / scale_c
        self.weights = interpolation([b.seconds for b in baselines], [c.seconds for c in taken.cuts])
        b = np.array([level.value / scale_b for level in baselines])
        self.base = self.weights @ b
        self.unchanged = np.array([c.no_change for c in taken.cuts])
        said = np.array([c.value / scale_c for c in taken.cuts])
        self.cut = np.where(self.unchanged, self.base * self.ratio, said)
        self.steps = np.array([b.step / scale_b for b in baselines] + [c.step / scale_c for c in taken.cuts])
        self.words = np.concatenate([np.zeros(len(baselines), dtype=bool), self.unchanged])
        owner = np.array([0] * len(baselines) + [c.cylinder or 0 for c in taken.cuts])
        seconds = np.array([level.seconds for level in (*baselines, *taken.cuts)])
        level = np.concatenate([np.full(len(baselines), self.base.mean()), self.cut])
        self.moved = level * self._drift() * seconds / self.steps
        said_alike = (owner[:, None] == owner[None, :]) & ~np.logical_or.outer(self.words, self.words)
        self.same_level = said_alike * np.outer(self.steps, self.steps)
        self.scale_b = scale_b
        average = np.array([[c.cylinder == i for c in taken.cuts] for i in self.cylinders], dtype=float)
        self.counts = average.sum(axis=1)
        self.average = average / self.counts[:, None]

    def pulls(self) -> tuple[Array, Array]:
        """Each cut's pull, shape (K,), and its derivatives by baselines and cuts, shape (K, B + K)."""
        k = len(self.cuts)
        if not self.fuel:
            by_cut = -np.eye(k)
            by_base = np.where(self.unchanged[:, None], 0.0, self.weights)
            return self.base - self.cut, np.hstack([by_base, by_cut])
        over = self.cut - self.q0
        above = self.base - self.q0
        change = np.where(self.unchanged, self.ratio, 0.0)
        by_base = (-1.0 / over + above * change / over**2)[:, None] * self.weights
        by_cut = np.diag(above / over**2)
        return 1.0 - above / over, np.hstack([by_base, by_cut])

    def worth(self, solved: bool) -> Worth | None:
        if self.fuel and (np.any(self.cut <= self.q0) or np.any(self.base <= self.q0)):
            return None
        pulls, slopes = self.pulls()
        changing, freedom, rounding = self._variances()
        changes = np.where(self.words, 2 * changing, changing)
        slope = self.average @ slopes
        fixed = slope @ rounding @ slope.T
        return Worth(
            cylinders=self.cylinders,
            pull=self.average @ pulls,
            covariance=fixed + (slope * changes) @ slope.T,
            fixed=np.diag(fixed).copy(),
            readings=tuple(int(c) for c in self.counts),
            freedom=freedom,
            scatter=float(np.sqrt(changing)),
            baseline=float(np.mean(self.base)) * self.scale_b,
            solved=solved,
        )

    def _variances(self) -> tuple[float, float, Array]:
        """Variance between repeats of one level, its degrees of freedom, and the covariance of the kept rounding.

        The judgement of how much a held reading wanders is weighed with what repeats show in this run. Repeats of a
        cylinder differ by R v for the readings v; with a variance between repeats V and the kept rounding K,
        E|R v|^2 = V trace(R R') + trace(R K R'), and Satterthwaite's degrees of freedom are
        trace(R R')^2 / trace((R R')^2). K depends on V, so V is found in two rounds.
        """
        judged = changing_variance(self.settings.display_scatter * float(self.cut.mean()), float(self.steps.max()))
        worth = self.settings.display_scatter_worth
        rounding = self._rounding(judged)
        usable = ~self.unchanged
        if usable.sum() <= len(self.cylinders):
            return judged, worth, rounding
        differences, spread = self._repeats(usable)
        gram = spread @ spread.T
        trace = float(np.trace(gram))
        if trace < 1e-9:
            return judged, worth, rounding
        seen_freedom = trace**2 / float(np.sum(gram**2))
        changing = judged
        for _ in range(2):
            explained = float(np.sum((spread @ rounding) * spread))
            seen = max(float(differences @ differences) - explained, 0.0) / trace
            changing = (worth * judged + seen_freedom * seen) / (worth + seen_freedom)
            rounding = self._rounding(changing)
        return changing, worth + seen_freedom, rounding

    def _repeats(self, usable: npt.NDArray[np.bool_]) -> tuple[Array, Array]:
        """How repeats of each cylinder differ in reading units, shape (K,), and the map R from readings, (K, B + K).

        By fuel it is the ratio of cut to baseline that repeats, whatever the load has drifted to; otherwise the drop.
        """
        factor = self.cut / self.base if self.fuel else np.ones(len(self.cut))
        member = (self.average > 0) & usable
        centre = np.diag(usable.astype(float))
        for row in member:
            if row.any():
                centre[np.ix_(row, row)] -= 1.0 / row.sum()
        values = factor * self.base.mean() if self.fuel else self.cut - self.base
        return centre @ values, centre @ np.hstack([-factor[:, None] * self.weights, np.eye(len(self.cuts))])

    def _rounding(self, changing: float) -> Array:
        """Covariance, shape (B + K, B + K), of the rounding errors that repeats keep.

        Readings of one level share theirs; while the level drifts (a line through the baselines) they come apart as
        `rounding_covariance` says. Levels of different cylinders are apart by who knows how much: no covariance.
        """
        covariance: Array = self.same_level * rounding_covariance(self.moved, changing, float(self.steps.max()))
        # Words that it did not change mean that two displayed values were the same: the difference of two roundings.
        covariance[self.words, self.words] = self.steps[self.words] ** 2 / 6
        return covariance

    def _drift(self) -> float:
        """By what fraction the baseline changes each second."""
        at = np.array([level.seconds for level in self.baselines])
        if at.max() - at.min() <= 0:
            return 0.0
        b = np.array([level.value for level in self.baselines])
        at = at - at.mean()
        return float(at @ b / (at @ at) / b.mean())


def interpolation(knots: Sequence[float], times: Sequence[float]) -> Array:
    """Weights, shape (len(times), len(knots)), of linear interpolation in time; held flat outside the knots.

    Knots at the same moment share the weight equally.
    """
    moments, place, alike = np.unique(np.asarray(knots), return_inverse=True, return_counts=True)
    at_moments = np.array([np.interp(times, moments, row) for row in np.eye(len(moments))])
    weights: Array = (at_moments / alike[:, None])[place].T
    return weights
