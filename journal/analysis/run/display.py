"""What a display shows to its step, and what of its rounding no repeat averages away."""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]

_MOST_DECIMALS = 4
_COARSER = (0.5, 0.2)
_ENOUGH = 5
_HARMONICS = 4000
"""So many make a twelfth to a part in 5,000."""
_DITHERED = 0.5
"""From this wander on, in steps, what repeats keep of the rounding is under 1e-5 of a step squared."""


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
    squares = np.arange(1, _HARMONICS, dtype=float) ** 2
    return float(np.sum(np.exp(-4 * math.pi**2 * sigma**2 * squares) / (2 * math.pi**2 * squares)))
