"""A run's usable readings to the scale on which the model is a sum of unknowns."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from statistics import median

import numpy as np
import numpy.typing as npt

from journal.analysis.run.display import Array
from journal.analysis.run.strengths import Priors

LEVELS = 4
"""Parts of the level: Legendre polynomials of the run's own time, from the constant to the cube."""
_CURVES = np.array([1.0, 0.4, 0.2])
"""Standard deviations of the drift's line, square and cube, as fractions of the line's."""
_FARTHEST = 2.0
"""Readings further than this from a typical one, on the model's scale, are taken to be this far."""
_SIZE_SD = 0.5
"""Standard deviation of the logarithm of an even cylinder's share."""


@dataclass(frozen=True)
class Scaled:
    """A run's readings on the scale where the model is a sum, for n live cylinders with at most K readings each.

    By fuel a reading is the logarithm of the fuel that makes torque, over a typical one; otherwise it is the reading's
    negative over a typical one. Row i holds the readings with the i-th live cylinder cut, the last row the baselines.
    """

    low: Array
    """Shape (n + 1, K): lower end of what the display's step allows."""
    high: Array
    """Shape (n + 1, K): upper end."""
    noise: Array
    """Shape (n + 1, K): how much one unit of relative noise is there."""
    basis: Array
    """Shape (n + 1, K, LEVELS): the level's parts at each reading's time; nought for words that nothing changed."""
    read: npt.NDArray[np.bool_]
    """Shape (n + 1, K): which places hold a reading."""
    curved: bool
    """True where shares must add up to one: fuel at a governed speed."""
    deviation: Array
    """Shape (LEVELS + 2,): standard deviations, before anything is read, of what is common to all cylinders: the
    level's parts, rise, and logarithm of an even cylinder's share or effect."""
    row: npt.NDArray[np.intp]
    """Shape (R,): the row of each reading."""
    slot: npt.NDArray[np.intp]
    """Shape (R,): its place in that row."""

    def without(self, readings: Iterable[int]) -> Scaled:
        """The run as if these readings had not been taken; what they should be is still worked out."""
        which = list(readings)
        read = self.read.copy()
        read[self.row[which], self.slot[which]] = False
        return replace(self, read=read)

    def guess(self) -> tuple[Array, Array]:
        """A first guess of each cylinder's effect, (n,), and of what is common to all, (LEVELS + 2,)."""
        n = len(self.read) - 1
        middle = (self.low + self.high) / 2
        plain = self.read & (self.basis[..., 0] > 0)
        if plain[n].any():
            level = median(middle[n][plain[n]].tolist())
        elif plain.any():
            rest = 1 - 1 / max(n, 2)
            level = median(middle[plain].tolist()) + (np.log(rest) if self.curved else rest - 1)
        else:
            level = 0.0
        counts = self.read[:n].sum(axis=1)
        known = (
            np.where(self.read[:n], middle[:n] - level * plain[:n], 0.0).sum(axis=1)[counts > 0] / counts[counts > 0]
        )
        top = np.sort(known)[-max(1, (len(known) + 1) // 2) :]
        usual = max(float(top.mean()) if len(top) else 0.0, 1e-3)
        effect = np.full(n, usual)
        effect[counts > 0] = known
        share = min(1 - np.exp(-usual), 0.99) if self.curved else usual
        common = np.array([level, 0.0, 0.0, 0.0, 1.0, np.log(share)])
        return effect, common


def scaled(
    values: Array,
    steps: Array,
    noise: Array,
    seconds: Array,
    owner: npt.NDArray[np.intp],
    words: npt.NDArray[np.bool_],
    cylinders: int,
    priors: Priors,
    *,
    curved: bool,
) -> Scaled:
    """Readings on the model's scale.

    Args:
        values: shape (R,), the readings of the fuel of one cylinder that makes torque, or of speed, load or power;
            for words that nothing changed, the baseline.
        steps: shape (R,), the display's step behind each.
        noise: shape (R,), by how much a wander of the display by a fraction moves each reading, as a fraction of it.
        seconds: shape (R,), when each was said.
        owner: shape (R,), place of the cylinder that was cut, `cylinders` for a baseline.
        words: shape (R,), where it was only said that nothing changed.
        cylinders: how many are live, n.
        priors: what is believed before.
        curved: True for fuel at a governed speed.
    """
    typical = float(np.median(values))
    if curved:
        least = 0.02 * np.abs(values)
        low = np.log(np.maximum(values - steps / 2, least) / typical)
        high = np.log((values + steps / 2) / typical)
    else:
        low, high = -(values + steps / 2) / typical, -(values - steps / 2) / typical
    # What lies further off than any engine goes is wrong, by however much, and would only spoil the arithmetic.
    beyond = np.clip((low + high) / 2, -_FARTHEST, _FARTHEST) - (low + high) / 2
    low, high = low + beyond, high + beyond
    minutes = max(float(np.ptp(seconds)) / 60, 1.0)
    at = 2 * (seconds - seconds.min()) / (60 * minutes) - 1
    basis = np.stack([np.ones_like(at), at, (3 * at**2 - 1) / 2, (5 * at**3 - 3 * at) / 2], axis=1)
    middle = (low + high) / 2
    noise = noise if curved else noise * np.abs(values) / typical
    # Words that nothing changed are a difference of two displayed values, without the level.
    noise = np.where(words, np.sqrt(2.0) * noise, noise)
    half = np.where(words, np.sqrt(2.0) * (high - low) / 2, (high - low) / 2)
    middle = np.where(words, 0.0, middle)
    basis = np.where(words[:, None], 0.0, basis)
    counts = np.bincount(owner, minlength=cylinders + 1)
    order = np.argsort(owner, kind="stable")
    slot = np.empty(len(owner), np.intp)
    slot[order] = np.arange(len(owner)) - np.repeat(np.cumsum(counts) - counts, counts)
    shape = (cylinders + 1, int(counts.max()))
    lows, highs, noises, read = np.full(shape, -0.5), np.full(shape, 0.5), np.ones(shape), np.zeros(shape, bool)
    laid = np.zeros((*shape, LEVELS))
    lows[owner, slot], highs[owner, slot] = middle - half, middle + half
    noises[owner, slot], read[owner, slot], laid[owner, slot] = noise, True, basis
    factor = max(minutes / priors.drift_minutes, 1.0) ** 0.5
    drift = factor * priors.drift * _CURVES
    deviation = np.array([1.0, *drift, priors.rise_sd, _SIZE_SD])
    return Scaled(lows, highs, noises, laid, read, curved, deviation, owner, slot)
