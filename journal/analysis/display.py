"""What a display shows to what the engine did: its step, its wandering, and the uncertainty they leave."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache, lru_cache

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

_MOST_DECIMALS = 4
_COARSER = (0.5, 0.2)
_ENOUGH = 5
_STILL = 0.02
_HARMONICS = 20
_NEGLIGIBLE = 1e-5
_DITHERED = 0.5
"""From this wander on, in steps, what repeats keep of the rounding is under `_NEGLIGIBLE` of a step squared."""


def display_steps(values: Sequence[float]) -> list[float]:
    """The display's step behind each reading, inferred from the decimals said, in the readings' unit.

    A display shows as many decimals as the most any reading was said with. Where all readings fall on halves or
    fifths of that, and there are at least five with decimals, that is the step. Where most were said as whole numbers
    the technician may have rounded: those count as whole steps, the others as finer.
    """
    decimals = [_decimals(v) for v in values]
    most = max(decimals, default=0)
    if most == 0:
        return [1.0] * len(values)
    finest = 10.0**-most
    if decimals.count(most) >= _ENOUGH:
        for share in _COARSER:
            coarse = share * 10.0 ** (1 - most)
            if all(abs(v / coarse - round(v / coarse)) < 1e-6 for v in values):
                finest = coarse
                break
    whole = decimals.count(0)
    said_rounded = whole > len(values) / 2 and whole >= 3
    return [1.0 if said_rounded and d == 0 else finest for d in decimals]


@lru_cache(maxsize=4096)
def _decimals(value: float) -> int:
    return next((d for d in range(_MOST_DECIMALS) if abs(value - round(value, d)) < 1e-9), _MOST_DECIMALS)


def kept_rounding(sigma: float) -> float:
    """The part of the rounding error's variance that repeats do not average away; step 1, wander `sigma` in steps.

    The error of rounding a level x is a sawtooth, e(x) = sum over j of (-1)^j sin(2 pi j x) / (pi j). A normal wander
    of standard deviation sigma shrinks harmonic j by exp(-2 pi^2 j^2 sigma^2) (the characteristic function of the
    normal; see Widrow and Kollar, Quantization Noise, 2008, chapter 4). What is left, squared and averaged over all
    levels, is the sum over j of exp(-4 pi^2 j^2 sigma^2) / (2 pi^2 j^2): 1/12 for a still reading, next to nothing
    from half a step of wander on.
    """
    if sigma >= _DITHERED:
        return 0.0
    j = np.arange(1, 60)
    still = 1.0 / 12.0 - float(np.sum(1.0 / (2 * math.pi**2 * j**2)))
    return float(np.sum(np.exp(-4 * math.pi**2 * j**2 * sigma**2) / (2 * math.pi**2 * j**2))) + (
        still if sigma < 1e-3 else 0.0
    )


@cache
def _tables() -> tuple[Array, Array, Array]:
    sigma = np.concatenate([np.linspace(0.0, 0.1, 41), np.linspace(0.11, 1.0, 90)])
    kept = np.array([kept_rounding(s) for s in sigma])
    changing = sigma**2 + 1.0 / 12.0 - kept
    return sigma, kept, changing


def rounding_covariance(apart: Array, unsure: Array, changing: float, step: float) -> Array:
    """Covariance, in steps squared, of the kept rounding errors of two readings of one level that moved.

    The sawtooth of `kept_rounding` at two points d steps apart has the covariance
    sum over j of exp(-4 pi^2 j^2 sigma^2) cos(2 pi j d) / (2 pi^2 j^2), which is 1/12 - d/2 + d^2/2 for a still reading
    and d from 0 to 1. A distance that is itself only known with a standard uncertainty s takes another factor of
    exp(-2 pi^2 j^2 s^2): readings that may or may not have moved are not known to make up for each other. Between
    repeats of one level a reading varies by sigma^2 + step^2/12 - kept(sigma); that grows with sigma, so the variance
    between repeats tells sigma.

    Args:
        apart: any shape, how far the level moved between two readings, in steps.
        unsure: same shape, standard uncertainty of `apart`.
        changing: variance between repeats, reading units squared.
        step: the display step, reading units.
    """
    sigma = wander_in_steps(changing, step)
    if sigma >= _DITHERED:
        return np.zeros(apart.shape)
    blurred = sigma**2 + unsure**2 / 2
    total = np.zeros(apart.shape)
    for j in range(1, _HARMONICS + 1):
        if math.exp(-4 * math.pi**2 * j**2 * sigma**2) / (2 * math.pi**2 * j**2) < _NEGLIGIBLE:
            break
        total += np.exp(-4 * math.pi**2 * j**2 * blurred) * np.cos(2 * math.pi * j * apart) / (2 * math.pi**2 * j**2)
    if sigma >= _STILL:
        return total
    d = np.abs(apart) % 1.0
    return np.where(unsure < _STILL, 1.0 / 12.0 - d / 2 + d**2 / 2, total)


def wander_in_steps(changing: float, step: float) -> float:
    """The wander, one standard deviation in display steps, behind a variance between repeats of one level."""
    sigma_table, _, changing_table = _tables()
    return float(np.interp(changing / step**2, changing_table, sigma_table))


def changing_variance(sigma: float, step: float) -> float:
    """The variance between repeats of one level for a wander of `sigma` and a display step, reading units squared."""
    if step <= 0:
        return sigma**2
    ratio = sigma / step
    if ratio >= 1.0:
        return sigma**2 + step**2 / 12.0
    table_sigma, _, table = _tables()
    return float(np.interp(ratio, table_sigma, table)) * step**2


_Z = 1.959963984540054
_T_TERMS = (
    (_Z**3 + _Z) / 4,
    (5 * _Z**5 + 16 * _Z**3 + 3 * _Z) / 96,
    (3 * _Z**7 + 19 * _Z**5 + 17 * _Z**3 - 15 * _Z) / 384,
    (79 * _Z**9 + 776 * _Z**7 + 1482 * _Z**5 - 1920 * _Z**3 - 945 * _Z) / 92160,
)


def t_factor(freedom: float) -> float:
    """Student's t for 95 % and `freedom` degrees of freedom (3 or more).

    The Cornish-Fisher expansion of Abramowitz and Stegun, 26.7.5, to the fourth power of 1/freedom; within 0.3 % of
    the exact quantile from three degrees of freedom on.
    """
    g1, g2, g3, g4 = _T_TERMS
    n = max(freedom, 3.0)
    return _Z + (g1 + (g2 + (g3 + g4 / n) / n) / n) / n


def coverage_factor(freedom: float) -> float:
    """By how much a standard uncertainty is multiplied for 95 %, where its square is an expectation, not an estimate.

    What is believed of a value whose variance is known with `freedom` degrees of freedom is a scaled Student's t, and
    its standard uncertainty is the standard deviation of that t, sqrt(freedom/(freedom - 2)) times the scale (JCGM
    101:2008, 6.4.9.4). The interval is t times the scale, hence t sqrt((freedom - 2)/freedom) times the standard
    uncertainty: 1.96 when the variance is known, and about that all the way down to five degrees of freedom.
    """
    n = max(freedom, 3.0)
    return t_factor(n) * math.sqrt((n - 2.0) / n)
