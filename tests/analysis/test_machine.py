"""Earlier jobs on the same machine beside today's: shares, baselines, and a slow decline."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from journal.analysis import Findings, diagnose
from journal.analysis.between.machine import Earlier, remembered
from journal.facts import Body, Condition, JobClosed, PressureLevel, Quantity, RepairDone, RunKind, RunStarted
from tests.analysis.arrange import SIX, job_of, readings

IDLE = RunStarted(RunKind.IDLE)


def cuts(third: float) -> dict[int, float | None]:
    """Readings at a baseline of 30 of a six whose third cylinder pulls this part of what the others pull."""
    share = 1 / (5 + third)
    return {c: round(30 / (1 - share * (third if c == 3 else 1)), 1) for c in SIX.numbers}


def a_run(third: float, start: RunStarted = IDLE, baseline: float = 30.0) -> list[Body]:
    """Read twice, so that a tenth shows."""
    one = {c: value * baseline / 30 for c, value in cuts(third).items() if value is not None}
    return [start, *readings(baseline, one), *readings(baseline, one), *readings(baseline, one)]


def left(days: float, *bodies: Body, name: str = "") -> Earlier:
    """What a job leaves that was opened so many days before."""
    job = job_of(SIX, *bodies)
    found = remembered(job, diagnose(job).runs, name)
    return replace(found, opened_at=found.opened_at - timedelta(days=days))


def today(third: float, *earlier: Earlier, bodies: tuple[Body, ...] = ()) -> Findings:
    return diagnose(job_of(SIX, *(bodies or a_run(third))), earlier=earlier)


def said(findings: Findings) -> list[str]:
    return [r.text for c in findings.comparisons if c.title == "The same machine before" for r in c.remarks]


def test_shares_and_baselines_of_earlier_jobs_stand_beside_todays() -> None:
    first = left(200, *a_run(1.0, baseline=28.0), JobClosed("valve-train", 2), name="ABCD")
    found = today(0.5, first)
    (one,) = found.earlier
    assert (one.reference, one.day, one.cause) == ("ABCD", "2025-08-14", "valve-train")
    assert (one.baseline, one.unit) == (28.0, "mm3")
    assert [c.strength for c in one.contributions] == pytest.approx([1.0] * 6, abs=0.03)
    before, now = said(found)
    assert before.startswith("2025-08-14, job ABCD: baseline 28 mm3; cylinders 1 100 %, 2 100 %")
    assert before.endswith("; closed with valve-train")
    assert now.startswith("today: baseline 30 mm3") and "3 50 % weak" in now


def test_without_earlier_jobs_or_a_run_today_nothing_is_said() -> None:
    assert said(today(1.0)) == [] and today(1.0).earlier == ()
    bare = diagnose(job_of(SIX, IDLE), earlier=[left(9, *a_run(1.0))])
    assert (said(bare), bare.earlier) == ([], ())


def test_a_cylinder_that_pulls_less_from_job_to_job_is_said_to_decline() -> None:
    course = [left(300, *a_run(1.0)), left(200, *a_run(0.93)), left(100, *a_run(0.86))]
    found = today(0.79, *course)
    (decline,) = found.declines
    assert (decline.cylinder, decline.since) == (3, "2025-05-06")
    assert decline.lost == pytest.approx(0.21, abs=0.04)
    assert decline.lost_low < decline.lost < decline.lost_high
    assert decline.strengths == pytest.approx([1.0, 0.93, 0.86, 0.79], abs=0.03)
    (text,) = [text for text in said(found) if "pulls less from job to job" in text]
    course_said = ", ".join(f"{round(100 * strength)} %" for strength in decline.strengths)
    assert text.startswith(f"cylinder 3 pulls less from job to job, {course_said}: ")
    assert f"{round(100 * decline.lost)} points since 2025-05-06" in text and "a slow decline" in text
    assert next(c for c in found.comparisons if c.title == "The same machine before").cylinders == (3,)


def test_the_decline_is_numpys_weighted_line() -> None:
    """`numpy.polyfit` with weights 1/u and an unscaled covariance, over the days of the runs."""
    course = [left(300, *a_run(1.0)), left(120, *a_run(0.93)), left(100, *a_run(0.86))]
    found = today(0.79, *course)
    runs = [*(one.runs[-1].contributions for one in course), found.runs[0].contributions]
    third = [next(c for c in run if c.cylinder == 3) for run in runs]
    days = [0.0, 180.0, 200.0, 300.0]
    slope, covariance = np.polyfit(
        days, [c.strength for c in third], 1, w=[1 / c.strength_u for c in third], cov="unscaled"
    )
    (decline,) = found.declines
    assert decline.lost == pytest.approx(-300 * slope[0], rel=1e-3)
    assert decline.lost_high - decline.lost == pytest.approx(1.96 * 300 * np.sqrt(covariance[0, 0]), rel=1e-3)


@pytest.mark.parametrize(
    ("course", "now"),
    [
        ((1.0, 1.0), 1.0),
        ((1.0, 0.99), 0.98),
        ((1.0, 1.0), 0.5),
        ((0.8, 0.9), 1.0),
        ((1.0, 0.6, 1.0), 0.7),
        ((1.0,), 0.8),
    ],
    ids=["steady", "within the noise", "at once", "better", "mended between", "two runs only"],
)
def test_what_is_no_slow_decline_is_not_called_one(course: tuple[float, ...], now: float) -> None:
    earlier = [left(100.0 * (len(course) - k), *a_run(third)) for k, third in enumerate(course)]
    assert today(now, *earlier).declines == ()


def test_of_an_earlier_job_the_last_run_under_todays_conditions_counts() -> None:
    mended = left(
        50, *a_run(0.2), RepairDone("x"), *a_run(1.0, replace(IDLE, after_repair=True)),
        *a_run(0.6, replace(IDLE, pressure=PressureLevel.HIGH)),
    )  # fmt: skip
    strengths = [c.strength for c in today(1.0, mended).earlier[0].contributions]
    assert strengths == pytest.approx([1.0] * 6, abs=0.03)
    slow = left(50, *a_run(1.0), Condition(Quantity.ENGINE_SPEED, 700.0, "rpm"))
    fast = (*a_run(1.0), Condition(Quantity.ENGINE_SPEED, 1500.0, "rpm"))
    found = today(1.0, slow, bodies=fast)
    assert (found.earlier[0].contributions, found.earlier[0].baseline) == ((), None)
    assert "no run under today's conditions" in said(found)[0]
    cold = left(50, *a_run(1.0), Condition(Quantity.COOLANT_TEMPERATURE, 20.0, "degC"))
    warm = (*a_run(1.0), Condition(Quantity.COOLANT_TEMPERATURE, 85.0, "degC"))
    assert today(1.0, cold, bodies=warm).earlier[0].contributions != ()


def test_half_engine_runs_are_not_set_beside_the_whole_engine() -> None:
    half = RunStarted(RunKind.HALF_ENGINE, held_out=(1, 2, 3))
    bodies = [half, *readings(60.0, {4: 90.0, 5: 90.0, 6: 90.0})]
    assert left(10, *bodies).runs == ()
    assert said(today(1.0, left(10, *bodies)))[0].endswith("no run under today's conditions")
    assert said(today(1.0, left(10, *a_run(1.0)), bodies=tuple(bodies))) == []


def test_baselines_are_told_in_todays_unit() -> None:
    rate = replace(IDLE, quantity=Quantity.FUEL_RATE, unit="L/h")
    before = left(30, *a_run(1.0, rate, baseline=10.0))
    found = today(1.0, before, bodies=tuple(a_run(1.0, replace(rate, unit="gal/h"), baseline=2.7)))
    assert (found.earlier[0].unit, found.earlier[0].baseline) == ("gal/h", pytest.approx(10 / 3.785411784))
