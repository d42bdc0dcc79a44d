"""Four checks without tools in the engine, against what is published of what each tells (pages read 2026-11-26).

* Relative compression: "The Relative Compression Test", apextechnation.com/articles/relative-compression-test: a
  cylinder that takes less starter current than the others has lower compression; it screens, and replaces no
  compression test.
* Injector return flow: "Common Rail Injector Leak Off Test: Step by Step Guide",
  goldfarbinc.com/blogs/news/common-rail-injector-leak-off-test-step-by-step-guide: return flow compared across all
  cylinders isolates the worn injector.
* Desired against actual pressure: "Common rail", dieselengineworkshop.com/common-rail/182.html: the two are compared
  while starting and running; a fault of that control can also come from defective injectors.
* The circuits in turn: SAE J1939-73 (from memory), failure modes 5 and 6, current below normal or open and above normal
  or grounded, are what such a test finds; that a dead cylinder's wiring, solenoid and driver share them is common
  practice, no source.
"""

from __future__ import annotations

import pytest

from journal.analysis import Findings, diagnose
from journal.facts import Body, TroubleCode
from tests.causes.arrange import ENGINES, check_of, job_of, run_of

RAIL = ENGINES["common rail six"]
WEAK, DEAD, TWO = (1, 1, 0.5, 1, 1, 1), (1, 1, 0, 1, 1, 1), (1, 1, 0.5, 1, 0.5, 1)
LEAKS = ("rings", "valve-seal", "head-gasket")
CIRCUIT = ("wiring", "solenoid", "driver")


def after(pulls: tuple[float, ...], *said: str) -> Findings:
    return diagnose(job_of([*run_of(RAIL, pulls), *map(check_of, said)], RAIL))


def held(findings: Findings, *causes: str, cylinder: int = 3) -> float:
    """How likely these are together."""
    of = next(low for low in findings.cylinders if low.cylinder == cylinder)
    return sum(cause.probability for cause in of.causes if cause.key in causes)


def odds(findings: Findings) -> float:
    """Of a leaking cylinder against its injector."""
    return held(findings, *LEAKS) / held(findings, "injector")


def test_less_cranking_current_is_lower_compression() -> None:
    plain, low = after(WEAK), after(WEAK, "relative compression low 3")
    assert held(plain, *LEAKS) < 0.5 < held(low, *LEAKS)


def test_relative_compression_tells_a_leaking_cylinder_from_its_injector() -> None:
    low, even = (after(WEAK, f"relative compression {outcome} 3") for outcome in ("low", "even"))
    assert odds(low) > 5 * odds(after(WEAK)) and odds(even) < odds(after(WEAK)) / 3


@pytest.mark.parametrize("outcome", ["low", "even"])
def test_relative_compression_alone_lets_no_part_be_ordered(outcome: str) -> None:
    findings = after(WEAK, f"relative compression {outcome} 3")
    assert all(c.gate is None or not c.gate.ready for low in findings.cylinders for c in low.causes)


def test_return_flow_isolates_the_injector_that_lets_more_back() -> None:
    plain, high = after(TWO), after(TWO, "injector return flow high 3", "injector return flow in limits 5")
    assert held(high, "injector") > 1.3 * held(plain, "injector")
    assert held(high, "injector", cylinder=5) < held(plain, "injector", cylinder=5)


def test_a_pressure_that_is_not_reached_may_come_from_an_injector_too() -> None:
    """Against a cause that has nothing to do with pressure, the injector gains."""
    plain, low = after(TWO), after(TWO, "pressure as desired low")
    gained = held(low, "injector") / held(plain, "injector")
    assert gained > 1.5 * held(low, "rings") / held(plain, "rings")
    before, now = ({c.key: c.probability for c in findings.engine_causes} for findings in (plain, low))
    assert before["injection-pressure"] < 0.5 < 0.75 < now["injection-pressure"]


@pytest.mark.parametrize("fmi", [5, 6])
def test_a_circuit_that_fails_its_test_tells_what_its_code_does(fmi: int) -> None:
    plain, tested = after(DEAD), after(DEAD, "injector circuit test failed 3")
    bodies: list[Body] = [*run_of(RAIL, DEAD), TroubleCode(653, fmi)]
    coded = diagnose(job_of(bodies, RAIL))
    for findings in (tested, coded):
        assert held(findings, *CIRCUIT) > max(0.8, held(plain, *CIRCUIT))
        assert held(findings, "injector", *LEAKS) < held(plain, "injector", *LEAKS)
