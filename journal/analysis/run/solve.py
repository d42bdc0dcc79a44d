"""The normal distribution that stand-ins make of the model around the present means, solved for many nodes at once."""

from __future__ import annotations

import numpy as np

from journal.analysis.run.display import Array
from journal.analysis.run.scale import LEVELS

RISE, SIZE = LEVELS, LEVELS + 1
"""Places, after the level's, of how fuel rises with torque and of the logarithm of an even cylinder's share."""
_COMMON = LEVELS + 2
_STRIDE = 0.5
"""The most that a mean moves in one step."""


class Solved:
    """G nodes solved.

    Cylinders hang together only through what is common to all and through the sum of the shares, so the precision is a
    diagonal with a border, and the sum is one rank more (Sherman and Morrison 1950).
    """

    def __init__(
        self,
        effect: Array,
        common: Array,
        precision: Array,
        shift: Array,
        own_precision: Array,
        own_shift: Array,
        basis: Array,
        prior_mean: Array,
        prior_precision: Array,
        curved: bool,
        sum_sd: float,
    ) -> None:
        """Arguments as in `fit.Nodes`, with the level's basis, (G, n + 1, K, LEVELS), and the priors of what is common.

        `curved` where shares must add up to one but for `sum_sd`: a cylinder that makes the share w of the torque then
        raises the logarithm of the others' fuel by -rise log(1 - w).
        """
        self.effect, self.common, self.precision, self.shift = effect, common, precision, shift
        self.own_precision, self.own_shift, self.basis = own_precision, own_shift, basis
        self.prior_mean, self.prior_precision = prior_mean, prior_precision
        self.curved = curved
        count, n = effect.shape
        rise, size = common[:, RISE, None], np.exp(common[:, SIZE, None])
        if curved:
            left = np.exp(-effect / rise)
            self.share, self.by_effect, self.by_rise = 1 - left, left / rise, -left * effect / rise**2
        else:
            self.share, self.by_effect, self.by_rise = effect, np.ones_like(effect), np.zeros_like(effect)
        self.strength = self.share / size
        self.of_own = a, b, c = self.by_effect / size, self.by_rise / size, -self.strength
        extended = np.concatenate([effect, np.zeros((count, 1))], axis=1)
        flat = basis.reshape(count, -1, LEVELS)
        self.at_readings = _times(flat, common[:, :LEVELS]).reshape(precision.shape) + extended[:, :, None]
        off = shift - precision * self.at_readings
        off_own = own_shift - own_precision * self.strength
        by_level = np.einsum("grk,grkl->grl", precision, basis)
        border = np.empty((count, n, _COMMON))
        border[:, :, :LEVELS] = by_level[:, :n]
        border[:, :, RISE], border[:, :, SIZE] = own_precision * a * b, own_precision * a * c
        corner = np.zeros((count, _COMMON, _COMMON))
        corner[:, :LEVELS, :LEVELS] = np.swapaxes(flat, 1, 2) @ (precision.reshape(count, -1, 1) * flat)
        corner[:, RISE, RISE], corner[:, SIZE, SIZE] = (own_precision * np.stack([b * b, c * c])).sum(axis=2)
        corner[:, RISE, SIZE] = corner[:, SIZE, RISE] = (own_precision * b * c).sum(axis=1)
        corner[:, np.arange(_COMMON), np.arange(_COMMON)] += prior_precision
        # An effect has a standard deviation of one, on the scale of the readings, before anything is known.
        self.diagonal = 1 + precision[:, :n].sum(axis=2) + own_precision * a * a
        self.ratio = border / self.diagonal[:, :, None]
        pull = off[:, :n].sum(axis=2) + a * off_own - effect
        pull_common = -(common - prior_mean) * prior_precision
        pull_common[:, :LEVELS] += (off.reshape(count, 1, -1) @ flat)[:, 0]
        pull_common[:, RISE] += (b * off_own).sum(axis=1)
        pull_common[:, SIZE] += (c * off_own).sum(axis=1)
        # What is believed of a strength is said of an effect: log |d strength / d effect|, and its slopes.
        self.turned = (
            -n * (common[:, SIZE] + np.log(rise[:, 0])) - (effect / rise).sum(axis=1)
            if curved
            else -n * common[:, SIZE]
        )
        pull_common[:, SIZE] -= n
        if curved:
            pull = pull - 1 / rise
            pull_common[:, RISE] += (effect.sum(axis=1) / rise[:, 0] - n) / rise[:, 0]
        self.inner = corner - np.swapaxes(border, 1, 2) @ self.ratio
        self.inverse = np.linalg.inv(self.inner)
        move_common = _times(self.inverse, pull_common - (pull[:, None] @ self.ratio)[:, 0])
        move_effect = pull / self.diagonal - _times(self.ratio, move_common)
        self.quadratic = 0.5 * ((pull * move_effect).sum(axis=1) + (pull_common * move_common).sum(axis=1))
        if curved:
            self._take_sum_in(move_effect, move_common, sum_sd)
            gain = (self.missed / self.whole)[:, None]
            move_common = move_common + self.along_common * gain
            move_effect = move_effect + self.along_effect * gain
        self.move_common = np.clip(move_common, -_STRIDE, _STRIDE)
        """Shape (G, LEVELS + 2): where the mean of what is common lies from where the model was taken."""
        self.move_effect = np.clip(move_effect, -_STRIDE, _STRIDE)
        """Shape (G, n): the same of the effects."""

    def _take_sum_in(self, move_effect: Array, move_common: Array, sum_sd: float) -> None:
        toward = -(self.by_effect[:, None] @ self.ratio)[:, 0]
        toward[:, RISE] += self.by_rise.sum(axis=1)
        self.along_common = _times(self.inverse, toward)
        self.along_effect = self.by_effect / self.diagonal - _times(self.ratio, self.along_common)
        of_sum = (self.by_effect**2 / self.diagonal).sum(axis=1) + (toward * self.along_common).sum(axis=1)
        expected = (self.by_effect * move_effect).sum(axis=1) + self.by_rise.sum(axis=1) * move_common[:, RISE]
        self.missed = 1 - self.share.sum(axis=1) - expected
        """Shape (G,): how much the shares lack of one before the sum is used."""
        self.whole = sum_sd**2 + np.maximum(of_sum, 0.0)
        """Shape (G,): variance of that."""

    def _variance(self, own: Array, common: Array, along: Array) -> Array:
        """Variances of sums of an effect, `own` by itself, and of `common` times what is common to all."""
        variance = own + np.einsum("gij,gij->gi", common @ self.inverse, common)
        if self.curved:
            variance = variance - (along + _times(common, self.along_common)) ** 2 / self.whole[:, None]
        found: Array = variance
        return found

    def of_readings(self) -> tuple[Array, Array]:
        """Mean and variance of what stands behind each reading, shapes (G, n + 1, K).

        A reading is the level at its time and, but for a baseline, the effect of its cylinder.
        """
        none = np.zeros((len(self.effect), 1))
        level, shape = self.basis.reshape(len(none), -1, LEVELS), self.precision.shape
        turned = self.ratio @ self.inverse
        own = np.concatenate([1 / self.diagonal + np.einsum("gnk,gnk->gn", turned, self.ratio), none], axis=1)
        both = np.concatenate([turned[:, :, :LEVELS], np.zeros((len(none), 1, LEVELS))], axis=1)
        by_level = (level @ self.inverse[:, :LEVELS, :LEVELS]).reshape(self.basis.shape)
        variance = np.einsum("grkl,grkl->grk", by_level - 2 * both[:, :, None], self.basis) + own[:, :, None]
        if self.curved:
            along = np.concatenate([self.along_effect, none], axis=1)[:, :, None]
            along = along + _times(level, self.along_common[:, :LEVELS]).reshape(shape)
            variance = variance - along**2 / self.whole[:, None, None]
        move = np.concatenate([self.move_effect, none], axis=1)[:, :, None]
        mean = self.at_readings + _times(level, self.move_common[:, :LEVELS]).reshape(shape) + move
        return mean, np.maximum(variance, 1e-14)

    def of_strengths(self) -> tuple[Array, Array]:
        """Mean and variance of each strength, shapes (G, n)."""
        a, b, c = self.of_own
        common = -a[:, :, None] * self.ratio
        common[:, :, RISE] += b
        common[:, :, SIZE] += c
        variance = self._variance(a * a / self.diagonal, common, a * self.by_effect / self.diagonal)
        move = a * self.move_effect + b * self.move_common[:, RISE, None] + c * self.move_common[:, SIZE, None]
        return self.strength + move, np.maximum(variance, 1e-12)

    def shares(self) -> tuple[Array, Array]:
        """Mean (G, n) and covariance (G, n, n) of the shares."""
        a = self.by_effect
        common = -a[:, :, None] * self.ratio
        common[:, :, RISE] += self.by_rise
        covariance = common @ self.inverse @ np.swapaxes(common, 1, 2)
        place = np.arange(a.shape[1])
        covariance[:, place, place] += a * a / self.diagonal
        if self.curved:
            cross = a * a / self.diagonal + _times(common, self.along_common)
            covariance = covariance - cross[:, :, None] * cross[:, None, :] / self.whole[:, None, None]
        return self.share + a * self.move_effect + self.by_rise * self.move_common[:, RISE, None], covariance

    def of_common(self) -> tuple[Array, Array]:
        """Mean and standard deviation of what is common to all cylinders, shapes (G, LEVELS + 2)."""
        variance = np.einsum("gkk->gk", self.inverse)
        if self.curved:
            variance = variance - self.along_common**2 / self.whole[:, None]
        return self.common + self.move_common, np.sqrt(np.maximum(variance, 1e-12))

    def gaussian(self) -> Array:
        """Logarithm of the integral of the priors that are normal times all stand-ins, shape (G,)."""
        z = self.strength
        total = (self.shift * self.at_readings - 0.5 * self.precision * self.at_readings**2).sum(axis=(1, 2))
        total = total + (self.own_shift * z - 0.5 * self.own_precision * z * z).sum(axis=1)
        total = total - 0.5 * ((self.common - self.prior_mean) ** 2 * self.prior_precision).sum(axis=1)
        total = total + 0.5 * np.log(self.prior_precision).sum(axis=1)
        total = total - 0.5 * (self.effect**2).sum(axis=1)
        total = total - 0.5 * np.log(self.diagonal).sum(axis=1) - 0.5 * np.linalg.slogdet(self.inner)[1]
        total = total + self.quadratic + self.turned
        if self.curved:
            total = total - 0.5 * np.log(self.whole) - 0.5 * self.missed**2 / self.whole
        found: Array = total
        return found


def _times(matrix: Array, vector: Array) -> Array:
    """Matrices (G, m, k) times vectors (G, k)."""
    product: Array = (matrix @ vector[:, :, None])[:, :, 0]
    return product
