"""Runs on the model's scale to what is believed of every cylinder, by expectation propagation, several runs at once.

Readings are sums of unknowns seen through a rounded, wandering display; strengths have a prior that is no normal one;
the shares of a governed engine add up to one. Each reading and each strength is stood in for by a normal factor that
leaves the moments as they are (Minka 2001; Rasmussen and Williams, Gaussian Processes for Machine Learning, 2006, 3.6),
for each of a few values of the noise and of the spread of healthy cylinders, which are then weighed by the evidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from journal.analysis.run.display import Array
from journal.analysis.run.normal import LOG_ROOT_TWO_PI, between
from journal.analysis.run.scale import LEVELS, Scaled
from journal.analysis.run.solve import RISE, SIZE, Solved
from journal.analysis.run.strengths import Priors, moments

_BOX = 0.7
"""A display step at least this many standard deviations of the noise wide is kept as an interval."""
_PLACES = (
    (0.3, 2.07, np.array([-1.0, 1.0])),
    (0.7, 1.43, np.array([-1.4, 0.0, 1.4])),
    (np.inf, 0.963, np.array([-1.9, -0.95, 0.0, 0.95, 1.9])),
)
"""Fine nodes of the noise, in standard deviations from its mean on the coarse ones, up to which standard deviation of
its logarithm; and for how much of that each stands, so that a normal distribution's density there adds up to one."""
_NARROWEST = 0.12
"""The least standard deviation, of the noise's logarithm, that the fine nodes are laid out for."""
_FIRST, _SECOND, _MOST = 2, 2, 12
"""Steps on the coarse nodes, on the fine ones, and on those of them that count."""
_SETTLED, _SWINGING = 0.02, 0.3
"""A node stands still when no mean moves by more than the first of these, in its standard deviations. One that moves by
more than the second is torn between what a cylinder may be, and its evidence means nothing."""
_NEGLIGIBLE, _UNHEARD = 5e-3, 0.03
"""Nodes with less than the first of the weightiest one's weight are not taken further, with less than the second not
counted in the end."""
_MOST_EVIDENCE, _LOST = 3.0, -1e4
"""Above the first, a logarithm of evidence (but for the nodes' weights) cannot lie; the second is given instead."""
_STILL = 0.05
"""A node whose effects would still move by more than this has not settled."""
_EFFECTS, _RISES, _SIZES = (-1.0, 4.0), (0.5, 1.5), (-8.0, 1.0)
"""Bounds of effects, rise and the logarithm of an even cylinder's share, which readings that contradict each other
would else leave."""
_PART, _CAREFUL, _PATIENCE = 0.8, 0.35, 5
"""How far a stand-in goes from what it was to what it should be, so that neighbours do not swing; and how far for nodes
that have not settled after so many steps."""


@dataclass
class Nodes:
    """G pairs of noise and healthy spread, each of some run, with what stands in for readings and priors there.

    Readings have the shape (n + 1, K): a row for each cylinder's, the last for baselines.
    """

    run: npt.NDArray[np.intp]
    """Shape (G,): place of the run it is of."""
    noise: Array
    """Shape (G,): standard deviation of the display's wander, as a fraction of the reading."""
    spread: Array
    """Shape (G,): standard deviation of healthy strengths."""
    rise: Array
    """Shape (G, 2): mean and standard deviation of how fuel rises with torque, before anything is read."""
    prior: Array
    """Shape (G,): logarithm of the prior weight."""
    effect: Array
    """Shape (G, n): what cutting each cylinder does on the readings' scale."""
    common: Array
    """Shape (G, LEVELS + 2): the level's parts, rise, logarithm of the size of an even cylinder."""
    precision: Array
    """Shape (G, n + 1, K): of what stands in for each reading."""
    shift: Array
    """Shape (G, n + 1, K): precision times mean of the same."""
    own_precision: Array
    """Shape (G, n): of what stands in for each strength's prior."""
    own_shift: Array
    """Shape (G, n)."""

    def kept(self, which: npt.NDArray[np.intp]) -> Nodes:
        """The chosen nodes."""
        return Nodes(**{field.name: getattr(self, field.name)[which] for field in fields(self)})

    def put(self, which: npt.NDArray[np.intp], others: Nodes) -> None:
        """Put other nodes in the chosen ones' places."""
        for field in fields(self):
            getattr(self, field.name)[which] = getattr(others, field.name)


@dataclass(frozen=True)
class Belief:
    """What is believed of a run, at each of G nodes that count."""

    weight: Array
    """Shape (G,): their weights, which add up to one."""
    noise: Array
    """Shape (G,): relative noise."""
    spread: Array
    """Shape (G,): spread of healthy strengths."""
    share: Array
    """Shape (G, n): mean of each cylinder's share (of its effect, where shares need not add up)."""
    strength: Array
    """Shape (G, n): mean strength, an even cylinder's being one, by all but the strength's own prior."""
    strength_u: Array
    """Shape (G, n): its standard deviation."""
    covariance: Array
    """Shape (G, n, n): of the shares."""
    rise: Array
    """Shape (G,): how fuel rises with torque, one where all fuel makes torque."""
    rise_u: Array
    """Shape (G,): its standard deviation."""
    proportional: npt.NDArray[np.bool_]
    """Shape (G,): where fuel is believed to rise as torque does."""
    level: Array
    """Shape (G, LEVELS): the level's parts."""
    level_u: Array
    """Shape (G, LEVELS): their standard deviations."""
    shown: Array
    """Shape (G, n + 1, K): what each reading should be, on the model's scale, by all the others."""
    shown_u: Array
    """Shape (G, n + 1, K): its standard deviation, the display's wander included."""
    read_log: Array
    """Shape (n + 1, K): logarithm of the probability of each reading by all the others."""
    evidence: float
    """Logarithm of the probability of what was read."""


def believe(runs: Sequence[Scaled], priors: Priors) -> list[Belief]:
    """What is believed of each of some runs, all with as many live cylinders and all watched by fuel, or none."""
    return _Fit(runs, priors).believe()


@dataclass(frozen=True)
class _Laid:
    """The readings of the run of each of G nodes."""

    run: npt.NDArray[np.intp]
    basis: Array
    low: Array
    high: Array
    width: Array
    wander: Array
    """Shape (G, n + 1, K): standard deviation of the display's wander."""
    places: tuple[npt.NDArray[np.intp], ...]
    """Where there are readings that are intervals."""
    rounded: bool
    """Whether there are any."""


class _Fit:
    """Runs held against the model."""

    def __init__(self, runs: Sequence[Scaled], priors: Priors) -> None:
        self.runs, self.priors = runs, priors
        slots = max(run.low.shape[1] for run in runs)
        self.low, self.high, self.noise = (
            np.stack([_padded(part, slots, fill) for part in parts])
            for parts, fill in (
                ([run.low for run in runs], -0.5),
                ([run.high for run in runs], 0.5),
                ([run.noise for run in runs], 1.0),
            )
        )
        self.read = np.stack([_padded(run.read.astype(float), slots, 0.0) for run in runs]) > 0
        self.basis = np.stack([_padded(run.basis, slots, 0.0) for run in runs])
        self.middle, self.width = (self.low + self.high) / 2, self.high - self.low
        # Words that nothing changed rest on two displayed values, which no single interval tells.
        self.interval = self.read & (self.basis[..., 0] > 0)
        guesses = [run.guess() for run in runs]
        self.effect = np.stack([effect for effect, _ in guesses])
        self.prior_mean = np.stack([common for _, common in guesses])
        self.prior_precision = np.stack([1 / run.deviation**2 for run in runs])
        self.curved = runs[0].curved
        self._last: _Laid | None = None

    def _laid(self, nodes: Nodes) -> _Laid:
        """What was read of each node's run; nodes move many times before there are others."""
        if self._last is None or self._last.run is not nodes.run:
            run = nodes.run
            parts = (self.basis, self.low, self.high, self.width)
            basis, low, high, width = (part[run] for part in parts)
            wander = nodes.noise[:, None, None] * self.noise[run]
            boxes = (width > _BOX * wander) & self.interval[run]
            self._last = _Laid(run, basis, low, high, width, wander, np.nonzero(boxes), bool(boxes.any()))
        return self._last

    def believe(self) -> list[Belief]:
        """What is believed after all readings."""
        nodes = self._start()
        for _ in range(_FIRST):
            self._step(nodes, roughly=True)
        nodes = self._finer(nodes, self._weights(nodes, nodes.prior + self._evidence(nodes)))
        for _ in range(_SECOND):
            self._step(nodes)
        weight = self._weights(nodes, nodes.prior + self._evidence(nodes))
        most = np.zeros(len(self.runs))
        np.maximum.at(most, nodes.run, weight)
        nodes = nodes.kept(np.flatnonzero(weight > _NEGLIGIBLE * most[nodes.run]))
        active = np.arange(len(nodes.run))
        for count in range(_MOST):
            moving = nodes.kept(active) if len(active) < len(nodes.run) else nodes
            moved = self._step(moving, _PART if count < _PATIENCE else _CAREFUL)
            nodes.put(active, moving)
            active = active[moved > _SETTLED]
            if not len(active):
                break
        return self._beliefs(nodes, active[moved[moved > _SETTLED] > _SWINGING])

    def _start(self) -> Nodes:
        noise = self.priors.noises()
        run = np.repeat(np.arange(len(self.runs)), len(noise))
        noise = np.tile(noise, len(self.runs))
        variance = (noise[:, None, None] * self.noise[run]) ** 2 + self.width[run] ** 2 / 12
        precision = np.where(self.read[run], 1 / variance, 0.0)
        effect = self.effect[run]
        own = np.full(effect.shape, 1 / 0.3**2)
        return Nodes(
            run, noise, np.full(len(noise), self.priors.spread),
            np.tile([self.priors.rise, self.priors.rise_sd], (len(noise), 1)), self.priors.of_noise(noise), effect,
            self.prior_mean[run], precision, precision * self.middle[run], own, own.copy(),
        )  # fmt: skip

    def _finer(self, nodes: Nodes, weight: Array) -> Nodes:
        """Nodes around where the coarse ones put the noise, for every spread of healthy cylinders."""
        logs = np.log(nodes.noise).reshape(len(self.runs), -1)
        weight = weight.reshape(logs.shape)
        middle = (weight * logs).sum(axis=1, keepdims=True)
        deviation = np.sqrt((weight * (logs - middle) ** 2).sum(axis=1, keepdims=True))
        deviation = np.maximum(deviation, _NARROWEST)
        laid = [next(found for found in _PLACES if one < found[0]) for one in deviation[:, 0]]
        run = np.repeat(np.arange(len(laid)), [len(places) for _, _, places in laid])
        wanted = middle[run, 0] + deviation[run, 0] * np.concatenate([places for _, _, places in laid])
        spreads, spread_weight = self.priors.spreads()
        rises, rise_sds, rise_weight = self.priors.rises()
        each = len(spreads) * len(rises)
        nearest = np.abs(wanted[:, None] - logs[0]).argmin(axis=1) + len(logs[0]) * run
        found = nodes.kept(np.repeat(nearest, each))
        found.noise = np.repeat(np.exp(wanted), each)
        found.spread = np.tile(np.repeat(spreads, len(rises)), wanted.size)
        found.rise = np.tile(np.stack([rises, rise_sds], axis=1), (wanted.size * len(spreads), 1))
        # Nodes further apart stand for more of the noise's scale: only so is the evidence of two fits comparable.
        apart = np.repeat(np.log(deviation[run, 0] * np.array([stands_for for _, stands_for, _ in laid])[run]), each)
        weights = np.tile((spread_weight[:, None] + rise_weight).ravel(), wanted.size)
        found.prior = self.priors.of_noise(found.noise) + apart + weights
        return found

    def _weights(self, nodes: Nodes, logs: Array) -> Array:
        """The nodes' weights, which add up to one for each run."""
        logs = np.where(np.isfinite(logs), logs, -1e9)
        top = np.full(len(self.runs), -np.inf)
        np.maximum.at(top, nodes.run, logs)
        weight = np.exp(logs - top[nodes.run])
        normed: Array = weight / np.bincount(nodes.run, weight, len(self.runs))[nodes.run]
        return normed

    def _solve(self, nodes: Nodes) -> Solved:
        run = nodes.run
        mean, precision = self.prior_mean[run], self.prior_precision[run]
        mean[:, RISE], precision[:, RISE] = nodes.rise[:, 0], 1 / nodes.rise[:, 1] ** 2
        return Solved(
            nodes.effect, nodes.common, nodes.precision, nodes.shift, nodes.own_precision, nodes.own_shift,
            self._laid(nodes).basis, mean, precision, self.curved, self.priors.sum_sd,
        )  # fmt: skip

    def _step(self, nodes: Nodes, part: float = _PART, *, roughly: bool = False) -> Array:
        """Move the nodes to their means and renew what stands in for intervals and priors; how far each moved."""
        at = self._solve(nodes)
        nodes.effect = np.clip(nodes.effect + at.move_effect, *_EFFECTS)
        nodes.common = nodes.common + at.move_common
        nodes.common[:, RISE] = np.clip(nodes.common[:, RISE], *_RISES)
        nodes.common[:, SIZE] = np.clip(nodes.common[:, SIZE], *_SIZES)
        moved = self._renew_own(nodes, at, part)
        # Roughly, intervals stay the normal factors that they began as: enough to see how much noise there is.
        if not roughly and self._laid(nodes).rounded:
            self._renew_readings(nodes, at, part)
        return moved

    def _renew_own(self, nodes: Nodes, at: Solved, part: float) -> Array:
        mean, variance = at.of_strengths()
        cavity_p = 1 / variance - nodes.own_precision
        usable = cavity_p > 1e-6
        cavity_v = 1 / np.where(usable, cavity_p, 1.0)
        cavity_m = cavity_v * (mean / variance - nodes.own_shift)
        _, tilted_m, tilted_v = moments(self.priors, nodes.spread[:, None], cavity_m, cavity_v)
        precision = np.maximum(1 / tilted_v - 1 / cavity_v, 1e-4)
        shift = tilted_m * (precision + 1 / cavity_v) - cavity_m / cavity_v
        nodes.own_precision = np.where(usable, _part(nodes.own_precision, precision, part), nodes.own_precision)
        nodes.own_shift = np.where(usable, _part(nodes.own_shift, shift, part), nodes.own_shift)
        moved: Array = np.max(np.abs(tilted_m - mean) / np.sqrt(variance), axis=1, initial=0.0, where=usable)
        return moved

    def _renew_readings(self, nodes: Nodes, at: Solved, part: float) -> None:
        laid = self._laid(nodes)
        box = laid.places
        mean, variance = (part[box] for part in at.of_readings())
        low, high = laid.low[box], laid.high[box]
        precision, shift = nodes.precision[box], nodes.shift[box]
        cavity_p = 1 / variance - precision
        usable = cavity_p > 1e-9
        cavity_v = 1 / np.where(usable, cavity_p, 1.0)
        cavity_m = cavity_v * (mean / variance - shift)
        root = np.sqrt(cavity_v + laid.wander[box] ** 2)
        _, first, second = between((low - cavity_m) / root, (high - cavity_m) / root)
        curve = np.minimum(second, -1e-9) / root**2
        new_p = 1 / np.maximum(-1 / curve - cavity_v, 1e-12)
        tilted = cavity_m + cavity_v * first / root
        new_s = tilted * (new_p + 1 / cavity_v) - cavity_m / cavity_v
        nodes.precision[box] = np.where(usable, _part(precision, new_p, part), precision)
        nodes.shift[box] = np.where(usable, _part(shift, new_s, part), shift)

    def _held_against(self, nodes: Nodes, at: Solved) -> tuple[Array, Array, Array, Array]:
        """Each reading against all the others, shapes (G, n + 1, K).

        Returns:
            Logarithm of its probability, what it adds to the evidence, and mean and variance of what the display would
            show before rounding, by all but it.
        """
        laid = self._laid(nodes)
        mean, variance = at.of_readings()
        cavity_v = 1 / np.maximum(1 / variance - nodes.precision, 1e-9)
        cavity_m = cavity_v * (mean / variance - nodes.shift)
        spread = cavity_v + laid.wander**2
        narrow = spread + laid.width**2 / 12
        log_mass = np.log(laid.width / np.sqrt(narrow)) - LOG_ROOT_TWO_PI
        log_mass = log_mass - 0.5 * (self.middle[nodes.run] - cavity_m) ** 2 / narrow
        if laid.rounded:
            box = laid.places
            root = np.sqrt(spread[box])
            log_mass[box], _, _ = between(*((side[box] - cavity_m[box]) / root for side in (laid.low, laid.high)))
        gain = np.where(self.read[nodes.run], log_mass - _stand_in(mean, variance, cavity_m, cavity_v), 0.0)
        return log_mass, gain, cavity_m, spread

    def _evidence(self, nodes: Nodes) -> Array:
        """Logarithm of the probability of the readings, shape (G,) (Rasmussen and Williams 2006, 3.65)."""
        at = self._solve(nodes)
        return self._evidence_at(nodes, at, self._held_against(nodes, at)[1])

    def _evidence_at(self, nodes: Nodes, at: Solved, gain: Array) -> Array:
        total = at.gaussian() + gain.sum(axis=(1, 2))
        cavity_m, cavity_v, mean, variance = _cavities(nodes, at)
        log_mass, _, _ = moments(self.priors, nodes.spread[:, None], cavity_m, cavity_v)
        total = total + (log_mass - _stand_in(mean, variance, cavity_m, cavity_v)).sum(axis=1)
        # Readings are displayed numbers, so no evidence is above one: what is comes of nodes that have not settled.
        lost = ~(total < _MOST_EVIDENCE) | (np.abs(at.move_effect).max(axis=1) > _STILL)
        evidence: Array = np.where(lost, _LOST, total)
        return evidence

    def _beliefs(self, nodes: Nodes, swinging: npt.NDArray[np.intp]) -> list[Belief]:
        """What is believed of each run; nodes that still swing count only where a run has no others."""
        at = self._solve(nodes)
        log_mass, gain, shown, shown_v = self._held_against(nodes, at)
        logs = nodes.prior + self._evidence_at(nodes, at, gain)
        logs[swinging] = nodes.prior[swinging] + _LOST
        weight = self._weights(nodes, logs)
        cavity_m, cavity_v, _, _ = _cavities(nodes, at)
        share, covariance = at.shares()
        common, common_u = at.of_common()
        level, level_u = common[:, :LEVELS], common_u[:, :LEVELS]
        found = []
        for place in range(len(self.runs)):
            mine = nodes.run == place
            top = logs[mine].max()
            own = mine & (weight > _UNHEARD * weight[mine].max())
            own_weight = weight[own] / weight[own].sum()
            found.append(
                Belief(
                    weight=own_weight,
                    noise=nodes.noise[own],
                    spread=nodes.spread[own],
                    share=share[own],
                    strength=cavity_m[own],
                    strength_u=np.sqrt(cavity_v[own]),
                    covariance=covariance[own],
                    rise=common[own, RISE],
                    rise_u=common_u[own, RISE],
                    proportional=nodes.rise[own, 1] == self.priors.proportional_sd,
                    level=level[own],
                    level_u=level_u[own],
                    shown=shown[own],
                    shown_u=np.sqrt(shown_v[own]),
                    read_log=-_log_mean(own_weight, -log_mass[own]),
                    evidence=float(top + np.log(np.exp(logs[mine] - top).sum())),
                )
            )
        return found


def _cavities(nodes: Nodes, at: Solved) -> tuple[Array, Array, Array, Array]:
    """Mean and variance of each strength by all but its own prior, then by all, shapes (G, n)."""
    mean, variance = at.of_strengths()
    cavity_v = 1 / np.maximum(1 / variance - nodes.own_precision, 1e-6)
    return cavity_v * (mean / variance - nodes.own_shift), cavity_v, mean, variance


def _stand_in(mean: Array, variance: Array, cavity_m: Array, cavity_v: Array) -> Array:
    """Logarithm of the integral of a cavity times what stands in for its site."""
    return 0.5 * (np.log(variance / cavity_v) + mean**2 / variance - cavity_m**2 / cavity_v)


def _log_mean(weight: Array, logs: Array) -> Array:
    """Logarithm of the weighted mean, over nodes, of what logarithms (G, ...) are given of."""
    top = logs.max(axis=0)
    mean: Array = top + np.log(np.maximum(np.tensordot(weight, np.exp(logs - top), axes=1), 1e-300))
    return mean


def _part(old: Array, new: Array, part: float) -> Array:
    return old + part * (new - old)


def _padded(part: Array, slots: int, fill: float) -> Array:
    """The readings of a run with as many places for each cylinder as the run with the most has."""
    lacking = slots - part.shape[1]
    if not lacking:
        return part
    return np.concatenate([part, np.full((part.shape[0], lacking, *part.shape[2:]), fill)], axis=1)
