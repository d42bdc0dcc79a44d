"""Jobs arranged for tests: pulls of cylinders and checks in short words in, a replayed job out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from journal.facts import (
    LEAK_PLACES,
    OUTCOMES,
    PARTS,
    Arrangement,
    Baseline,
    Body,
    Check,
    Cut,
    Engine,
    Entry,
    Injection,
    JobOpened,
    PressureLevel,
    RunEnded,
    RunKind,
    RunStarted,
    Subject,
    TroubleCode,
    new_id,
)
from journal.record.job import Job
from journal.record.replay import replay

START = datetime(2026, 11, 24, 9, 0, tzinfo=UTC)

ENGINES = {
    "six": Engine(6, (1, 5, 3, 6, 2, 4), injection=Injection.HYDRAULIC),
    "common rail six": Engine(6, (1, 5, 3, 6, 2, 4), injection=Injection.COMMON_RAIL),
    "unit injector six": Engine(6, (1, 5, 3, 6, 2, 4), injection=Injection.UNIT_INJECTOR),
    "unit pump six": Engine(6, (1, 5, 3, 6, 2, 4), injection=Injection.UNIT_PUMP),
    "mechanical six": Engine(6, (1, 5, 3, 6, 2, 4), injection=Injection.MECHANICAL),
    "vee-eight": Engine(
        8,
        (1, 8, 4, 3, 6, 5, 7, 2),
        Arrangement.VEE,
        Injection.COMMON_RAIL,
        banks=((1, 3, 5, 7), (2, 4, 6, 8)),
        drivers=((1, 4), (6, 7), (2, 3), (5, 8)),
        branches=((1, 3, 5, 7), (2, 4, 6, 8)),
    ),
    "vee-sixteen": Engine(
        16,
        arrangement=Arrangement.VEE,
        injection=Injection.UNIT_PUMP,
        banks=(tuple(range(1, 9)), tuple(range(9, 17))),
        drivers=tuple((n, n + 8) for n in range(1, 9)),
        branches=(tuple(range(1, 9)), tuple(range(9, 17))),
    ),
}
"""Layouts of our own for scenarios."""


def job_of(bodies: Iterable[Body], engine: Engine, complaint: str = "misses") -> Job:
    """A job whose entries were made seven seconds apart."""
    job = new_id(START)
    every = [JobOpened("test bench", engine, complaint), *bodies]
    times = [START + timedelta(seconds=7 * n) for n in range(len(every))]
    return replay([Entry(new_id(at), job, at, body, 0, "A. Tester") for at, body in zip(times, every, strict=True)])


def run_of(
    engine: Engine,
    pulls: Sequence[float],
    *,
    kind: str = "idle",
    out: Sequence[int] = (),
    pressure: str | None = None,
    after_repair: bool = False,
    baseline: float = 30.0,
) -> list[Body]:
    """A run whose live cylinders pull in these proportions: c = b / (1 - share), shown to 0.1."""
    live = [cylinder for cylinder in engine.numbers if cylinder not in out]
    total = sum(pulls)
    cuts = [Cut(c, round(baseline / (1 - pull / total), 1)) for c, pull in zip(live, pulls, strict=True)]
    start = RunStarted(
        RunKind.HALF_ENGINE if kind == "half" else RunKind.IDLE,
        held_out=tuple(out),
        pressure=PressureLevel(pressure) if pressure else None,
        after_repair=after_repair,
    )
    return [start, Baseline(baseline), *cuts, Baseline(baseline), RunEnded()]


def check_of(words: str) -> Check | TroubleCode:
    """A check in short words: subject, outcome, then cylinder, part or place; or `code SPN FMI`."""
    if words.startswith("code "):
        _, spn, fmi = words.split()
        return TroubleCode(int(spn), int(fmi))
    subject = max((s for s in Subject if words.startswith(s.value)), key=len)
    rest = words.removeprefix(subject.value).strip()
    outcome = max((o for o in (*OUTCOMES[subject], "measured") if rest.startswith(o)), key=len)
    rest = rest.removeprefix(outcome).strip()
    extra: dict[str, Any] = {}
    number, _, detail = rest.partition(" ")
    if number.isdigit():
        extra["cylinder"] = int(number)
        rest = detail
    if rest in PARTS:
        extra["part"] = rest
    elif rest in LEAK_PLACES:
        extra["place"] = rest
    elif rest:
        value, unit = rest.split()
        extra |= {"value": float(value), "unit": unit}
    return Check(subject, outcome, **extra)


def scenario_job(scenario: dict[str, Any]) -> Job:
    """The job of one row of `scenarios.toml`."""
    engine = ENGINES[scenario.get("engine", "six")]
    bodies: list[Body] = []
    for run in scenario["runs"]:
        bodies += run_of(engine, **run)
    bodies += [check_of(words) for words in scenario.get("checks", ())]
    return job_of(bodies, engine, scenario.get("complaint", "misses"))
