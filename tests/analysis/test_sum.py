"""The sum of the shares: what is said when the readings contradict each other."""

import pytest

from journal.analysis import diagnose
from journal.analysis.findings import Standing
from journal.facts import Baseline, Cut, Engine, Quantity, RunKind, RunStarted
from tests.analysis.arrange import SIX, found, idle, job_of


def test_a_misheard_baseline_is_named_with_the_number_that_sounds_alike():
    run = idle(13, {1: 36, 2: 36, 3: 36, 4: 35, 5: 36, 6: 36}).runs[0]
    assert not run.trusted
    assert (run.suspects[0].cylinder, run.suspects[0].value, run.suspects[0].instead) == (None, 13, 30)


def test_a_misheard_cut_is_named_and_its_cylinder_not_judged():
    run = idle(30, {1: 36, 2: 36, 3: 36, 4: 36, 5: 36, 6: 30}, SIX).runs[0]
    assert not run.trusted
    assert run.suspects[0].cylinder == 6
    assert {c.cylinder: c.standing for c in run.contributions}[6] == Standing.UNCLEAR


def test_a_cut_that_fits_with_another_number_is_named_even_when_nothing_sounds_like_it():
    run = idle(30, {1: 36, 2: 36, 3: 71, 4: 36, 5: 36, 6: 36}).runs[0]
    assert run.suspects[0].cylinder == 3
    assert run.suspects[0].fits == pytest.approx(36, abs=1)


def test_a_dead_cylinder_leaves_the_sum_at_one_and_nothing_is_suspected():
    run = idle(30, {1: 38, 2: 37, 3: 38, 4: 37, 5: 38, 6: 30}).runs[0]
    assert run.trusted and not run.suspects


def test_a_second_reading_that_agrees_clears_the_suspicion():
    job = job_of(
        SIX, RunStarted(RunKind.IDLE), Baseline(30), *(Cut(c, 36) for c in range(1, 6)), Cut(6, 30), Cut(6, 30)
    )
    run = diagnose(job).runs[0]
    assert not run.suspects
    assert {c.cylinder: c.standing for c in run.contributions}[6] == Standing.DEAD


def test_a_baseline_that_would_mend_the_sum_is_said():
    run = idle(30, {1: 33, 2: 33, 3: 33, 4: 33, 5: 33, 6: 33}).runs[0]
    assert not run.trusted
    assert any("a baseline of about 27.5 mm3" in r.text for r in run.remarks)


def test_fuel_that_makes_no_torque_is_fitted_and_shown():
    """Six equal cylinders with 6 of 30 making no torque: (c - 6) = (30 - 6) * 6/5."""
    run = idle(30.0, dict.fromkeys(SIX.numbers, 34.8)).runs[0]
    assert not run.trusted
    assert any("6 mm3 of the fuel making no torque" in r.text for r in run.remarks)


def test_a_fuel_limit_shows_as_one_highest_number_again_and_again():
    start = RunStarted(RunKind.HALF_ENGINE, held_out=(5, 6, 7, 8))
    run = found(Engine(8), start, 60.0, {1: 75.0, 2: 75.0, 3: 60.2, 4: 75.0}).runs[0]
    assert not run.trusted


def test_a_baseline_said_twice_follows_a_drift():
    """The load falls by a tenth during the run; the cuts are those of an even engine at each moment."""
    at = {c: 1 - 0.1 * c / 7 for c in range(8)}
    cuts = [Cut(c, round(30 * at[c] * 6 / 5, 1)) for c in SIX.numbers]
    job = job_of(SIX, RunStarted(RunKind.IDLE), Baseline(30.0), *cuts, Baseline(27.0))
    run = diagnose(job).runs[0]
    assert run.trusted
    assert [c.share for c in run.contributions] == pytest.approx([1 / 6] * 6, abs=0.005)
    once = diagnose(job_of(SIX, RunStarted(RunKind.IDLE), Baseline(30.0), *cuts)).runs[0]
    assert not once.trusted
    assert any("steadily down with time" in r.text for r in once.remarks)


def test_one_old_baseline_is_said():
    job = job_of(SIX, RunStarted(RunKind.IDLE), Baseline(30), *(Cut(c, 36) for c in SIX.numbers), seconds=120)
    assert any("one baseline only" in r.text for r in diagnose(job).runs[0].remarks)


def test_shares_by_speed_drop_add_up_by_construction_and_check_nothing():
    run = found(Engine(4), RunStarted(RunKind.IDLE, Quantity.ENGINE_SPEED), 700, {1: 640, 2: 660, 3: 690, 4: 640}).runs[
        0
    ]
    assert run.total == pytest.approx(1.0)
    assert run.trusted
