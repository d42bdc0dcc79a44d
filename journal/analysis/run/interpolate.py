"""Times of baselines and of cuts to how much each baseline counts for each cut."""

from __future__ import annotations

import numpy as np

from journal.analysis.run.display import Array


def interpolation(knots: list[float], times: Array) -> Array:
    """Weights, shape (len(times), len(knots)), of linear interpolation in time; held flat outside the knots.

    Knots at the same moment share the weight equally.
    """
    moments = sorted(set(knots))
    after = np.searchsorted(moments, times, side="right")
    left, right = np.maximum(after - 1, 0), np.minimum(after, len(moments) - 1)
    at = np.array(moments)
    start = at[left]
    span = at[right] - start
    part = np.where(span > 0, (times - start) / np.where(span > 0, span, 1.0), 0.0)
    weights: Array = np.zeros((len(times), len(moments)))
    row = np.arange(len(times))
    weights[row, left] = 1.0 - part
    weights[row, right] += part
    if len(moments) == len(knots) and moments == list(knots):
        return weights
    place = [moments.index(knot) for knot in knots]
    shared: Array = weights[:, place] / np.array([knots.count(knot) for knot in knots])
    return shared
