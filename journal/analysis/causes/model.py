"""An engine and its low cylinders in; what can be wrong with them, jointly, before any result, out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from journal.analysis.causes.tables import CheckRow, Tables, Vector
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
    alone: tuple[bool, ...]
    """Which states act on the cylinder by themselves (its own causes)."""
    rows: dict[str, Vector] = field(default_factory=dict)
    """Chances of outcomes by check, shape (states, outcomes), filled as used."""
    up_to: dict[tuple[str, int], tuple[Vector, Vector]] = field(default_factory=dict)
    """Factors of `at_most` by check and outcome, filled as used."""

    def row(self, check: CheckRow) -> Vector:
        """Chance of each outcome in each state, shape (states, outcomes)."""
        if check.key not in self.rows:
            self.rows[check.key] = np.stack([check.given(state) for state in self.states])
        return self.rows[check.key]

    def at_most(self, check: CheckRow, outcome: int) -> tuple[Vector, Vector]:
        """Factors of P(shown <= outcome) of an engine-wide check: for each state of a cylinder, and for each world."""
        key = (check.key, outcome)
        if key not in self.up_to:
            total = {cause: float(row[: outcome + 1].sum()) for cause, row in check.likelihood.items()}
            by_state = [total.get(s, 1.0) if own else 1.0 for s, own in zip(self.states, self.alone, strict=True)]
            by_world = [
                total["otherwise"] * total.get(wide or "", 1.0) * (total.get(shared.cause, 1.0) if shared else 1.0)
                for wide, shared in self.worlds
            ]
            self.up_to[key] = (np.array(by_state), np.array(by_world))
        return self.up_to[key]


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
    alone = tuple(key in own for key in states)
    return Model(tables, tuple(low), states, worlds, world_prior, prior, covered, alone)
