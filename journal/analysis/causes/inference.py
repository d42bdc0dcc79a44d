"""Evidence in, exact posterior out: what makes each low cylinder low, jointly with what they may have in common.

The model, as a Bayesian network (Pearl, Probabilistic Reasoning in Intelligent Systems, 1988):

- W, one engine-wide cause or none; S, one fault that a group of cylinders shares or none; Z_i, for each low cylinder,
  its cause: one of its own, the shared one where S covers it, or W.
- A cylinder is low because of its own fault (chance `fault_rate`, split by base rates), because S covers it, or because
  W reaches it (chance `reach`). Cylinders that were tested and are not low speak against W and S that would reach them.
- A result that belongs to a cylinder depends on its Z_i alone. A result that belongs to the whole engine is the most
  striking of what each present cause, and chance, would show: a noisy-MAX (Diez, UAI 1993), so
  P(shown <= o) is a product over causes, and P(shown = o) a difference of two products.

Given W and S the cylinders are independent, so the sum over all joint states factorises; each engine-wide result that
is not the least striking one doubles the number of products (inclusion and exclusion). Nothing is approximated.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import numpy as np

from journal.analysis.causes.model import Model, Shared
from journal.analysis.causes.tables import CheckRow, Vector

ALIKE = 9
"""Decimals to which chances, and what is made of them, are put in order: those behind differ between processors."""


@dataclass(frozen=True)
class Observation:
    """One result that enters inference."""

    check: str
    """Key of a `CheckRow`."""
    outcomes: tuple[int, ...]
    """Which outcomes it may have been: one, or a run of neighbouring ones where it was told coarsely."""
    cylinder: int | None
    """The low cylinder it belongs to; none for the whole engine."""


@dataclass(frozen=True)
class Posterior:
    """What is believed after some results; a signed mixture of products, from which any marginal is exact."""

    model: Model
    """The model it belongs to."""
    weight: Vector
    """Signed weight of each term in each world, shape (terms, worlds); adds up to one."""
    state: Vector
    """Chance of each state of each cylinder in each, shape (terms, worlds, cylinders, states)."""
    predicted: dict[tuple[str, int | None], tuple[Vector, Vector]] = field(
        default_factory=dict, compare=False, repr=False
    )
    """What checks not yet made would show, by check and place, filled as asked."""

    @cached_property
    def cylinders(self) -> Vector:
        """Chance of each state of each low cylinder, shape (cylinders, states)."""
        chances: Vector = np.clip(_mixed(self.weight, self.state), 0.0, 1.0)
        return chances

    @cached_property
    def worlds(self) -> Vector:
        """Chance of each world, shape (worlds,)."""
        chances: Vector = np.clip(self.weight.sum(axis=0), 0.0, 1.0)
        return chances

    @cached_property
    def engine(self) -> dict[str, float]:
        """Chance of each engine-wide cause, by key."""
        chances = self.worlds
        found = dict.fromkeys(self.model.tables.engine_causes, 0.0)
        for (wide, _), chance in zip(self.model.worlds, chances, strict=True):
            if wide is not None:
                found[wide] += float(chance)
        return found

    @cached_property
    def shared(self) -> dict[Shared, float]:
        """Chance of each shared fault."""
        found: dict[Shared, float] = {}
        for (_, shared), chance in zip(self.model.worlds, self.worlds, strict=True):
            if shared is not None:
                found[shared] = found.get(shared, 0.0) + float(chance)
        return found


def infer(model: Model, observations: Sequence[Observation]) -> Posterior:
    """The exact posterior after these results, each check at most once for each cylinder (or the engine)."""
    evidence = np.ones((len(model.low), len(model.states)))
    terms = _Terms(model)
    for seen in observations:
        check = model.tables.checks[seen.check]
        if seen.cylinder is None:
            terms.multiply(check, seen.outcomes)
        else:
            evidence[model.low.index(seen.cylinder)] *= model.row(check)[:, list(seen.outcomes)].sum(axis=1)
    return _solve(model, evidence, terms)


class _Terms:
    """The signed products that engine-wide results expand to: sign (terms,), factors of states, of W and of S."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.sign = np.ones(1)
        self.by_state = np.ones((1, len(model.states)))
        self.by_world = np.ones((1, len(model.worlds)))

    def multiply(self, check: CheckRow, outcomes: Sequence[int]) -> None:
        """Take in that the engine-wide result is one of these neighbouring outcomes."""
        highest, lowest = max(outcomes), min(outcomes)
        by_state, by_world = self.model.at_most(check, highest)
        if lowest == 0:
            self._times(by_state, by_world)
            return
        below_state, below_world = self.model.at_most(check, lowest - 1)
        if (by_state == below_state).all():
            # No cylinder's cause shows here: the difference is one product, and nothing need be doubled.
            self._times(by_state, by_world - below_world)
            return
        self.sign = np.concatenate([self.sign, -self.sign])
        self.by_world = np.concatenate([self.by_world * by_world, self.by_world * below_world])
        self.by_state = np.concatenate([self.by_state * by_state, self.by_state * below_state])

    def _times(self, by_state: Vector, by_world: Vector) -> None:
        self.by_state = self.by_state * by_state
        self.by_world = self.by_world * by_world


def _solve(model: Model, evidence: Vector, terms: _Terms) -> Posterior:
    top = evidence.max(axis=1, keepdims=True, initial=1e-300)
    covered = model.covered[None, :, :, None]
    factor = covered + (1 - covered) * terms.by_state[:, None, None, :]
    joint = model.cylinder_prior[None] * (evidence / top)[None, None] * factor
    mass = joint.sum(axis=3)
    weight = terms.sign[:, None] * terms.by_world * model.world_prior[None] * mass.prod(axis=2)
    weight /= weight.sum()
    state = joint / np.where(mass > 0, mass, 1.0)[..., None]
    return Posterior(model, weight, state)


def predict(posterior: Posterior, check: CheckRow, cylinder: int | None) -> tuple[Vector, Vector]:
    """What a check not yet made would show, and what would then be believed.

    Returns the chance of each outcome, shape (outcomes,), and the chance of each state of each low cylinder given
    each, shape (outcomes, cylinders, states).
    """
    key = (check.key, cylinder)
    if key not in posterior.predicted:
        posterior.predicted[key] = _predict(posterior, check, cylinder)
    return posterior.predicted[key]


def _predict(posterior: Posterior, check: CheckRow, cylinder: int | None) -> tuple[Vector, Vector]:
    model = posterior.model
    if cylinder is not None:
        which = model.low.index(cylinder)
        row = model.row(check)
        shown = posterior.weight[..., None] * (posterior.state[:, :, which] @ row)
        terms, worlds, outcomes = shown.shape
        joint = shown.reshape(terms * worlds, outcomes).T @ posterior.state.reshape(terms * worlds, -1)
        joint = joint.reshape(outcomes, *posterior.state.shape[2:])
        joint[:, which] = posterior.cylinders[which][None, :] * row.T
    else:
        # That it is at most the last outcome is certain and says nothing.
        at_most = [_engine_joint(posterior, check, outcome) for outcome in range(len(check.outcomes) - 1)]
        at_most.append(posterior.cylinders)
        joint = np.stack([at_most[0], *(after - before for before, after in pairwise(at_most))])
    joint = np.clip(joint, 0.0, None)
    if not model.low:
        return np.zeros(len(check.outcomes)), joint
    chance = joint[:, 0].sum(axis=1)
    return chance, joint / np.where(chance > 0, chance, 1.0)[:, None, None]


def predict_worlds(posterior: Posterior, check: CheckRow) -> tuple[Vector, Vector]:
    """What an engine-wide check not yet made would show where no cylinder is low, and what would then be believed.

    Returns the chance of each outcome, shape (outcomes,), and that of each world given each, shape (outcomes, worlds).
    """
    at_most = []
    for outcome in range(len(check.outcomes)):
        terms = _Terms(posterior.model)
        terms.multiply(check, range(outcome + 1))
        at_most.append((posterior.weight * terms.by_world).sum(axis=0))
    joint = np.clip(np.stack([at_most[0], *(after - before for before, after in pairwise(at_most))]), 0.0, None)
    chance = joint.sum(axis=1)
    return chance, joint / np.where(chance > 0, chance, 1.0)[:, None]


def _engine_joint(posterior: Posterior, check: CheckRow, outcome: int) -> Vector:
    """P(shown <= outcome, Z_n = s), shape (cylinders, states)."""
    model = posterior.model
    terms = _Terms(model)
    terms.multiply(check, range(outcome + 1))
    covered = model.covered[None, :, :, None]
    factor = covered + (1 - covered) * terms.by_state[0][None, None, None, :]
    joint = posterior.state * factor
    mass = joint.sum(axis=3)
    weight = posterior.weight * terms.by_world * mass.prod(axis=2)
    return _mixed(weight, joint / np.where(mass > 0, mass, 1.0)[..., None])


def _mixed(weight: Vector, state: Vector) -> Vector:
    """The mixture (cylinders, states) of states (terms, worlds, cylinders, states) by weight (terms, worlds)."""
    mixture: Vector = (weight.ravel() @ state.reshape(weight.size, -1)).reshape(state.shape[2:])
    return mixture
