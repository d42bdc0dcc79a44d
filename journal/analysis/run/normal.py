"""The normal distribution, elementwise on arrays: tails that stay right far out, and the moments of what is cut off."""

from __future__ import annotations

import math

import numpy as np

from journal.analysis.run.display import Array

LOG_ROOT_TWO_PI = 0.5 * math.log(2 * math.pi)
_ROOT_TWO_PI = math.sqrt(2 * math.pi)
_OVER = (
    3.52624965998911e-2, 0.700383064443688, 6.37396220353165, 33.912866078383, 112.079291497871, 221.213596169931,
    220.206867912376,
)  # fmt: skip
_UNDER = (
    8.83883476483184e-2, 1.75566716318264, 16.064177579207, 86.7807322029461, 296.564248779674, 637.333633378831,
    793.826512519948, 440.413735824752,
)  # fmt: skip
_FAR = 7.07


def scaled_tail(x: Array) -> Array:
    """exp(x^2/2) times the chance that a normal variable exceeds x, for x from 0 up.

    Hart's rational approximation (Computer Approximations, 1968, no. 5666), in the form of West (Better approximations
    to cumulative normal functions, 2005); beyond 7.07 a continued fraction, right to 1e-8 of the chance.
    """
    near = np.minimum(x, _FAR)
    tail = _polynomial(_OVER, near)
    tail /= _polynomial(_UNDER, near)
    if float(x.max(initial=0.0)) > _FAR:
        far = np.maximum(x, _FAR)
        fraction = far + 1 / (far + 2 / (far + 3 / (far + 4 / (far + 0.65))))
        tail = np.where(x > _FAR, 1.0 / (fraction * _ROOT_TWO_PI), tail)
    return tail


def _polynomial(factors: tuple[float, ...], x: Array) -> Array:
    """By Horner's scheme, highest power first, without an array for every step."""
    total: Array = x * factors[0]
    total += factors[1]
    for factor in factors[2:]:
        total *= x
        total += factor
    return total


def below(x: Array) -> Array:
    """The chance that a standard normal variable is below x."""
    tail = np.exp(-0.5 * x * x) * scaled_tail(np.abs(x))
    chance: Array = np.where(x > 0, 1.0 - tail, tail)
    return chance


def between(low: Array, high: Array) -> tuple[Array, Array, Array]:
    """A standard normal variable between two bounds, low under high.

    Returns:
        The logarithm of the chance, and the first two derivatives of that logarithm with respect to the variable's
        mean; all of the bounds' shape.
    """
    # By symmetry the bound nearer to the middle is taken to the right, so that tails are taken from tails.
    turned = low + high < 0
    a, b = np.where(turned, -high, low), np.where(turned, -low, high)
    right = a > 0
    # Everything is divided by exp(-a^2/2) where both bounds are to the right.
    shift = np.where(right, 0.5 * a * a, 0.0)
    tail_a, tail_b = scaled_tail(np.abs(np.stack([a, b])))
    at_a, at_b = np.exp(shift - 0.5 * a * a), np.exp(np.minimum(shift - 0.5 * b * b, 0.0))
    mass = np.where(right, tail_a - tail_b * at_b, 1.0 - tail_a * at_a - tail_b * at_b)
    mass = np.maximum(mass, 1e-300)
    first = (at_a - at_b) / (mass * _ROOT_TWO_PI)
    second = (a * at_a - b * at_b) / (mass * _ROOT_TWO_PI) - first * first
    return np.log(mass) - shift, np.where(turned, -first, first), second
