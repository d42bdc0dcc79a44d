"""A bare number is judged beside the other cylinders' or by the tables' bands, and not at all between two of them."""

from __future__ import annotations

import pytest

from journal.analysis import diagnose
from journal.analysis.between.compare import compare
from journal.analysis.causes.evidence import gather
from journal.analysis.causes.tables import tables
from journal.analysis.settings import default_settings
from journal.facts import Check
from tests.causes.arrange import ENGINES, check_of, job_of, run_of

SIX = ENGINES["common rail six"]


def judged(*measured: str) -> str:
    """The outcome of what was measured last on cylinder 3; empty where it is noted and not judged."""
    checks = [check_of(each) for each in measured]
    job = job_of([*run_of(SIX, (1, 1, 0, 1, 1, 1)), *checks], SIX)
    findings = diagnose(job)
    found = gather(tables(), job, findings.runs, compare(job, findings.runs, default_settings(), ()))
    last = checks[-1]
    assert isinstance(last, Check)
    outcomes = [
        tables().checks[last.subject].outcomes[item.observation.outcomes[0]]
        for item in found.items
        if item.observation.check == last.subject and item.observation.cylinder == 3
    ]
    noted = any("on cylinder 3 is noted but not judged" in remark.text for remark in findings.warnings)
    assert noted is (not outcomes)
    return outcomes[0] if outcomes else ""


def beside(subject: str, others: tuple[float, ...], value: float, unit: str) -> str:
    said = [f"{subject} measured {c} {each} {unit}" for c, each in zip((1, 2, 4), others, strict=False)]
    return judged(*said, f"{subject} measured 3 {value} {unit}")


@pytest.mark.parametrize(
    ("ohm", "outcome"),
    [
        (79.9, "low"), (80.0, ""), (90.0, ""), (90.1, "in limits"), (109.9, "in limits"), (110.0, ""), (125.0, ""),
        (125.1, "high"),
    ],
)  # fmt: skip
def test_a_resistance_is_judged_by_its_part_of_the_others_middle(ohm: float, outcome: str) -> None:
    assert beside("injector resistance", (90.0, 100.0, 500.0), ohm, "ohm") == outcome


@pytest.mark.parametrize(
    ("celsius", "outcome"),
    [(-40.1, "cold"), (-40.0, ""), (-20.0, ""), (-19.9, "even"), (19.9, "even"), (20.0, ""), (40.0, ""), (40.1, "hot")],
)
@pytest.mark.parametrize("middle", [200.0, 0.0, -5.0])
def test_a_temperature_is_judged_by_how_far_it_is_from_the_others_middle_whatever_that_is(
    celsius: float, outcome: str, middle: float
) -> None:
    assert beside("port temperature", (middle, middle), middle + celsius, "degC") == outcome


@pytest.mark.parametrize(("per_cent", "outcome"), [(14.9, "in limits"), (15.0, ""), (30.0, ""), (30.1, "high")])
def test_a_leak_down_is_judged_by_itself(per_cent: float, outcome: str) -> None:
    assert judged(f"leak-down measured 3 {per_cent} %") == outcome


def test_what_cannot_be_compared_is_noted_only() -> None:
    assert beside("injector resistance", (0.0, 0.0), 100.0, "ohm") == "", "a part of nothing"
    assert beside("injector resistance", (100.0,), 100.0, "ohm") == "", "one other"
    same = ("injector resistance measured 3 100 ohm", "injector resistance measured 3 101 ohm")
    assert judged("injector resistance measured 1 100 ohm", *same) == "", "its own number before is none of the others"
    in_units = ("compression measured 1 2400 kPa", "compression measured 2 24 bar", "compression measured 3 2300 kPa")
    assert judged(*in_units) == "", "in another unit"
