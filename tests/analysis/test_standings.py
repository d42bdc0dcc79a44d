"""How cylinders stand, and how sure."""

import pytest

from journal.analysis import diagnose, settings_from_toml
from journal.analysis.findings import Standing
from journal.errors import BadInput
from journal.facts import Baseline, Cut, Engine, RunKind, RunStarted
from tests.analysis.arrange import SIX, found, idle, job_of, readings


def standings(findings):
    return {c.cylinder: c.standing for c in findings.runs[-1].contributions}


def test_a_sixteen_on_a_coarse_display_is_unclear_and_what_would_settle_it_is_said():
    run = idle(32, {c: 33 if c == 5 else 34 for c in range(1, 17)}, Engine(16)).runs[0]
    by_cylinder = {c.cylinder: c for c in run.contributions}
    assert by_cylinder[5].standing == Standing.UNCLEAR
    readings_in_all = by_cylinder[5].repeats_needed
    assert readings_in_all is not None and readings_in_all > 1
    assert f"{readings_in_all} readings in all in one run should settle it" in by_cylinder[5].why


def test_one_that_stands_apart_by_a_coarse_step_is_called_weak_with_how_likely_that_is():
    """An even one of sixteen raises 20 by 1.3, so 20 again, to a whole step, is a rise of less than one."""
    run = idle(20, {c: 20 if c == 5 else 21 for c in range(1, 17)}, Engine(16)).runs[0]
    weak = run.contributions[4]
    assert weak.standing == Standing.WEAK
    assert int(weak.why.split("low with a chance of ")[1].split(" %")[0]) in range(60, 95)
    assert "it may be doing nothing at all; 2 readings in all would tell" in weak.why
    sure = idle(20.0, {c: 20.5 if c == 5 else 21.4 for c in range(1, 17)}, Engine(16)).runs[0].contributions[4]
    assert sure.standing == Standing.WEAK
    assert "with a chance of" not in sure.why


def test_the_same_sixteen_on_a_fine_display_has_one_dead():
    fine = idle(20.0, {c: 20.0 if c == 5 else 21.4 + 0.1 * (c % 2) for c in range(1, 17)}, Engine(16))
    assert [c for c, s in standings(fine).items() if s != Standing.EVEN] == [5]
    assert standings(fine)[5] == Standing.DEAD


def test_half_the_cylinders_low_cannot_be_judged_by_comparison():
    run = idle(30.0, {1: 44.5, 2: 36.6, 3: 36.6, 4: 44.5}, Engine(4)).runs[0]
    assert any("common to all" in r.text for r in run.remarks)
    assert {c.cylinder: c.standing for c in run.contributions}[2] == Standing.UNCLEAR


def test_two_dead_of_four_are_dead_all_the_same():
    run = idle(30.0, {1: 60.0, 2: 30.0, 3: 30.0, 4: 60.0}, Engine(4)).runs[0]
    assert [c.standing for c in run.contributions] == [Standing.EVEN, Standing.DEAD, Standing.DEAD, Standing.EVEN]


def test_the_one_firing_after_a_dead_one_is_marked():
    """Firing order 1-5-3-6-2-4: after 3 fires 6."""
    run = idle(31, {1: 38, 2: 39, 3: 31, 4: 38, 5: 39, 6: 37}).runs[0]
    assert [c.cylinder for c in run.contributions if c.after_dead] == [6]


def test_a_dead_cylinder_is_told_before_the_others_are_cut():
    assert standings(idle(31, {1: 38, 3: 31}))[3] == Standing.DEAD
    assert standings(idle(31, {1: 38, 3: 31}))[1] == Standing.EVEN


def test_a_stray_among_three_repeats_is_left_out_and_said():
    start = RunStarted(RunKind.IDLE)
    passes = [*readings(31, {1: 38, 2: 38, 3: 38, 4: 37, 5: 38, 6: 38})] * 2
    job = job_of(SIX, start, *passes, *readings(31, {1: 38, 2: 83, 3: 38, 4: 37, 5: 38, 6: 38}))
    run = diagnose(job).runs[0]
    assert any("83 stands apart" in r.text for r in run.remarks)
    assert {c.cylinder: c.standing for c in run.contributions}[2] == Standing.EVEN


@pytest.mark.parametrize("wrong", [None, 2], ids=["baseline", "cut"])
def test_a_stray_that_is_left_out_does_not_count_in_the_sum(wrong):
    """36 for 30 is the sixth part of the work."""
    cuts = dict.fromkeys(SIX.numbers, 36)
    again = readings(30, cuts | {2: 63}) if wrong else readings(50, cuts)
    run = diagnose(job_of(SIX, RunStarted(RunKind.IDLE), *readings(30, cuts), *readings(30, cuts), *again)).runs[0]
    assert any("stands apart and is left out" in r.text for r in run.remarks)
    assert run.total == pytest.approx(1.0, abs=0.01)
    assert run.trusted


def test_two_readings_that_contradict_each_other_leave_the_cylinder_open():
    job = job_of(SIX, RunStarted(RunKind.IDLE), *readings(31, dict.fromkeys(SIX.numbers, 38)), Cut(2, 31))
    run = diagnose(job).runs[0]
    assert not run.trusted
    assert {c.cylinder: c.standing for c in run.contributions}[2] == Standing.UNCLEAR


@pytest.mark.parametrize("again", [22, 24])
def test_neighbouring_numbers_of_a_display_do_not_contradict_each_other(again):
    cuts = dict.fromkeys(range(1, 9), 23)
    job = job_of(Engine(8), RunStarted(RunKind.IDLE), *readings(20, cuts), *readings(20, cuts | {4: again}))
    run = diagnose(job).runs[0]
    assert run.trusted
    assert not any("contradict" in r.text for r in run.remarks)


@pytest.mark.parametrize(("again", "apart"), [(21, True), (22, False), (24, False), (25, True)])
def test_two_steps_from_readings_that_agree_is_apart_one_is_not(again, apart):
    cuts = dict.fromkeys(range(1, 9), 23)
    last = readings(20, cuts | {4: again})
    job = job_of(Engine(8), RunStarted(RunKind.IDLE), *readings(20, cuts), *readings(20, cuts), *last)
    run = diagnose(job).runs[0]
    assert any(f"cylinder 4 read 23, 23, {again}" in r.text for r in run.remarks) is apart


def test_a_lost_baseline_is_worked_out_from_the_sum():
    run = idle(None, {1: 37.5, 2: 37.5, 3: 30.0, 4: 37.5, 5: 37.5, 6: 37.5}).runs[0]
    assert [c.share for c in run.contributions] == pytest.approx([0.2, 0.2, 0.0, 0.2, 0.2, 0.2], abs=0.001)
    assert any("no baseline was said" in r.text for r in run.remarks)


def test_half_engine_starts_from_roughly_double_the_fuel():
    """Common practice, no source: three of six live at 1,000 to 1,200 rpm take roughly double the fuel per stroke."""
    start = RunStarted(RunKind.HALF_ENGINE, held_out=(1, 2, 3))
    run = found(SIX, start, 60, {4: 90, 5: 90, 6: 90}).runs[0]
    assert [c.standing for c in run.contributions] == [Standing.EVEN] * 3
    assert run.trusted


def test_a_shop_can_move_a_threshold():
    settings = settings_from_toml("[standing]\nweak_below = 0.6")
    job = job_of(SIX, RunStarted(RunKind.IDLE), *readings(30.0, {1: 36.6, 2: 36.6, 3: 34.3, 4: 36.6, 5: 36.6, 6: 36.6}))
    assert {c.cylinder: c.standing for c in diagnose(job).runs[0].contributions}[3] == Standing.WEAK
    assert {c.cylinder: c.standing for c in diagnose(job, settings).runs[0].contributions}[3] != Standing.WEAK


@pytest.mark.parametrize(
    "text", ["[standing]\nweak = 1", "[standing]\nweak_below = 0", "standing", "[sure]\nlow = 'a'", "z = 1"]
)
def test_settings_that_make_no_sense_are_refused_in_one_line(text):
    with pytest.raises(BadInput, match=r"^analysis setting.*") as refused:
        settings_from_toml(text)
    assert "\n" not in str(refused.value)


def test_one_cylinder_has_nothing_to_be_compared_with():
    run = diagnose(job_of(Engine(1), RunStarted(RunKind.IDLE), Baseline(30), Cut(1, 60))).runs[0]
    assert all(c.standing == Standing.UNCLEAR for c in run.contributions)
