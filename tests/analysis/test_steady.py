"""What must hold still during a run, at the bounds of `[held]` in `analysis.toml`."""

from __future__ import annotations

import pytest

from journal.analysis import diagnose
from journal.facts import Baseline, Body, Condition, Cut, Quantity, RunKind, RunStarted
from tests.analysis.arrange import SIX, job_of


def remarks(*bodies: Body, seconds: float = 15.0, start: RunStarted | None = None) -> str:
    run = diagnose(job_of(SIX, start or RunStarted(RunKind.IDLE), *bodies, seconds=seconds)).runs[0]
    return " | ".join(r.text for r in run.remarks)


@pytest.mark.parametrize(("minutes", "is_said"), [(45, False), (45.1, True)])
def test_cuts_three_quarters_of_an_hour_from_any_baseline_are_of_another_engine(minutes: float, is_said: bool) -> None:
    assert ("from any baseline" in remarks(Baseline(30), Cut(1, 36), seconds=60 * minutes)) is is_said


def test_a_later_baseline_makes_a_cut_near_to_one() -> None:
    assert "from any baseline" not in remarks(Baseline(30), Cut(1, 36), Baseline(30), seconds=60 * 44)


@pytest.mark.parametrize(("minutes", "is_said"), [(6, False), (6.1, True), (50, False)])
def test_one_baseline_serves_for_six_minutes(minutes: float, is_said: bool) -> None:
    assert ("one baseline only" in remarks(Baseline(30), Cut(1, 36), seconds=60 * minutes)) is is_said
    assert "one baseline only" not in remarks(Baseline(30), Cut(1, 36), Baseline(30), seconds=60 * minutes)


@pytest.mark.parametrize(("celsius", "is_said"), [(68, False), (69, True), (52, False), (51, True)])
@pytest.mark.parametrize("quantity", [Quantity.COOLANT_TEMPERATURE, Quantity.OIL_TEMPERATURE])
def test_eight_degrees_may_come_and_go_on_one_baseline(quantity: Quantity, celsius: float, is_said: bool) -> None:
    warm = (Condition(quantity, 60, "degC"), Baseline(30), Cut(1, 36), Condition(quantity, celsius, "degC"))
    assert (f"went from 60 to {celsius} degC" in remarks(*warm)) is is_said
    assert "on a single baseline" not in remarks(*warm, Baseline(30))
    assert "on a single baseline" not in remarks(*warm[:3])


@pytest.mark.parametrize(("rpm", "is_said"), [(679, False), (678, True)])
def test_the_speed_holds_within_three_in_a_hundred(rpm: float, is_said: bool) -> None:
    said = [Condition(Quantity.ENGINE_SPEED, 700, "rpm"), Baseline(30), Cut(1, 36)]
    last = Condition(Quantity.ENGINE_SPEED, rpm, "rpm")
    assert (f"the speed did not hold, {rpm} to 700 rpm" in remarks(*said, last)) is is_said
    by_speed = RunStarted(RunKind.IDLE, Quantity.ENGINE_SPEED, "rpm")
    assert "the speed did not hold" not in remarks(Baseline(700), Cut(1, 640), said[0], last, start=by_speed)
