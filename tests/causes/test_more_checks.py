"""Return flow, relative compression, the circuits in turn and the desired pressure: said, weighed and proposed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from journal.analysis import Findings, diagnose
from journal.analysis.order.gate import fits
from journal.facts import Body, Check, Engine, Injection, Subject
from journal.wording import Context, decide_text, read_back
from tests.causes.arrange import ENGINES, check_of, job_of, run_of

RAIL = ENGINES["common rail six"]
WEAK, DEAD = (1, 1, 0.5, 1, 1, 1), (1, 1, 0, 1, 1, 1)
LOW_AT_LOW = [
    *run_of(RAIL, (0.3, 1, 0.4, 0.3, 1, 0.4), pressure="low"),
    *run_of(RAIL, (1, 1, 1, 1, 1, 1), pressure="high"),
]


def chances(findings: Findings) -> dict[str, float]:
    return {cause.key: cause.probability for cause in findings.cylinders[0].causes}


@pytest.mark.parametrize(
    ("said", "subject", "outcome", "cylinder"),
    [
        ("injector return flow high cylinder three", Subject.RETURN_FLOW, "high", 3),
        ("cylinder three injector return in limits", Subject.RETURN_FLOW, "in limits", 3),
        ("relative compression low on cylinder three", Subject.RELATIVE_COMPRESSION, "low", 3),
        ("cylinder three relative compression even", Subject.RELATIVE_COMPRESSION, "even", 3),
        ("injector circuit test failed cylinder three", Subject.CIRCUIT_TEST, "failed", 3),
        ("injection pressure below desired", Subject.PRESSURE_HELD, "low", None),
        ("actual injection pressure as desired", Subject.PRESSURE_HELD, "held", None),
    ],
)
def test_they_are_entered_as_they_are_said(said: str, subject: Subject, outcome: str, cylinder: int | None) -> None:
    (decision,) = decide_text(said, Context(engine=RAIL))
    assert decision.meaning == Check(subject, outcome, cylinder)
    assert outcome in read_back(decision.meaning)


@pytest.mark.parametrize(
    ("check", "pulls", "up", "down"),
    [
        ("injector return flow high 3", WEAK, {"injector"}, {"wiring", "valve-train"}),
        ("relative compression low 3", WEAK, {"rings", "valve-seal", "head-gasket"}, {"injector", "wiring"}),
        ("relative compression even 3", WEAK, {"injector", "wiring"}, {"rings", "valve-seal", "head-gasket"}),
        ("injector circuit test failed 3", DEAD, {"wiring", "solenoid", "driver"}, {"injector", "rings"}),
        ("injector circuit test passed 3", DEAD, {"injector", "rings"}, {"wiring", "solenoid", "driver"}),
    ],
)
def test_each_moves_the_causes_it_tells_of(check: str, pulls: tuple[float, ...], up: set[str], down: set[str]) -> None:
    before = chances(diagnose(job_of(run_of(RAIL, pulls), RAIL)))
    after = chances(diagnose(job_of([*run_of(RAIL, pulls), check_of(check)], RAIL)))
    assert {key for key in up if after[key] > 1.05 * before[key]} == up
    assert {key for key in down if after[key] < before[key] / 1.05} == down


def test_a_pressure_below_the_desired_one_speaks_for_its_circuit() -> None:
    engine = {c.key: c.probability for c in diagnose(job_of(LOW_AT_LOW, RAIL)).engine_causes}
    low = diagnose(job_of([*LOW_AT_LOW, check_of("pressure as desired low")], RAIL)).engine_causes
    held = diagnose(job_of([*LOW_AT_LOW, check_of("pressure as desired held")], RAIL)).engine_causes
    assert low[0].key == "injection-pressure" and low[0].probability > engine["injection-pressure"]
    assert {c.key: c.probability for c in held}["injection-pressure"] < 0.6 * engine["injection-pressure"]


def test_they_are_proposed_only_where_the_engine_has_what_they_test() -> None:
    def fitting(injection: Injection) -> set[str]:
        new = ("injector return flow", "relative compression", "injector circuit test", "pressure as desired")
        return {check for check in new if fits(check, Engine(6, injection=injection))}

    every = {"injector return flow", "relative compression", "injector circuit test", "pressure as desired"}
    assert fitting(Injection.COMMON_RAIL) == every
    assert fitting(Injection.HYDRAULIC) == every - {"injector return flow"}
    assert fitting(Injection.UNIT_INJECTOR) == {"relative compression", "injector circuit test"}
    assert fitting(Injection.MECHANICAL) == {"relative compression"}


def proposed(*checks: str, runs: Sequence[Body] = (), engine: Engine = RAIL) -> list[str]:
    findings = diagnose(job_of([*(runs or run_of(engine, DEAD)), *map(check_of, checks)], engine))
    first = [findings.next_check] if findings.next_check else []
    return [check.subject for check in (*first, *findings.runners_up)]


def test_each_is_proposed_where_it_tells_most() -> None:
    assert "injector circuit test" in proposed("blow-by light")
    assert "relative compression" in proposed("blow-by light", "injector circuit test passed 3", "wiring sound 3")
    assert proposed("oil sound", "fuel supply in limits", runs=LOW_AT_LOW)[0] == "pressure as desired"
    clean = [
        "blow-by light", "relative compression even 3", "injector circuit test passed 3", "smoke none",
        "oil sound", "overhead sound 3", "wiring sound 3", "connector sound 3",
        "air test holds 3", "fuel supply in limits", "port temperature cold 3", "pressure as desired held",
        "driver signal present 3", "injector resistance in limits 3", "lash in limits 3",
    ]  # fmt: skip
    weak = run_of(RAIL, WEAK)
    assert "injector return flow" in proposed(*clean, runs=weak)
    assert "injector return flow" not in proposed(
        *clean, runs=weak, engine=replace(RAIL, injection=Injection.HYDRAULIC)
    )


def test_an_even_relative_compression_opens_no_gate() -> None:
    """It is no stand-in for air in the cylinder: a part waits for the test that says where it leaks."""
    bodies = [*run_of(RAIL, WEAK), *map(check_of, ("blow-by light", "overhead sound 3", "wiring sound 3",
              "relative compression even 3"))]  # fmt: skip
    gate = next(c for c in diagnose(job_of(bodies, RAIL)).cylinders[0].causes if c.key == "injector").gate
    assert gate is not None and any(missing.startswith("air test") for missing in gate.missing)
