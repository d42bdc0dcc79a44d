"""Zero, negative, missing, absurd and contradictory readings: a finding that says so, never an exception or a NaN."""

import json
import math

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from journal.analysis import diagnose, findings_to_json
from journal.facts import (
    UNITS,
    Baseline,
    Condition,
    Cut,
    Engine,
    PressureLevel,
    Quantity,
    RunEnded,
    RunKind,
    RunStarted,
)
from tests.analysis.arrange import SIX, idle, job_of

WATCHED = (Quantity.FUEL_PER_STROKE, Quantity.FUEL_RATE, Quantity.ENGINE_SPEED, Quantity.LOAD, Quantity.POWER)
NUMBERS = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from([0.0, -1.0, 1e-300, 1e300, 30.0, 30.5, 36.0, 38.0, 1e9, -0.0]),
    st.integers(1, 200).map(float),
)


def quantities_with_units():
    return st.sampled_from(list(Quantity)).flatmap(lambda q: st.tuples(st.just(q), st.sampled_from(UNITS[q])))


BODIES = st.one_of(
    st.builds(Baseline, NUMBERS),
    quantities_with_units().flatmap(lambda q: st.builds(Baseline, NUMBERS, st.just(q[0]), st.just(q[1]))),
    st.builds(Cut, st.integers(1, 20), NUMBERS),
    st.builds(Cut, st.integers(1, 20), no_change=st.just(True)),
    quantities_with_units().flatmap(lambda q: st.builds(Condition, st.just(q[0]), NUMBERS, st.just(q[1]))),
    st.builds(
        RunStarted,
        st.sampled_from(RunKind),
        st.sampled_from(WATCHED),
        held_out=st.lists(st.integers(1, 20), max_size=8, unique=True).map(tuple),
        pressure=st.sampled_from([None, *PressureLevel]),
        after_repair=st.booleans(),
        repeat=st.booleans(),
        idle_fuel=st.one_of(st.none(), NUMBERS.map(abs)),
    ),
    st.just(RunEnded()),
)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(1, 20), st.lists(BODIES, max_size=40))
def test_whatever_is_said_findings_come_out_with_finite_numbers(cylinders, bodies):
    findings = diagnose(job_of(Engine(cylinders), *bodies))
    json.dumps(findings_to_json(findings), allow_nan=False)
    for run in findings.runs:
        for c in run.contributions:
            assert all(map(math.isfinite, (c.share, c.low, c.high, c.strength, c.strength_u)))
            assert c.low <= c.share <= c.high
        assert run.total is None or math.isfinite(run.total)


@pytest.mark.parametrize(
    ("baseline", "cuts", "said"),
    [
        (30, {1: 0, 2: 38}, "cylinder 1 cut, 0 mm3: a running engine cannot read that"),
        (-30, {1: 38}, "baseline, -30 mm3: a running engine cannot read that"),
        (None, {1: 38, 2: 38}, "no baseline: say what the display shows"),
        (30, {7: 38}, "cylinder 7 cut, 38: this engine has cylinders 1 to 6"),
        (30, {}, "no cylinder has been cut yet"),
    ],
)
def test_a_reading_that_cannot_be_used_is_said_in_one_sentence(baseline, cuts, said):
    remarks = " | ".join(r.text for r in idle(baseline, cuts).runs[0].remarks)
    assert said in remarks


def test_a_cut_of_a_cylinder_that_was_held_out_is_said():
    start = RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6))
    run = diagnose(job_of(SIX, start, Baseline(60), Cut(1, 90), Cut(4, 60))).runs[0]
    assert any("cylinder 4 cut, 60: that cylinder was held out" in r.text for r in run.remarks)
    assert not run.trusted


def test_half_engine_without_saying_which_is_asked_for():
    run = diagnose(job_of(SIX, RunStarted(RunKind.HALF_ENGINE), Baseline(60), Cut(1, 90), Cut(2, 90), Cut(3, 90))).runs[
        0
    ]
    assert any("say which were held out" in r.text for r in run.remarks)


def test_a_reading_that_fell_when_its_cylinder_was_cut_is_not_called_dead():
    run = idle(30, {1: 36, 2: 36, 3: 15, 4: 36, 5: 36, 6: 36}).runs[0]
    assert "read it again" in run.contributions[2].why
    assert run.contributions[2].standing == "unclear"


def test_another_quantity_in_a_run_is_left_out_and_said():
    run = diagnose(
        job_of(SIX, RunStarted(RunKind.IDLE), Baseline(30), Cut(1, 36), Cut(2, 1.4, quantity=Quantity.FUEL_RATE))
    ).runs[0]
    assert any("fuel rate was read where the run watches fuel per stroke" in r.text for r in run.remarks)


def test_a_quantity_that_tells_nothing_is_said():
    start = RunStarted(RunKind.IDLE, Quantity.COOLANT_TEMPERATURE)
    run = diagnose(job_of(SIX, start, Baseline(80), Cut(1, 80))).runs[0]
    assert any("does not tell how cylinders pull" in r.text for r in run.remarks)
    assert run.contributions == ()


def test_units_may_be_mixed_where_they_measure_the_same():
    start = RunStarted(RunKind.IDLE, Quantity.FUEL_RATE, "L/h")
    job = job_of(Engine(2), start, Baseline(4.0), Cut(1, 4.0), Cut(2, 1.057, quantity=Quantity.FUEL_RATE, unit="gal/h"))
    shares = [c.share for c in diagnose(job).runs[0].contributions]
    assert shares == pytest.approx([0.5, 0.5], abs=0.002)


def test_a_run_is_in_the_quantity_and_the_unit_of_most_of_its_readings_where_its_start_says_another_or_none():
    load = {"quantity": Quantity.LOAD, "unit": "N"}
    cuts = [Cut(c, 111.0, **load) for c in (1, 2, 3)]
    job = job_of(Engine(4), RunStarted(RunKind.IDLE), Baseline(155.0, **load), *cuts, Cut(4, 30.0))
    run = diagnose(job).runs[0]
    assert [c.cylinder for c in run.contributions] == [1, 2, 3] and "brake load" in run.formula.lower()
    rate = {"quantity": Quantity.FUEL_RATE, "unit": "gal/h"}
    said = [Baseline(3.0, **rate), *(Cut(c, 3.0, **rate) for c in (1, 2, 3)), Cut(4, 11.4, quantity=Quantity.FUEL_RATE)]
    run = diagnose(job_of(Engine(4), RunStarted(RunKind.IDLE, Quantity.FUEL_RATE), *said)).runs[0]
    assert [c.share for c in run.contributions] == pytest.approx([0.25] * 4, abs=0.01)


def test_a_speed_that_did_not_hold_and_an_engine_that_warmed_are_said():
    job = job_of(
        SIX,
        RunStarted(RunKind.IDLE),
        Baseline(30),
        Condition(Quantity.ENGINE_SPEED, 700),
        Condition(Quantity.COOLANT_TEMPERATURE, 60),
        Cut(1, 36),
        Condition(Quantity.ENGINE_SPEED, 650),
        Condition(Quantity.COOLANT_TEMPERATURE, 80),
    )
    remarks = " | ".join(r.text for r in diagnose(job).runs[0].remarks)
    assert "the speed did not hold, 650 to 700 rpm" in remarks
    assert "coolant temperature went from 60 to 80 degC on a single baseline" in remarks
