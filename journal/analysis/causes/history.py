"""The shop's own closed jobs, in; base rates that have learnt from them, out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from journal.analysis.between.swaps import Went, swaps_of
from journal.analysis.causes.evidence import outcomes_of
from journal.analysis.causes.tables import CheckRow, Tables, tables
from journal.facts import MEASURED, Injection
from journal.record.job import Job


@dataclass(frozen=True)
class ClosedJob:
    """What a closed job teaches."""

    injection: Injection
    """Injection type of its engine."""
    cause: str
    """Key of the cause found; `unknown` teaches nothing."""
    checks: tuple[tuple[str, str], ...] = ()
    """Checks made on the cylinder found at fault and on the engine, with their outcomes as `checks.toml` names them."""


def closed_job(job: Job) -> ClosedJob | None:
    """What a job teaches: its confirmed cause with the results of its checks; none while it is open.

    Of several results of one check the last before the repair counts, as in the ranking; a bare number and a result
    that may have been one of several outcomes teach nothing.
    """
    if job.closed is None:
        return None
    found, rows = job.closed.body, tables().checks
    places = {
        found.cylinder,
        *(
            miss
            for swap in swaps_of(job, ())
            if swap.went is Went.MOVED
            for miss in swap.pair
            if found.cylinder in swap.pair
        ),
    }
    repaired = min((repair.entry.at_utc for repair in job.repairs), default=None)
    checks: dict[str, str] = {}
    for fact in job.checks:
        check, row = fact.body, rows[fact.body.subject]
        elsewhere = row.of_cylinder and check.cylinder is not None and check.cylinder not in places
        if elsewhere or check.outcome == MEASURED or (repaired is not None and fact.entry.at_utc > repaired):
            continue
        outcomes = outcomes_of(row, check)
        if len(outcomes) == 1:
            checks[row.key] = row.outcomes[outcomes[0]]
    return ClosedJob(job.engine.injection, found.cause, tuple(checks.items()))


@dataclass(frozen=True)
class History:
    """How often each cause was confirmed, and what its checks had shown."""

    causes: Mapping[tuple[Injection, str], int] = field(default_factory=dict)
    """Closed jobs by injection type and cause."""
    outcomes: Mapping[tuple[str, str, str], int] = field(default_factory=dict)
    """Results by check, outcome and cause found."""

    @property
    def jobs(self) -> int:
        """How many closed jobs it holds."""
        return sum(self.causes.values())


def learn(jobs: Iterable[ClosedJob]) -> History:
    """The history that these closed jobs make."""
    causes: dict[tuple[Injection, str], int] = {}
    outcomes: dict[tuple[str, str, str], int] = {}
    for job in jobs:
        if job.cause == "unknown":
            continue
        causes[job.injection, job.cause] = causes.get((job.injection, job.cause), 0) + 1
        for check, outcome in job.checks:
            key = (check, outcome, job.cause)
            outcomes[key] = outcomes.get(key, 0) + 1
    return History(causes, outcomes)


def with_history(tables: Tables, history: History) -> Tables:
    """The tables with base rates, and rows of likelihoods that have enough confirmed results, updated."""
    weight = tables.model["history_weight"]
    rates = {
        injection.value: updated_rates(tables.base_rates[injection], history, injection, weight)
        for injection in Injection
    }
    checks = {key: _updated_check(tables, row, history) for key, row in tables.checks.items()}
    return replace(tables, base_rates=rates, checks=checks)


def _updated_check(tables: Tables, row: CheckRow, history: History) -> CheckRow:
    """Each cause's row as the mean of its Dirichlet posterior, where at least `likelihood_least` results are known."""
    weight, least = tables.model["likelihood_weight"], tables.model["likelihood_least"]
    changed = {}
    for cause in tables.causes:
        counts = np.array([history.outcomes.get((row.key, outcome, cause), 0) for outcome in row.outcomes], float)
        if counts.sum() >= least:
            changed[cause] = (weight * row.given(cause) + counts) / (weight + counts.sum())
    return replace(row, likelihood={**row.likelihood, **changed}) if changed else row


def updated_rates(
    rates: Mapping[str, float], history: History, injection: Injection, weight: float
) -> dict[str, float]:
    """Base rates after the shop's own jobs: the mean of the Dirichlet posterior.

    `rates` are weights of causes, worth `weight` confirmed jobs together; the result adds up to one (Gelman et al.,
    Bayesian Data Analysis, section 3.4, conjugate Dirichlet prior). A cause the tables rule out (0) stays ruled out.
    """
    total = sum(rates.values())
    counts = {key: history.causes.get((injection, key), 0) if rate > 0 else 0 for key, rate in rates.items()}
    seen = sum(counts.values())
    return {key: (weight * rate / total + counts[key]) / (weight + seen) for key, rate in rates.items()}
