"""Earlier jobs on the same machine beside today's: shares, baselines, and a slow decline."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from journal.analysis import Findings, diagnose, settings_from_toml
from journal.analysis.between.machine import Earlier, remembered
from journal.facts import Body, Condition, JobClosed, PressureLevel, Quantity, RepairDone, RunKind, RunStarted
from tests.analysis.arrange import SIX, job_of, readings
from tests.analysis.coverage import Cell
from tests.analysis.twice import twice

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
    before, now, _ = said(found)
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
        ((1.0, 0.8, 0.6, 0.72), 0.5),
        ((1.0,), 0.8),
    ],
    ids=["steady", "in the noise", "at once", "better", "mended between", "better once on the way", "two runs only"],
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


# Where today's run starts from.

ONCE, THRICE = Cell("", passes=1, noise=0.003), Cell("", passes=3, noise=0.003)


def test_an_engine_seen_before_has_narrower_intervals_that_hold() -> None:
    """Simulated engines, a tenth of whose fuel makes no torque: run three times over then, once today."""
    alone, helped = twice(replace(THRICE, idle=0.1), replace(ONCE, idle=0.1), 16, 5)
    assert helped.width < 0.93 * alone.width
    assert 92 <= helped.covered <= 98.5


@pytest.mark.parametrize(
    ("then", "now"),
    [
        (THRICE, replace(ONCE, idle=0.2)),
        (replace(THRICE, idle=0.2), ONCE),
        (THRICE, replace(ONCE, noise=0.012)),
        (replace(THRICE, spread=0.02), replace(ONCE, spread=0.05)),
    ],
    ids=["more idle fuel", "less idle fuel", "readings wander more", "healthy cylinders differ more"],
)
def test_an_earlier_job_overrules_nothing_that_changed_since(then: Cell, now: Cell) -> None:
    alone, helped = twice(then, now, 16, 6)
    assert helped.covered >= min(93, alone.covered - 4)
    assert helped.accused <= alone.accused + 2


def one_of(*bodies: Body, days: float = 100.0, name: str = "") -> Earlier:
    return left(days, *bodies, name=name)


def test_what_a_run_leaves_is_what_its_readings_show() -> None:
    """Readings to a tenth that agree, of an engine all of whose fuel makes torque."""
    (_, learnt) = one_of(*a_run(1.0)).learnt[0]
    assert learnt.readings == 21
    assert learnt.noise < 0.004 and 1.0 < learnt.noise_factor < 2.2
    assert learnt.alike > 0.6
    assert learnt.proportional is not None and learnt.proportional > 0.6
    idle = dict.fromkeys(SIX.numbers, 34.8)
    (_, learnt) = one_of(IDLE, *(3 * readings(30.0, idle))).learnt[0]
    assert learnt.proportional is not None and learnt.proportional < 0.2
    assert learnt.rise == pytest.approx(math.log(34.8 / 30) / math.log(6 / 5), abs=0.02)
    assert 0.0 < learnt.rise_u < 0.05


@pytest.mark.parametrize(
    "bodies",
    [
        [IDLE, *readings(30.0, dict.fromkeys((1, 2, 3, 4, 5), 36.0))],
        [IDLE, *readings(30.0, dict.fromkeys((1, 2, 3, 4, 5), 36.0) | {6: 63.0})],
    ],
    ids=["a cylinder unread", "readings that contradict each other"],
)
def test_a_run_that_was_not_finished_or_does_not_add_up_leaves_nothing(bodies: list[Body]) -> None:
    assert one_of(*bodies).learnt == ()


def test_a_run_starts_from_the_one_made_in_the_same_way_that_was_read_most_and_of_those_from_the_latest() -> None:
    once, twice_read = a_run(1.0)[:8], a_run(1.0)
    high = replace(IDLE, pressure=PressureLevel.HIGH)
    jobs = [
        one_of(*twice_read, days=300, name="old"), one_of(*twice_read, days=200, name="new"),
        one_of(*once, days=100, name="short"), one_of(*a_run(1.0, high), *a_run(1.0, high), days=50, name="high"),
    ]  # fmt: skip
    begins = [text for text in said(today(1.0, *jobs)) if "beforehand" in text]
    assert len(begins) == 1 and begins[0].startswith("job new of 2025-08-14 says beforehand")
    assert not any("beforehand" in text for text in said(today(1.0, jobs[3])))
    assert any(text.startswith("the job of 2025-11-22") for text in said(today(1.0, one_of(*once))))


def test_half_engine_runs_start_from_half_engine_runs() -> None:
    half = RunStarted(RunKind.HALF_ENGINE, held_out=(1, 2, 3))
    bodies = [half, *(3 * readings(60.0, {4: 90.0, 5: 90.0, 6: 90.0}))]
    now = [half, *readings(60.0, {4: 90.5, 5: 89.3, 6: 91.0})]
    alone, helped = (diagnose(job_of(SIX, *now), earlier=e).runs[0].contributions for e in ((), [one_of(*bodies)]))
    assert helped[0].high - helped[0].low < alone[0].high - alone[0].low


def test_fuel_that_makes_no_torque_starts_from_none_where_it_was_said_then_or_now() -> None:
    """Said of either run, it is on another scale there."""
    cuts = dict.fromkeys(SIX.numbers, 34.8)
    said_then = one_of(replace(IDLE, idle_fuel=6.0), *(3 * readings(30.0, cuts)))
    assert said_then.learnt[0][1].proportional is None
    unsaid = one_of(IDLE, *(3 * readings(30.0, cuts)))
    now = [replace(IDLE, idle_fuel=6.0), *readings(30.0, cuts)]
    found = diagnose(job_of(SIX, *now), earlier=[unsaid]).runs[0]
    assert found.trusted
    assert [c.share for c in found.contributions] == pytest.approx([1 / 6] * 6, abs=0.002)


def test_a_shop_can_say_that_machines_are_always_as_they_were() -> None:
    """Wholly sure is taken for nearly so, as what is measured today must be able to say otherwise."""
    settings = settings_from_toml("[before]\nsame = 1.0")
    found = diagnose(job_of(SIX, *a_run(1.0)), settings, earlier=[one_of(*a_run(1.0))])
    assert [c.share for c in found.runs[0].contributions] == pytest.approx([1 / 6] * 6, abs=0.002)
