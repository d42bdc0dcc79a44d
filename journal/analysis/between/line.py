"""Values with their uncertainties to the straight line through them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

_LEAST_U = 1e-3
"""No value is held for surer than this, so that one does not outweigh all others."""


def slope(at: Sequence[float], values: Sequence[float], u: Sequence[float]) -> tuple[float, float] | None:
    """Slope of the weighted least-squares line and its standard uncertainty; none where all stand at one place.

    As in ISO/TS 28037:2010, 6.3, for uncertainties that are known and values that are independent.

    Args:
        at: where each value stands, exactly.
        values: the values.
        u: their standard uncertainties.
    """
    places, weight = np.asarray(at, float), 1 / np.maximum(np.asarray(u, float), _LEAST_U) ** 2
    if len(places) < 2 or np.ptp(places) <= 0:
        return None
    away = places - float(weight @ places / weight.sum())
    square = float(weight @ away**2)
    return float(weight @ (away * np.asarray(values, float))) / square, float(1 / np.sqrt(square))
