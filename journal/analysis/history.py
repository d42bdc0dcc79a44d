"""The shop's own closed jobs, in; base rates that have learnt from them, out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from journal.facts import Injection


@dataclass(frozen=True)
class ClosedJob:
    """What a closed job teaches."""

    injection: Injection
    """Injection type of its engine."""
    cause: str
    """Key of the cause found; `unknown` teaches nothing."""
    checks: tuple[tuple[str, str], ...] = ()
    """Checks made on the cylinder found at fault and on the engine, with their outcomes as `checks.toml` names them."""


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
