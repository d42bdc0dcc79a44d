"""What one run says."""

import numpy as np
import pytest

from journal.analysis.findings import Standing
from journal.facts import Engine, Quantity, RunKind, RunStarted
from tests.analysis.arrange import SIX, found, idle


def standings(findings):
    return {c.cylinder: c.standing for c in findings.runs[0].contributions}


def test_a_six_with_one_dead_cylinder():
    """Common practice, no source: at about 700 rpm fuel near 30 rises to about 38 when a good one is cut."""
    findings = idle(30, {1: 38, 2: 38, 3: 30, 4: 37, 5: 38, 6: 38})
    assert standings(findings) == {c: Standing.DEAD if c == 3 else Standing.EVEN for c in SIX.numbers}
    run = findings.runs[0]
    assert run.total == pytest.approx(1.0, abs=0.06)
    assert run.total_low < 1.0 < run.total_high
    assert run.trusted


def test_five_equal_cylinders_give_a_rise_from_30_to_37_5():
    run = idle(30.0, {1: 37.5, 2: 37.5, 3: 30.0, 4: 37.5, 5: 37.5, 6: 37.5}).runs[0]
    assert [c.share for c in run.contributions] == pytest.approx([0.2, 0.2, 0.0, 0.2, 0.2, 0.2], abs=0.001)
    assert run.total == pytest.approx(1.0, abs=1e-4)


def test_no_change_in_words_is_a_dead_cylinder():
    assert standings(idle(31, {1: 38, 2: 39, 3: None, 4: 38, 5: 39, 6: 39}))[3] == Standing.DEAD


def test_a_fall_within_what_the_display_resolves_is_dead_and_not_absurd():
    findings = idle(31, {1: 38, 2: 39, 3: 30, 4: 38, 5: 39, 6: 39})
    assert standings(findings)[3] == Standing.DEAD
    assert findings.runs[0].trusted


def test_cylinders_still_to_be_cut_are_named_and_there_is_no_sum_yet():
    run = idle(31, {1: 38, 2: 39, 4: 38}).runs[0]
    assert run.missing == (3, 5, 6)
    assert run.total is None


def test_half_the_engine_held_out_shares_the_work_among_the_live_half():
    start = RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6))
    run = found(SIX, start, 62, {1: 118, 2: 62, 3: 124}).runs[0]
    assert run.title == "Half engine, 4 5 6 held out"
    assert [c.cylinder for c in run.contributions] == [1, 2, 3]
    assert run.missing == ()
    by_themselves = np.array([1 - 62 / 118, 0.0, 0.5])
    assert run.total == pytest.approx(by_themselves.sum(), abs=0.001)
    together = by_themselves / by_themselves.sum()
    assert [c.share for c in run.contributions] == pytest.approx(together.tolist(), abs=0.005)
    assert {c.cylinder: c.standing for c in run.contributions}[2] == Standing.DEAD


def test_a_total_fuel_rate_counts_the_cylinders_that_are_on():
    """Six equal cylinders: five of them burn in all what six did; cutting a dead one saves what it wasted."""
    start = RunStarted(RunKind.IDLE, Quantity.FUEL_RATE, "L/h")
    run = found(SIX, start, 6.0, {1: 6.0, 2: 6.0, 3: 6.0, 4: 6.0, 5: 6.0, 6: 6.0}).runs[0]
    assert [c.share for c in run.contributions] == pytest.approx([1 / 6] * 6, abs=0.001)
    dead = found(SIX, start, 6.0, {1: 6.25, 2: 6.25, 3: 5.0, 4: 6.25, 5: 6.25, 6: 6.25}).runs[0]
    assert [c.share for c in dead.contributions] == pytest.approx([0.2, 0.2, 0.0, 0.2, 0.2, 0.2], abs=0.001)


def test_a_speed_drop_with_fuel_held_is_shared_by_the_drops():
    start = RunStarted(RunKind.IDLE, Quantity.ENGINE_SPEED, "rpm")
    run = found(Engine(4), start, 700, {1: 640, 2: 640, 3: 700, 4: 640}).runs[0]
    assert [c.share for c in run.contributions] == pytest.approx([1 / 3, 1 / 3, 0.0, 1 / 3], abs=0.005)
