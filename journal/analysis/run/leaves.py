"""A run's model and what is believed of it to what it leaves for later jobs on the same machine."""

from __future__ import annotations

import math

import numpy as np

from journal.analysis.learnt import Learnt
from journal.analysis.run.display import Array
from journal.analysis.run.fit import Belief
from journal.analysis.run.model import Model


def learnt_of(model: Model, belief: Belief) -> Learnt:
    """What is believed, over all nodes, of noise, healthy spread and how fuel rises with torque."""
    noise, noise_u = _moments(belief.weight, np.log(belief.noise))
    lesser = belief.spread < model.priors.spread
    other = np.where(belief.proportional, 0.0, belief.weight)
    proportional = 1.0 - float(other.sum())
    rise, rise_u = model.priors.rise, model.priors.rise_sd
    if proportional < 1.0:
        rise, of_means = _moments(other, belief.rise)
        rise_u = math.hypot(of_means, math.sqrt(float(other @ belief.rise_u**2) / float(other.sum())))
    watched = model.by_fuel and not model.taken.idle_fuel
    return Learnt(
        len(model.said), math.exp(noise), math.exp(noise_u), float(belief.weight @ lesser),
        proportional if watched else None, rise, rise_u,
    )  # fmt: skip


def _moments(weight: Array, values: Array) -> tuple[float, float]:
    """Mean and standard deviation; weights need not add up to one."""
    mean = float(weight @ values) / float(weight.sum())
    return mean, math.sqrt(float(weight @ (values - mean) ** 2) / float(weight.sum()))
