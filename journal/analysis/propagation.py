"""One run's readings to pulls and their covariance: what display, wander and baseline leave, carried through."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cached_property
from statistics import median

import numpy as np
import numpy.typing as npt

from journal.analysis.display import Array, changing_variance, kept_rounding, rounding_covariance, wander_in_steps
from journal.analysis.interpolate import interpolation
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
        weights: Array | None = None,
    ) -> None:
        """Baseline and cut values are divided by `scale`; `fuel` tells shares by fuel from drops.

        `weights` are those of `interpolation`, where they have been worked out.
        """
        self.settings, self.fuel, self.q0 = settings, fuel, q0
        per_baseline, per_cut = scale
        self.ratio = per_baseline / per_cut
        self.cylinders = tuple(sorted({c.cylinder for c in cuts if c.cylinder is not None}))
        place = {c: i for i, c in enumerate(self.cylinders)}
        self.owner = np.array([place.get(c.cylinder or 0, 0) for c in cuts])
        self.member = (self.owner[None, :] == np.arange(len(self.cylinders))[:, None]).astype(float)
        self.counts = self.member.sum(axis=1)
        seconds = [b.seconds for b in baselines]
        at_baseline, at_cut = np.array(seconds), np.array([c.seconds for c in cuts])
        self.weights = interpolation(seconds, at_cut) if weights is None else weights
        levels = np.array([b.value / per_baseline for b in baselines])
        self.base = self.weights @ levels
        self.words = np.array([c.no_change for c in cuts])
        said = np.array([c.value / per_cut for c in cuts])
        self.cut = np.where(self.words, self.base * self.ratio, said)
        self.step_b = np.array([b.step / per_baseline for b in baselines])
        self.step_c = np.array([c.step / per_cut for c in cuts])
        self.step = float(max(self.step_b.max(), self.step_c.max()))
        self.drift = _drift(at_baseline, levels, settings.display_scatter, self.step)
        self.moved_b = at_baseline * float(levels.mean()) / self.step_b
        self.moved_c = self.cut * at_cut / self.step_c

    def possible(self) -> bool:
        """False where a reading lies at or under the fuel that makes no torque."""
        return not self.fuel or float(min(self.cut.min(), self.base.min())) > self.q0

    @cached_property
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
        _, by_cut, by_base = self.pulls
        by_base = self.mean(by_base)
        m, squared = len(self.cylinders), self.counts**2
        fixed, own = np.zeros((m, m)), np.zeros(m)
        if self._kept(changing) > 0:
            first, second, _ = self._pairs
            of_base, of_pairs = self._rounding(changing)
            fixed += by_base @ of_base @ by_base.T
            own += np.bincount(self.owner[first], by_cut[first] * by_cut[second] * of_pairs, minlength=m)
        twice = by_cut**2
        if self.words.any():
            # Words that it did not change mean that two displayed values were the same: a difference of two roundings.
            own += np.bincount(self.owner, np.where(self.words, twice * self.step_c**2 / 6, 0.0), minlength=m)
            twice = twice * np.where(self.words, 2.0, 1.0)
        place = np.arange(m)
        fixed[place, place] += own / squared
        total = fixed + changing * (by_base @ by_base.T)
        total[place, place] += changing * np.bincount(self.owner, twice, minlength=m) / squared
        return total, fixed.diagonal().copy()

    def grain(self, changing: float) -> tuple[Array, Array]:
        """What one display step is worth in each cylinder's pull, as far as the reading stood still, and its phases.

        Both of shape (m,). A reading that wanders shows where between two steps it lies; what is left of the step is
        sqrt(12 kept). Repeats whose rounding errors are alike are one phase of the display, repeats that the drift
        moved apart are as many as there are; those that happen to be opposed count for no more than that.
        """
        kept, m = self._kept(changing), len(self.cylinders)
        if kept == 0:
            return np.zeros(m), np.ones(m)
        _, by_cut, _ = self.pulls
        worth = self.mean(np.abs(by_cut) * self.step_c) * math.sqrt(12 * kept)
        first, _, apart = self._pairs
        alike = rounding_covariance(*self._moved(apart), changing, self.step) / kept
        total = np.zeros(m) + np.bincount(self.owner[first], np.clip(alike, 0.0, 1.0), minlength=m)
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
        # The median, for one absurd reading must not make all of them look uncertain.
        judged = changing_variance(self.settings.display_scatter * median(self.cut.tolist()), self.step)
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
            explained = 0.0
            if self._kept(changing) > 0:
                first, second, _ = self._pairs
                of_base, of_pairs = self._rounding(changing)
                explained += float(np.sum(inner * of_base)) + float(of_pairs[first == second].sum())
                explained -= float(np.sum(of_pairs / counts[self.owner[first]]))
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
        first, second, apart = self._pairs
        between = self.moved_b[:, None] - self.moved_b[None, :]
        of_base = rounding_covariance(*self._moved(between), changing, self.step)
        of_pairs = rounding_covariance(*self._moved(apart), changing, self.step)
        return of_base * np.outer(self.step_b, self.step_b), of_pairs * self.step_c[first] * self.step_c[second]

    def _kept(self, changing: float) -> float:
        """What repeats keep of the variance of rounding, in steps squared; 0 for a display that wanders enough."""
        return kept_rounding(wander_in_steps(changing, self.step))

    @cached_property
    def _pairs(self) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp], Array]:
        """Every pair of readings of one cylinder, each with itself too, and how far in time times level they lie."""
        same = (self.owner[:, None] == self.owner[None, :]) & ~self.words[:, None] & ~self.words[None, :]
        first, second = np.nonzero(same)
        return first, second, self.moved_c[first] - self.moved_c[second]

    def _moved(self, between: Array) -> tuple[Array, Array]:
        """How far a level drifted between two readings, in steps, and the standard uncertainty of that."""
        drift, unsure = self.drift
        return drift * between, unsure * np.abs(between)


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
