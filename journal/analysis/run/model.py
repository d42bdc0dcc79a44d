"""Usable readings to the model's scale, with what is believed of such a run before it is read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from statistics import median

import numpy as np

from journal.analysis.learnt import Learnt
from journal.analysis.run.display import Array
from journal.analysis.run.interpolate import interpolation
from journal.analysis.run.readings import Measured, Method, Taken
from journal.analysis.run.scale import Scaled, scaled
from journal.analysis.run.strengths import Priors
from journal.analysis.settings import Settings

FORMULAS: dict[Method, str] = {
    Method.FUEL: "share = 1 - (b - q0)/(c - q0): b fuel per stroke before the cut, c with the cylinder cut, q0 fuel "
    "that makes no torque; all shares together are one",
    Method.FUEL_RATE: "share = 1 - (b/n - q0)/(c/(n - 1) - q0): b fuel rate with n cylinders on, c with one cut, "
    "q0 fuel that makes no torque; all shares together are one",
    Method.SPEED: "share = drop / sum of drops: drop is the speed lost when the cylinder is cut, fuel held",
    Method.BRAKE: "share = (B - Bi) / sum of (B - Bi): B brake load or power, Bi with cylinder i cut, speed held "
    "(Morse test)",
}
"""The formula of each method in words and symbols."""

_IDLE_FUEL_SAID = 0.03
"""Standard deviation of how fuel rises with torque where the fuel that makes none was said."""


@dataclass(frozen=True)
class Model:
    """A run ready to be held against the model."""

    taken: Taken
    """The readings, baselines first in `said`."""
    said: tuple[Measured, ...]
    """The readings in the order of `data.row`."""
    data: Scaled
    """The same on the model's scale."""
    priors: Priors
    """What is believed before."""

    @cached_property
    def per(self) -> tuple[int, int]:
        """To how many cylinders the fuel of a baseline, and of a cut, goes."""
        n = len(self.taken.live)
        return (n, n - 1) if self.taken.method is Method.FUEL_RATE else (1, 1)

    @property
    def by_fuel(self) -> bool:
        """Whether shares must add up to one."""
        return self.data.curved

    def count(self, cylinder: int | None) -> int:
        """How many readings there are of a cylinder, or baselines."""
        return self._counts[cylinder]

    @cached_property
    def _counts(self) -> Counter[int | None]:
        return Counter(r.cylinder for r in self.said)

    def on_scale(self, reading: Measured, value: float) -> tuple[float, float]:
        """Lower and upper end, on the model's scale, of what the display's step allows where it shows `value`."""
        if not self.by_fuel:
            return -(value + reading.step / 2) / self._typical, -(value - reading.step / 2) / self._typical
        per = self.per[reading.cylinder is not None]
        low, high = (value - reading.step / 2) / per, (value + reading.step / 2) / per
        q0 = self.taken.idle_fuel
        least = 0.02 * max(value / per, 1e-9)
        return (
            float(np.log(max(low - q0, least) / self._typical)),
            float(np.log(max(high - q0, 2 * least) / self._typical)),
        )

    def off_scale(self, reading: Measured, place: float) -> float:
        """What the display would show, in the run's unit, for a place on the model's scale."""
        if not self.by_fuel:
            return -place * self._typical
        per = self.per[reading.cylinder is not None]
        return per * (float(np.exp(place)) * self._typical + self.taken.idle_fuel)

    @cached_property
    def _values(self) -> Array:
        return _values(self.taken, self.said, self.per)

    @cached_property
    def _typical(self) -> float:
        return float(np.median(self._values - self.taken.idle_fuel)) if self.by_fuel else float(np.median(self._values))


def alike(models: Sequence[Model]) -> list[list[int]]:
    """The places of models that can be worked out together: as many live cylinders, watched and believed of alike."""
    groups: dict[tuple[int, bool, Priors], list[int]] = {}
    for k, model in enumerate(models):
        groups.setdefault((len(model.taken.live), model.by_fuel, model.priors), []).append(k)
    return list(groups.values())


def model_of(taken: Taken, settings: Settings, before: Learnt | None = None) -> Model | None:
    """The run on the model's scale; none where there is nothing to work with.

    Args:
        taken: its usable readings.
        settings: what is believed before.
        before: what an earlier run on the machine, made in the same way, showed of it.

    Derivations, with n live cylinders, T the torque the engine must make to hold its speed and e_i the torque that
    cylinder i makes per unit of fuel:

    * fuel per stroke, speed governed: T = (b - q0) * sum(e) before the cut and T = (c_i - q0) * (sum(e) - e_i) with
      cylinder i out, so its share e_i / sum(e) = 1 - (b - q0)/(c_i - q0), and log(c_i - q0) - log(b - q0) is
      -log(1 - share): a sum on the scale of logarithms.
    * total fuel rate at governed speed: the fuel of each enabled cylinder is the rate over how many are enabled, so
      b/n and c/(n - 1) take the places of b and c.
    * fuel held: what the cylinder made is lost, and the speed falls until the load asks that much less; for a small
      drop the load falls in proportion, so the drop is proportional to e_i.
    * brake load or power at one speed (the Morse test): friction and pumping stay, so the drop is the cylinder's
      indicated load or power.

    Fuel that makes no torque, where it was not said, and torque that is not quite in proportion to fuel both make
    log(c_i) - log(b) a little other than -log(1 - share), by nearly the same factor for all cylinders: the model's
    rise.
    """
    n = len(taken.live)
    if taken.method is None or not taken.cuts or n < 2:
        return None
    fuel = taken.method in (Method.FUEL, Method.FUEL_RATE)
    read = {c.cylinder for c in taken.cuts if not c.no_change}
    if not taken.baselines and (not fuel or read != set(taken.live)):
        return None
    cuts = taken.cuts if taken.baselines else tuple(c for c in taken.cuts if not c.no_change)
    said = (*taken.baselines, *cuts)
    per = (n, n - 1) if taken.method is Method.FUEL_RATE else (1, 1)
    values = _values(taken, said, per)
    q0 = taken.idle_fuel if fuel else 0.0
    if fuel and float((values - q0).min()) <= 0:
        return None
    divisor = np.array([per[r.cylinder is not None] if fuel else 1 for r in said], float)
    place = {c: i for i, c in enumerate(taken.live)}
    noise = {Method.SPEED: settings.noise_speed, Method.BRAKE: settings.noise_brake}
    priors = Priors.of(
        settings,
        noise.get(taken.method, settings.noise_fuel),
        settings.engine_drift if fuel else settings.engine_drift_held,
        before,
    )
    if q0 > 0:
        before = None if before is None else replace(before, proportional=None)
        priors = replace(priors, rise=1.0, rise_sd=_IDLE_FUEL_SAID, proportional_sd=_IDLE_FUEL_SAID, before=before)
    data = scaled(
        values - q0,
        np.array([r.step for r in said]) / divisor,
        values / (values - q0),
        np.array([r.seconds for r in said]),
        np.array([n if r.cylinder is None else place[r.cylinder] for r in said]),
        np.array([r.no_change for r in said]),
        n,
        priors,
        curved=fuel,
    )
    return Model(taken, said, data, priors)


def _values(taken: Taken, said: tuple[Measured, ...], per: tuple[int, int]) -> Array:
    """The readings, of one cylinder's fuel where fuel is watched; words that nothing changed as the baseline."""
    fuel = taken.method in (Method.FUEL, Method.FUEL_RATE)
    base = median(b.value for b in taken.baselines) / per[0] if taken.baselines else 0.0
    if not fuel:
        return np.array([base * per[0] if r.no_change else r.value for r in said])
    return np.array([base if r.no_change else r.value / per[r.cylinder is not None] for r in said])


def sum_by_itself(model: Model, noise: Array) -> tuple[float, Array] | None:
    """The sum of the shares as each reading gives them by itself, with its standard uncertainty for each noise.

    This is what the readings say before the sum is used: log-ratios of cuts to baselines, interpolated in time; the
    variances by their derivatives (GUM, JCGM 100:2008, 5.1 and 5.2). Drops add up to one by construction. None unless
    every live cylinder and a baseline were read; readings that were left out do not count.
    """
    data, n = model.data, len(model.taken.live)
    read = data.read[data.row, data.slot]
    counts = np.bincount(data.row[read], minlength=n + 1)
    if not counts.all():
        return None
    if not model.by_fuel:
        return 1.0, np.zeros_like(noise)
    row, slot = data.row[read], data.slot[read]
    low, high = data.low[row, slot], data.high[row, slot]
    middle = (low + high) / 2
    of_noise, of_step = data.noise[row, slot] ** 2, (high - low) ** 2 / 12
    said = [reading for reading, kept in zip(model.said, read.tolist(), strict=True) if kept]
    count = int(counts[n])
    seconds = np.array([r.seconds for r in said])
    weights = interpolation([r.seconds for r in said[:count]], seconds[count:])
    words = np.array([r.no_change for r in said[count:]])
    rise = np.where(words, middle[count:], middle[count:] - weights @ middle[:count])
    left = np.exp(-rise)
    by_cylinder = counts[row[count:]]
    of_base = -(left / by_cylinder) @ np.where(words[:, None], 0.0, weights)
    slope2 = np.concatenate([of_base, left / by_cylinder]) ** 2
    u = np.sqrt(noise**2 * (slope2 @ of_noise) + slope2 @ of_step)
    return float(((1 - left) / by_cylinder).sum()), u
