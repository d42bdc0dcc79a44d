"""From when a drift, fuel that makes no torque and an efficiency are said, and in which words."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from journal.analysis.findings import Level, Suspect
from journal.analysis.run.explain import drift, efficiency, idle_fuel, idle_part, off, suspected
from journal.analysis.run.model import Model, model_of
from journal.analysis.run.readings import take
from journal.analysis.settings import default_settings
from journal.facts import Baseline, Body, Cut, Engine, Quantity, RunKind, RunStarted
from tests.analysis.arrange import SIX, job_of

FOUR = Engine(4, (1, 3, 4, 2))
LOAD = {"quantity": Quantity.LOAD, "unit": "N"}
SPEED = {"quantity": Quantity.ENGINE_SPEED, "unit": "rpm"}


def model(*bodies: Body, engine: Engine = SIX, **start: Any) -> Model:
    job = job_of(engine, RunStarted(RunKind.IDLE, **start), *bodies)
    found = model_of(take(job.runs, engine), default_settings())
    assert found is not None
    return found


def without_baseline(of: Model) -> Model:
    """The same, of which no baseline was read."""
    return replace(of, taken=replace(of.taken, baselines=()))


def believed(**of: Any) -> Any:
    """A belief of one node, of which only this is looked at."""
    return SimpleNamespace(weight=np.array([1.0]), **{name: np.array([value]) for name, value in of.items()})


FUEL = (Baseline(30.0), Cut(1, 36.0), Cut(2, 36.1))
DROP = (Baseline(700.0, **SPEED), Cut(1, 655.0, **SPEED), Cut(2, 652.0, **SPEED))


@pytest.mark.parametrize(
    ("slope", "u", "said"),
    [(0.0261, 0.01, True), (0.0260, 0.01, False), (0.01, 0.001, True), (0.0099, 0.001, False), (-0.0261, 0.01, True)],
)
def test_a_drift_is_said_where_it_is_sure_and_two_in_a_hundred(slope: float, u: float, said: bool) -> None:
    found = drift(model(*FUEL), believed(level=[0.0, slope], level_u=[1.0, u]))
    assert (found is not None) is said
    if found is not None:
        assert f"by about {200 * abs(slope):.0f} % over the run" in found.text and found.level is Level.WARNING
        assert len(found.entries) == 3


@pytest.mark.parametrize(
    ("slope", "by_fuel", "way"),
    [(0.05, True, "up"), (-0.05, True, "down"), (0.05, False, "down"), (-0.05, False, "up")],
)
def test_a_drift_goes_the_way_that_the_readings_go(slope: float, by_fuel: bool, way: str) -> None:
    """Where torque rises the fuel that is wanted rises too, and the speed that is lost does."""
    of = model(*FUEL) if by_fuel else model(*DROP, **SPEED)
    found = drift(of, believed(level=[0.0, slope], level_u=[1.0, 0.01]))
    assert found is not None and f"the readings go steadily {way} with time" in found.text


def test_with_a_second_baseline_no_drift_is_said() -> None:
    assert drift(model(*FUEL, Baseline(31.0)), believed(level=[0.0, 0.05], level_u=[1.0, 0.01])) is None


@pytest.mark.parametrize(
    ("rise", "u", "said"),
    [
        (0.9, 0.1 / 1.645 - 1e-6, True), (0.9, 0.1 / 1.645 + 1e-6, False),
        (0.983, 0.001, False), (0.975, 0.001, True),
    ],
)  # fmt: skip
def test_fuel_that_makes_no_torque_is_said_where_it_is_sure_and_two_in_a_hundred(
    rise: float, u: float, said: bool
) -> None:
    found = idle_fuel(model(*FUEL, Baseline(34.0)), believed(rise=rise, rise_u=u))
    assert (found is not None) is said
    assert (idle_part(rise, 6) >= 0.02) is (rise != 0.983)
    if found is not None:
        amount = 32 * idle_part(rise, 6)
        assert f"about {amount:.2g} mm3 of the fuel making no torque, in each cylinder" in found.text.replace("³", "3")


def test_fuel_that_makes_no_torque_is_not_said_of_what_is_no_fuel_or_was_told_or_has_no_baseline() -> None:
    sure = believed(rise=0.5, rise_u=0.01)
    assert idle_fuel(model(*FUEL), sure) is not None
    assert idle_fuel(model(*FUEL, idle_fuel=5.0), sure) is None
    assert idle_fuel(without_baseline(model(*FUEL)), sure) is None
    assert idle_fuel(model(*DROP, **SPEED), sure) is None


def test_what_part_makes_no_torque_follows_from_the_rise_by_the_definition() -> None:
    """With q0 of a baseline b making none, an even one of n cut gives c = q0 + (b - q0) n/(n - 1)."""
    for n, q0 in ((4, 6.0), (6, 3.0), (16, 0.0)):
        b, ratio = 30.0, n / (n - 1)
        c = q0 + (b - q0) * ratio
        assert idle_part(np.log(c / b) / np.log(ratio), n) * b == pytest.approx(q0, abs=1e-9)


def test_the_efficiency_is_brake_over_the_sum_of_what_each_cut_took() -> None:
    """The Morse test: B over the sum of all B - Bi; by hand 100 / (4 * 30)."""
    cuts = [Cut(c, 70.0, **LOAD) for c in (1, 2, 3, 4)]
    whole = model(Baseline(100.0, **LOAD), *cuts, engine=FOUR, **LOAD)
    said = efficiency(whole, believed(), True)
    assert said is not None and said.text == "mechanical efficiency by these readings 83.3 %"
    assert said.level is Level.REMARK
    doubted = efficiency(whole, believed(), False)
    assert doubted is not None and doubted.level is Level.WARNING
    assert doubted.text.startswith("brake over indicated comes to 83 %, which no engine can do")
    twice = model(Baseline(99.0, **LOAD), Baseline(101.0, **LOAD), *cuts, Cut(1, 60.0, **LOAD), engine=FOUR, **LOAD)
    again = efficiency(twice, believed(), True)
    assert again is not None and again.text.endswith("80.0 %"), "means of what was read twice: 100 / (35 + 3 * 30)"
    assert efficiency(model(Baseline(100.0, **LOAD), *cuts[:3], engine=FOUR, **LOAD), believed(), True) is None
    assert efficiency(without_baseline(whole), believed(), True) is None
    assert efficiency(model(*FUEL), believed(), True) is None


@pytest.mark.parametrize(("cut", "level"), [(75.0, Level.REMARK), (75.1, Level.WARNING), (100.0, Level.WARNING)])
def test_no_engine_gives_more_than_it_makes(cut: float, level: Level) -> None:
    bodies = [Baseline(100.0, **LOAD), *(Cut(c, cut, **LOAD) for c in (1, 2, 3, 4))]
    said = efficiency(model(*bodies, engine=FOUR, **LOAD), believed(), True)
    assert said is not None and said.level is level


def test_a_run_that_does_not_add_up_names_what_may_be_wrong_or_the_baseline_that_would_fit() -> None:
    of = model(Baseline(29.0), *(Cut(c, 37.5) for c in SIX.numbers), Baseline(31.0))
    low, high = of.priors.rise - 2 * of.priors.rise_sd, 1.2
    start = f"the shares add up to 1.20 where {low:.2f} to {high:.2f} was to be expected; "
    said = off(of, 1.2, 0.1, (), "")
    assert said.text.startswith(f"{start}a baseline of about {30 * 5 / 4.8:.3g} mm") and len(said.entries) == 8
    assert off(of, 6.0, 0.1, (), "").text.endswith("; take the run again")
    assert off(of, 1.2, 0.1, (), "a limit").text == f"{start}a limit"
    suspect = Suspect("entry", 2, 37.5, 36.0, 1.0)
    named = off(of, 1.2, 0.1, (suspect,), "")
    assert named.text == start + suspected(suspect, of.taken.unit) and named.entries == ("entry",)
