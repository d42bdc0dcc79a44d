"""One run's readings to pulls and their covariance: what display, wander and baseline leave, carried through."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from journal.analysis.display import Array, changing_variance, kept_rounding, rounding_covariance, wander_in_steps
from journal.analysis.readings import Measured
from journal.analysis.settings import Settings


class Propagation:
    """The linear algebra of one run: B baselines, K cuts, m cylinders.

    Cuts of different cylinders share nothing but the baselines, so everything is kept per cut (K,), per cut and
    baseline (K, B), or per pair of repeats of one cylinder; nothing grows with K squared.
    """

    def __init__(
        self,
        baselines: Sequence[Measured],
        cuts: Sequence[Measured],
        settings: Settings,
        *,
        fuel: bool,
        q0: float,
        scale: tuple[int, int],
    ) -> None:
        """Baseline and cut values are divided by `scale`; `fuel` tells shares by fuel from drops."""
        self.settings, self.fuel, self.q0 = settings, fuel, q0
        per_baseline, per_cut = scale
        self.ratio = per_baseline / per_cut
        self.cylinders = tuple(sorted({c.cylinder for c in cuts if c.cylinder is not None}))
        place = {c: i for i, c in enumerate(self.cylinders)}
        self.owner = np.array([place.get(c.cylinder or 0, 0) for c in cuts])
        self.member = (self.owner[None, :] == np.arange(len(self.cylinders))[:, None]).astype(float)
        self.counts = self.member.sum(axis=1)
        at_baseline = np.array([b.seconds for b in baselines])
        at_cut = np.array([c.seconds for c in cuts])
        self.weights = interpolation(at_baseline, at_cut)
        levels = np.array([b.value / per_baseline for b in baselines])
        self.base = self.weights @ levels
        self.words = np.array([c.no_change for c in cuts])
        said = np.array([c.value / per_cut for c in cuts])
        self.cut = np.where(self.words, self.base * self.ratio, said)
        self.step_b = np.array([b.step / per_baseline for b in baselines])
        self.step_c = np.array([c.step / per_cut for c in cuts])
        self.step = float(max(self.step_b.max(), self.step_c.max()))
        drift, unsure = _drift(at_baseline, levels, settings.display_scatter, self.step)
        level = float(levels.mean())
        between = (at_baseline[:, None] - at_baseline[None, :]) * level / self.step_b[:, None]
        self.apart_b, self.unsure_b = drift * between, unsure * np.abs(between)
        same = (self.owner[:, None] == self.owner[None, :]) & ~self.words[:, None] & ~self.words[None, :]
        self.first, self.second = np.nonzero(same)
        moved = self.cut * at_cut / self.step_c
        between = moved[self.first] - moved[self.second]
        self.apart_c, self.unsure_c = drift * between, unsure * np.abs(between)

    def possible(self) -> bool:
        """False where a reading lies at or under the fuel that makes no torque."""
        return not self.fuel or float(min(self.cut.min(), self.base.min())) > self.q0

    def pulls(self) -> tuple[Array, Array, Array]:
        """Each cut's pull (K,), its derivative by its own reading (K,), and by the baselines (K, B)."""
        if not self.fuel:
            by_base = np.where(self.words[:, None], 0.0, self.weights)
            return self.base - self.cut, np.full(len(self.cut), -1.0), by_base
        over, above = self.cut - self.q0, self.base - self.q0
        follows = np.where(self.words, self.ratio, 0.0)
        by_base = (-1.0 / over + above * follows / over**2)[:, None] * self.weights
        return 1.0 - above / over, above / over**2, by_base

    def mean(self, per_cut: Array) -> Array:
        """The mean of each cylinder's cuts, shape (m,) or (m, B)."""
        count = self.counts if per_cut.ndim == 1 else self.counts[:, None]
        mean: Array = self.member @ per_cut / count
        return mean

    def covariance(self, changing: float) -> tuple[Array, Array]:
        """Covariance of the cylinders' mean pulls, (m, m), and the part of its diagonal that repeats do not shrink."""
        _, by_cut, by_base = self.pulls()
        by_base = self.mean(by_base)
        of_base, of_pairs = self._rounding(changing)
        fixed = by_base @ of_base @ by_base.T
        m = len(self.cylinders)
        pairs = by_cut[self.first] * by_cut[self.second] * of_pairs
        own = np.zeros(m) + np.bincount(self.owner[self.first], pairs, minlength=m)
        # Words that it did not change mean that two displayed values were the same: the difference of two roundings.
        own += np.bincount(self.owner, np.where(self.words, by_cut**2 * self.step_c**2 / 6, 0.0), minlength=m)
        fixed[np.arange(m), np.arange(m)] += own / self.counts**2
        changes = np.bincount(self.owner, by_cut**2 * np.where(self.words, 2.0, 1.0), minlength=m) / self.counts**2
        total = fixed + changing * (by_base @ by_base.T + np.diag(changes))
        return total, np.diag(fixed).copy()

    def grain(self, changing: float) -> tuple[Array, Array]:
        """What one display step is worth in each cylinder's pull, as far as the reading stood still, and its phases.

        Both of shape (m,). A reading that wanders shows where between two steps it lies; what is left of the step is
        sqrt(12 kept). Repeats whose rounding errors are alike are one phase of the display, repeats that the drift
        moved apart are as many as there are; those that happen to be opposed count for no more than that.
        """
        sigma = wander_in_steps(changing, self.step)
        left = math.sqrt(12 * kept_rounding(sigma))
        _, by_cut, _ = self.pulls()
        worth = self.mean(np.abs(by_cut) * self.step_c) * left
        alike = rounding_covariance(self.apart_c, self.unsure_c, changing, self.step) / kept_rounding(sigma)
        m = len(self.cylinders)
        total = np.zeros(m) + np.bincount(self.owner[self.first], np.clip(alike, 0.0, 1.0), minlength=m)
        usable = np.maximum(self.member @ (~self.words), 1.0)
        return worth, usable**2 / np.maximum(total, usable)

    def scatter(self) -> tuple[float, float]:
        """Expected variance between repeats of one level, and its degrees of freedom.

        The judgement of how much a held reading wanders is weighed with what repeats show in this run. Repeats of a
        cylinder differ by R v for the readings v; with a variance between repeats V and the kept rounding C,
        E|R v|^2 = V trace(R R') + trace(R C R'), and Satterthwaite's degrees of freedom are
        trace(R R')^2 / trace((R R')^2). C depends on V, so V is found in two rounds. R is P [-G, 1] with P taking the
        mean of each cylinder's cuts away, a projection, so that the traces need only P, P G and C.

        The judgement is a scaled inverse chi-square whose expectation is the judged variance. With w + 2 degrees of
        freedom it counts in the expected variance as w repeats do: (w judged + f seen)/(w + f), known afterwards with
        w + 2 + f degrees of freedom (Gelman et al., Bayesian Data Analysis, 3rd edition, 2.6).
        """
        judged = changing_variance(self.settings.display_scatter * float(self.cut.mean()), self.step)
        worth = self.settings.display_scatter_worth
        usable = ~self.words
        counts = self.member @ usable
        plain = float(np.sum(np.maximum(counts - 1, 0)))
        if plain < 1:
            return judged, worth + 2
        # By fuel it is the ratio of cut to baseline that repeats, whatever the load drifts to; otherwise the drop.
        factor = self.cut / self.base if self.fuel else np.ones(len(self.cut))
        values = factor * float(self.base.mean()) if self.fuel else self.cut - self.base
        differences = self._centred(values, usable, counts)
        pg = self._centred(factor[:, None] * self.weights, usable, counts)
        inner = pg.T @ pg
        trace = plain + float(np.trace(inner))
        freedom = trace**2 / (plain + 2 * float(np.trace(inner)) + float(np.sum(inner**2)))
        changing = judged
        for _ in range(2):
            of_base, of_pairs = self._rounding(changing)
            own = of_pairs[self.first == self.second].sum() - float(np.sum(of_pairs / counts[self.owner[self.first]]))
            explained = float(np.sum(inner * of_base)) + float(own)
            seen = max(float(differences @ differences) - explained, 0.0) / trace
            changing = (worth * judged + freedom * seen) / (worth + freedom)
        return changing, worth + 2 + freedom

    def _centred(self, per_cut: Array, usable: npt.NDArray[np.bool_], counts: Array) -> Array:
        weight = usable.astype(float) if per_cut.ndim == 1 else usable.astype(float)[:, None]
        count = np.maximum(counts, 1.0) if per_cut.ndim == 1 else np.maximum(counts, 1.0)[:, None]
        centred: Array = weight * (per_cut - ((self.member @ (weight * per_cut)) / count)[self.owner])
        return centred

    def _rounding(self, changing: float) -> tuple[Array, Array]:
        """Covariances of the rounding errors that repeats keep: of the baselines (B, B), and of the pairs of cuts.

        Readings of one level share theirs; while the level drifts (a line through the baselines) they come apart as
        `rounding_covariance` says. Levels of different cylinders are apart by who knows how much: no covariance.
        """
        of_base = rounding_covariance(self.apart_b, self.unsure_b, changing, self.step) * np.outer(
            self.step_b, self.step_b
        )
        of_pairs = rounding_covariance(self.apart_c, self.unsure_c, changing, self.step)
        return of_base, of_pairs * self.step_c[self.first] * self.step_c[self.second]


def interpolation(knots: Sequence[float] | Array, times: Sequence[float] | Array) -> Array:
    """Weights, shape (len(times), len(knots)), of linear interpolation in time; held flat outside the knots.

    Knots at the same moment share the weight equally.
    """
    moments, place, alike = np.unique(np.asarray(knots), return_inverse=True, return_counts=True)
    at_moments = np.array([np.interp(times, moments, row) for row in np.eye(len(moments))])
    weights: Array = (at_moments / alike[:, None])[place].T
    return weights


def _drift(seconds: Array, levels: Array, scatter: float, step: float) -> tuple[float, float]:
    """By what fraction the baseline changes each second, and the standard uncertainty of that.

    The slope of the least-squares line over the mean; a reading off that line by its wander and its rounding. A single
    baseline tells no drift, and none is then counted on.
    """
    at = seconds - seconds.mean()
    square, level = float(at @ at), float(levels.mean())
    if square <= 0:
        return 0.0, 0.0
    return float(at @ levels) / square / level, math.sqrt((scatter**2 + (step / level) ** 2 / 12) / square)
