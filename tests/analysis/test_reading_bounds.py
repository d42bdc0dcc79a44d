"""Which readings of a run are used: at the bounds of what a display can show, of its engine, and of what was said."""

from __future__ import annotations

import pytest

from journal.analysis.run.readings import Method, Taken, take
from journal.facts import Baseline, Body, Cut, Engine, Quantity, RunKind, RunStarted
from tests.analysis.arrange import SIX, job_of


def taken(*bodies: Body, engine: Engine = SIX, seconds: float = 15.0) -> Taken:
    """What is used of the last run."""
    return take(job_of(engine, *bodies, seconds=seconds).runs[-1:], engine)


def said(of: Taken) -> str:
    return " | ".join(remark.text for remark in of.remarks)


@pytest.mark.parametrize(
    ("value", "used"), [(0.001, True), (0.000999, False), (1_000_000.0, True), (1_000_001.0, False), (0.0, False)]
)
def test_what_no_display_of_a_running_engine_shows_is_left_out(value: float, used: bool) -> None:
    found = taken(RunStarted(RunKind.IDLE), Baseline(30.0), Cut(1, value))
    assert [cut.value for cut in found.cuts] == ([value] if used else [])
    assert found.sound is used
    assert ("a running engine cannot read that; the reading is left out" in said(found)) is not used
    baseline = taken(RunStarted(RunKind.IDLE), Baseline(value))
    assert [each.value for each in baseline.baselines] == ([value] if used else [])


def test_the_last_cylinder_is_one_and_the_next_number_is_none() -> None:
    found = taken(RunStarted(RunKind.IDLE), Baseline(30.0), Cut(6, 36.0), Cut(7, 36.0))
    assert [cut.cylinder for cut in found.cuts] == [6]
    assert said(found) == "cylinder 7 cut, 36: this engine has cylinders 1 to 6; the reading is left out"


def test_cylinders_held_out_that_the_engine_has_not_are_said_in_their_order() -> None:
    found = taken(RunStarted(RunKind.HALF_ENGINE, held_out=(9, 4, 5, 6, 8)), Baseline(60.0), Cut(1, 90.0))
    assert found.live == (1, 2, 3)
    assert said(found) == "cylinder 8 9 was said to be held out, but this engine has 1 to 6"


def test_half_an_engine_of_which_nobody_said_which_is_that_of_which_there_are_readings() -> None:
    bodies = (Baseline(60.0), Cut(3, 90.0), Cut(1, 90.0), Cut(9, 90.0))
    found = taken(RunStarted(RunKind.HALF_ENGINE), *bodies)
    assert found.live == (1, 3)
    assert "say which were held out" in said(found)
    whole = taken(RunStarted(RunKind.IDLE), *bodies)
    assert whole.live == (1, 2, 3, 4, 5, 6) and "say which were held out" not in said(whole)


def test_seconds_count_from_the_first_baseline_or_where_there_is_none_from_the_first_cut() -> None:
    cuts = (Cut(1, 36.0), Cut(2, 36.0))
    with_one = taken(RunStarted(RunKind.IDLE), cuts[0], Baseline(30.0), cuts[1], seconds=20.0)
    assert [each.seconds for each in (*with_one.baselines, *with_one.cuts)] == [0.0, -20.0, 20.0]
    without = taken(RunStarted(RunKind.IDLE), *cuts, seconds=20.0)
    assert [each.seconds for each in without.cuts] == [0.0, 20.0]


@pytest.mark.parametrize(
    ("quantity", "unit", "method"),
    [
        (Quantity.FUEL_PER_STROKE, "mm3", Method.FUEL),
        (Quantity.LOAD, "%", Method.FUEL),
        (Quantity.LOAD, "N", Method.BRAKE),
        (Quantity.POWER, "kW", Method.BRAKE),
        (Quantity.FUEL_RATE, "L/h", Method.FUEL_RATE),
        (Quantity.ENGINE_SPEED, "rpm", Method.SPEED),
        (Quantity.OIL_TEMPERATURE, "degC", None),
    ],
)
def test_what_is_watched_decides_the_formula(quantity: Quantity, unit: str, method: Method | None) -> None:
    found = taken(RunStarted(RunKind.IDLE, quantity, unit), Baseline(30.0, quantity, unit))
    assert found.method is method
    assert ("does not tell how cylinders pull" in said(found)) is (method is None)
    nothing_read = taken(RunStarted(RunKind.IDLE, quantity, unit))
    assert nothing_read.remarks == () and nothing_read.sound


@pytest.mark.parametrize(
    ("idle_fuel", "used"), [(4.9, True), (5.0, False), (5.1, False)], ids=["less", "as much", "more"]
)
def test_fuel_that_makes_no_torque_is_less_than_the_least_reading_of_all_cylinders_that_are_on(
    idle_fuel: float, used: bool
) -> None:
    rate = {"quantity": Quantity.FUEL_RATE, "unit": "L/h"}
    start = RunStarted(RunKind.IDLE, Quantity.FUEL_RATE, "L/h", idle_fuel=idle_fuel)
    total = taken(start, Baseline(30.0, **rate), Cut(1, 36.0, **rate))  # type: ignore[arg-type]
    assert total.idle_fuel == (idle_fuel if used else 0.0)
    assert ("that is all of a reading or more" in said(total)) is not used
    stroke = taken(RunStarted(RunKind.IDLE, idle_fuel=idle_fuel * 6), Baseline(30.0), Cut(1, no_change=True))
    assert stroke.idle_fuel == (idle_fuel * 6 if used else 0.0), "a reading without a number is none to be less than"


def test_the_coarsest_step_of_its_unit_stands_behind_a_reading_without_a_number() -> None:
    found = taken(RunStarted(RunKind.IDLE), Baseline(30.0), Cut(1, 36.5), Cut(2, no_change=True), Cut(3, 36.1))
    steps = {cut.cylinder: cut.step for cut in found.cuts}
    assert steps[2] == max(each.step for each in (*found.baselines, *found.cuts))
    alone = taken(RunStarted(RunKind.IDLE), Cut(2, no_change=True))
    assert [(cut.value, cut.step, cut.no_change) for cut in alone.cuts] == [(0.0, 1.0, True)]


def test_a_reading_in_another_unit_of_the_quantity_is_changed_into_the_runs_with_its_step() -> None:
    """1 US gallon is 3.785411784 L (NIST SP 811, appendix B)."""
    rate = Quantity.FUEL_RATE
    found = taken(
        RunStarted(RunKind.IDLE, rate, "L/h"), Baseline(4.0, rate, "L/h"), Cut(1, 1.0, quantity=rate, unit="gal/h")
    )
    (cut,), (baseline,) = found.cuts, found.baselines
    assert cut.value == pytest.approx(3.785411784) and cut.step == pytest.approx(3.785411784 * 1.0)
    assert baseline.value == 4.0
    psi = taken(RunStarted(RunKind.IDLE), Baseline(30.0), Cut(1, 36.0, quantity=rate, unit="L/h"))
    assert (
        said(psi)
        == "cylinder 1 cut, 36: fuel rate was read where the run watches fuel per stroke; the reading is left out"
    )
