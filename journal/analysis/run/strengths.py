"""What is believed of a cylinder's strength before it is read: even, dead, weak or strong, as a mixture."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from journal.analysis.learnt import Learnt
from journal.analysis.run.display import Array
from journal.analysis.run.normal import LOG_ROOT_TWO_PI, below, between
from journal.analysis.settings import Settings


@dataclass(frozen=True)
class Priors:
    """What is believed of a run before it is read; `analysis.toml` tells of each figure."""

    dead: float
    """Chance that a cylinder does nothing."""
    weak: float
    """Chance that it pulls anything from nothing to as much as an even one."""
    strong: float
    """Chance that it pulls more than an even one."""
    nothing: float
    """Standard deviation of a dead one's strength."""
    spread: float
    """Standard deviation of healthy strengths, the likeliest."""
    noise: float
    """The likeliest standard deviation of a held reading, as a fraction of it."""
    noise_factor: float
    """By what factor, one standard deviation, the noise may differ from that."""
    drift: float
    """Standard deviation of the drift in a run of `drift_minutes`, as a fraction."""
    drift_minutes: float
    """A longer run's drift is larger by the root of how much longer it is."""
    proportional: float
    """Chance that fuel rises as torque does."""
    proportional_sd: float
    """Standard deviation of its rise then."""
    rise: float
    """The likeliest rise of fuel with torque otherwise."""
    rise_sd: float
    """Standard deviation of that."""
    sum_sd: float
    """Standard deviation of the sum of the shares with all else allowed for."""
    same: float
    """Chance that what an earlier run on the machine showed still holds."""
    noise_since: float
    """By what factor, one standard deviation, the noise may have changed since."""
    rise_since: float
    """By how much, one standard deviation, the rise may have."""
    before: Learnt | None = None
    """What an earlier run on the machine showed; none without one."""

    @classmethod
    def of(cls, settings: Settings, noise: float, drift: float, before: Learnt | None = None) -> Priors:
        """The settings' priors, for a display whose readings wander by `noise` and an engine that drifts by `drift`."""
        return cls(
            settings.cylinder_dead, settings.cylinder_weak, settings.cylinder_strong, settings.cylinder_nothing,
            settings.cylinder_spread, noise, settings.noise_factor, drift,
            settings.engine_drift_minutes, settings.engine_proportional,
            settings.engine_proportional_spread, settings.engine_rise, settings.engine_rise_spread, settings.engine_sum,
            min(settings.before_same, _SUREST), settings.before_noise, settings.before_rise, before,
        )  # fmt: skip

    def noises(self) -> Array:
        """Coarse nodes of the noise, evenly apart on a logarithmic scale."""
        factor: Array = self.noise * 1.8 ** np.arange(-4.0, 4.0)
        return factor

    def of_noise(self, noise: Array) -> Array:
        """Logarithm of the prior weight of a noise, on a logarithmic scale."""
        width = math.log(self.noise_factor)
        weight: Array = -0.5 * (np.log(noise / self.noise) / width) ** 2
        if self.before is None:
            return weight
        since = math.hypot(math.log(self.before.noise_factor), math.log(self.noise_since))
        then = -0.5 * (np.log(noise / self.before.noise) / since) ** 2 - math.log(since / width)
        return np.logaddexp(math.log(1 - self.same) + weight, math.log(self.same) + then)

    def spreads(self) -> tuple[Array, Array]:
        """Spreads of healthy strengths with the logarithms of their prior weights."""
        alike = ALIKE if self.before is None else self._now(self.before.alike, ALIKE)
        return self.spread * np.array([0.75, 1.8]), np.log([alike, 1 - alike])

    def rises(self) -> tuple[Array, Array, Array]:
        """Means, standard deviations and logarithms of the weights of how fuel may rise with torque."""
        means, deviations = [1.0, self.rise], [self.proportional_sd, self.rise_sd]
        weights = [self.proportional, 1 - self.proportional]
        before = self.before
        if before is not None and before.proportional is not None:
            as_then = self.same * (1 - before.proportional)
            weights = [self._now(before.proportional, weights[0]), (1 - self.same) * weights[1]]
            if as_then > _NOT_WORTH:
                means.append(before.rise)
                deviations.append(math.hypot(before.rise_u, self.rise_since))
                weights.append(as_then)
        return np.array(means), np.array(deviations), np.log(weights)

    def _now(self, then: float, usually: float) -> float:
        """The chance of what had one chance in an earlier run on the machine and has another one usually."""
        return self.same * then + (1 - self.same) * usually


ALIKE = 0.6
"""Chance that healthy cylinders differ by the lesser of the two spreads."""
_NOT_WORTH = 0.02
"""What is less likely than this beforehand is not looked at by itself."""
_SUREST = 0.99
"""No machine is surer to be as it was."""
WEAK = (0.0, 1.05)
"""Between what strengths a weak one lies, each alike likely."""
STRONG = (0.95, 2.5)
"""The same of a strong one."""
_FLAT = np.array([WEAK, STRONG]).T


def parts(priors: Priors, spread: Array, mean: Array, variance: Array) -> tuple[Array, Array, Array]:
    """The mixture's parts, each times a normal belief: log weights, means and variances, shape (4, ...).

    In order even, dead, weak, strong.
    """
    shape = np.broadcast_shapes(spread.shape, mean.shape)
    logs, means, variances = np.empty((4, *shape)), np.empty((4, *shape)), np.empty((4, *shape))
    even = 1.0 - priors.dead - priors.weak - priors.strong
    peaks = ((even, 1.0, spread**2), (priors.dead, 0.0, np.full_like(spread, priors.nothing**2)))
    for k, (chance, centre, own) in enumerate(peaks):
        whole = variance + own
        logs[k] = np.log(chance) - LOG_ROOT_TWO_PI - 0.5 * np.log(whole) - 0.5 * (mean - centre) ** 2 / whole
        means[k] = (mean * own + centre * variance) / whole
        variances[k] = variance * own / whole
    root = np.sqrt(variance)
    low, high = (bound.reshape(2, *(1 for _ in shape)) for bound in _FLAT)
    mass, first, second = between((low - mean) / root, (high - mean) / root)
    logs[2:] = _density(priors).reshape(low.shape) + mass
    means[2:] = np.clip(mean + root * first, low, high)
    variances[2:] = np.maximum(variance * (1 + second), 1e-8)
    return logs, means, variances


def _density(priors: Priors) -> Array:
    """Logarithm of the density of the parts that are flat, shape (2,)."""
    found: Array = np.log(np.array([priors.weak, priors.strong]) / (_FLAT[1] - _FLAT[0]))
    return found


def moments(priors: Priors, spread: Array, mean: Array, variance: Array) -> tuple[Array, Array, Array]:
    """Log of the mass, mean and variance of the mixture times a normal belief, elementwise."""
    return _moments(*parts(priors, spread, mean, variance))


def _moments(logs: Array, means: Array, variances: Array) -> tuple[Array, Array, Array]:
    top = logs.max(axis=0)
    weight = np.exp(logs - top)
    total = weight.sum(axis=0)
    weight = weight / total
    middle = (weight * means).sum(axis=0)
    spread_of = (weight * (variances + (means - middle) ** 2)).sum(axis=0)
    return np.log(total) + top, middle, spread_of


def chances(
    priors: Priors, spread: Array, mean: Array, variance: Array, bounds: Array
) -> tuple[Array, Array, Array, Array]:
    """What a normal belief of strengths says once the mixture is taken in.

    Args:
        priors: the mixture's chances.
        spread: shape (G, 1).
        mean: shape (G, n).
        variance: shape (G, n).
        bounds: shape (B,).

    Returns:
        The chance that each strength is below each bound, (B, G, n); that it is a dead one's, its mean, and its
        variance, (G, n).
    """
    logs, means, variances = parts(priors, spread, mean, variance)
    weight = np.exp(logs - logs.max(axis=0))
    weight = weight / weight.sum(axis=0)
    bound, root = bounds[:, None, None, None], np.sqrt(variance)
    peaks = below((bound - means[:2]) / np.sqrt(variances[:2]))
    low, high = (side[:, None, None] for side in _FLAT)
    ends = (np.clip(bound, low + 1e-9, high) - mean) / root
    part, _, _ = between(np.broadcast_to((low - mean) / root, ends.shape), ends)
    flat = np.exp(np.minimum(part + _density(priors)[:, None, None] - logs[2:], 0.0))
    total: Array = (weight[:2] * peaks + weight[2:] * flat).sum(axis=1)
    _, middle, own = _moments(logs, means, variances)
    return total, weight[1], middle, own
