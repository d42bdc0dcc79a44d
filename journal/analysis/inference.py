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

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from journal.analysis.causes_tables import CheckRow, Tables, Vector
from journal.facts import Arrangement, Engine


@dataclass(frozen=True)
class Shared:
    """A fault that a group of cylinders may have in common."""

    cause: str
    """Key of the cause."""
    cylinders: tuple[int, ...]
    """All cylinders it would reach."""
    rate: float
    """Chance of it on an engine that is brought in."""
    words: str
    """What they share, in words."""


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
class Model:
    """What is possible on this engine before any result: states, worlds and their weights."""

    tables: Tables
    """Where the chances come from."""
    low: tuple[int, ...]
    """The low cylinders."""
    states: tuple[str, ...]
    """States of a Z: own causes, then engine-wide causes."""
    worlds: tuple[tuple[str | None, Shared | None], ...]
    """Every pair of W and S."""
    world_prior: Vector
    """Weight of each world, shape (worlds,)."""
    cylinder_prior: Vector
    """Weight of each state of each cylinder in each world, shape (worlds, cylinders, states)."""
    covered: Vector
    """1 where S covers the cylinder, shape (worlds, cylinders)."""
    alone: Vector
    """1 for states that act on the cylinder by themselves (its own causes), shape (states,)."""
    rows: dict[str, Vector] = field(default_factory=dict, compare=False)
    """Chances of outcomes by check, shape (states, outcomes), filled as used."""

    def row(self, check: CheckRow) -> Vector:
        """Chance of each outcome in each state, shape (states, outcomes)."""
        if check.key not in self.rows:
            self.rows[check.key] = np.stack([check.given(state) for state in self.states])
        return self.rows[check.key]


@dataclass(frozen=True)
class Posterior:
    """What is believed after some results; a signed mixture of products, from which any marginal is exact."""

    model: Model
    """The model it belongs to."""
    weight: Vector
    """Signed weight of each term in each world, shape (terms, worlds); adds up to one."""
    state: Vector
    """Chance of each state of each cylinder in each, shape (terms, worlds, cylinders, states)."""

    @property
    def cylinders(self) -> Vector:
        """Chance of each state of each low cylinder, shape (cylinders, states)."""
        chances: Vector = np.clip(np.einsum("rt,rtns->ns", self.weight, self.state), 0.0, 1.0)
        return chances

    @property
    def worlds(self) -> Vector:
        """Chance of each world, shape (worlds,)."""
        chances: Vector = np.clip(self.weight.sum(axis=0), 0.0, 1.0)
        return chances

    def engine(self) -> dict[str, float]:
        """Chance of each engine-wide cause, by key."""
        chances = self.worlds
        found = dict.fromkeys(self.model.tables.engine_causes, 0.0)
        for (wide, _), chance in zip(self.model.worlds, chances, strict=True):
            if wide is not None:
                found[wide] += float(chance)
        return found

    def shared(self) -> dict[Shared, float]:
        """Chance of each shared fault."""
        found: dict[Shared, float] = {}
        for (_, shared), chance in zip(self.model.worlds, self.worlds, strict=True):
            if shared is not None:
                found[shared] = found.get(shared, 0.0) + float(chance)
        return found


def shared_faults(tables: Tables, engine: Engine, low: Sequence[int]) -> tuple[Shared, ...]:
    """Faults that at least two of the low cylinders could have in common on this engine."""
    possible = tables.base_rates[engine.injection]
    return tuple(
        Shared(row.cause, group, row.rate, row.words)
        for row in tables.shared
        if possible[row.cause] > 0
        for group in _groups(engine, row.group)
        if len(set(group) & set(low)) >= 2
    )


def _groups(engine: Engine, kind: str) -> tuple[tuple[int, ...], ...]:
    if kind == "drivers":
        return engine.drivers
    if kind == "branches":
        return engine.branches
    if engine.arrangement is Arrangement.VEE:
        return tuple(pair for bank in engine.banks for pair in pairwise(bank))
    return tuple(pairwise(engine.numbers))


def build_model(
    tables: Tables,
    engine: Engine,
    low: Sequence[int],
    tested: Sequence[int],
    base_rates: Mapping[str, float] | None = None,
    engine_rates: Mapping[str, float] | None = None,
) -> Model:
    """What is possible on this engine: `low` cylinders to explain, `tested` ones that are known not to be low.

    Base rates (weights of a cylinder's causes) and engine rates (chances) are the tables' unless given.
    """
    weights = base_rates or tables.base_rates[engine.injection]
    wide_rates = engine_rates or tables.engine_rates[engine.injection]
    own = [key for key in tables.cylinder_causes if weights[key] > 0]
    states = (*own, *tables.engine_causes)
    own_prior = np.array([weights[key] for key in own], dtype=np.float64)
    own_prior *= tables.model["fault_rate"] / own_prior.sum()
    shared: list[Shared | None] = [None, *shared_faults(tables, engine, low)]
    wides: list[str | None] = [None, *(key for key in tables.engine_causes if wide_rates[key] > 0)]
    worlds = tuple((wide, group) for wide in wides for group in shared)
    no_wide = 1 - sum(wide_rates.values())
    if not low:
        no_wide *= tables.model["unexplained"]
    no_shared = 1 - sum(group.rate for group in shared if group)
    world_prior = np.empty(len(worlds))
    prior = np.zeros((len(worlds), len(low), len(states)))
    covered = np.zeros((len(worlds), len(low)))
    for t, (wide, group) in enumerate(worlds):
        reach = tables.causes[wide].reach if wide else 0.0
        even = [c for c in tested if c not in low]
        missed = sum(1 for c in even if group and c in group.cylinders)
        world_prior[t] = (wide_rates[wide] if wide else no_wide) * (group.rate if group else no_shared)
        world_prior[t] *= (1 - reach) ** len(even) * (1 - tables.model["shared_reach"]) ** missed
        for n, cylinder in enumerate(low):
            if group and cylinder in group.cylinders:
                covered[t, n] = 1.0
                prior[t, n, states.index(group.cause)] = tables.model["shared_reach"]
            else:
                prior[t, n, : len(own)] = own_prior
                if wide:
                    prior[t, n, states.index(wide)] = reach
    alone = np.array([1.0 if key in own else 0.0 for key in states])
    return Model(tables, tuple(low), states, worlds, world_prior, prior, covered, alone)


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
        parts = [(1.0, *self._at_most(check, highest))]
        if lowest > 0:
            parts.append((-1.0, *self._at_most(check, lowest - 1)))
        self.sign = np.concatenate([self.sign * sign for sign, _, _ in parts])
        self.by_state = np.concatenate([self.by_state * by_state for _, by_state, _ in parts])
        self.by_world = np.concatenate([self.by_world * by_world for _, _, by_world in parts])

    def _at_most(self, check: CheckRow, outcome: int) -> tuple[Vector, Vector]:
        """Factors of P(shown <= outcome): one for each state of a cylinder, one for each world."""

        def factor(cause: str | None) -> float:
            row = check.likelihood.get(cause) if cause else None
            return 1.0 if row is None else float(row[: outcome + 1].sum())

        chance = factor("otherwise")
        by_world = [
            chance * factor(wide) * factor(shared.cause if shared else None) for wide, shared in self.model.worlds
        ]
        by_state = [
            factor(state) if alone else 1.0 for state, alone in zip(self.model.states, self.model.alone, strict=True)
        ]
        return np.array(by_state), np.array(by_world)


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
    model = posterior.model
    if cylinder is not None:
        which = model.low.index(cylinder)
        row = model.row(check)
        shown = np.einsum("rts,so->rto", posterior.state[:, :, which], row)
        joint = np.einsum("rt,rto,rtns->ons", posterior.weight, shown, posterior.state)
        joint[:, which] = posterior.cylinders[which][None, :] * row.T
    else:
        at_most = [_engine_joint(posterior, check, outcome) for outcome in range(len(check.outcomes))]
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
    found: Vector = np.einsum("rt,rtns->ns", weight, joint / np.where(mass > 0, mass, 1.0)[..., None])
    return found
