"""Runs against each other."""

import re
from dataclasses import replace

from journal.analysis import diagnose
from journal.analysis.words import wander
from journal.facts import Arrangement, Engine, PressureLevel, RunKind, RunStarted
from tests.analysis.arrange import SIX, job_of, readings

EVEN = dict.fromkeys(SIX.numbers, 36.0)
ONE_DEAD = {1: 37.5, 2: 37.5, 3: 37.5, 4: 37.5, 5: 30.0, 6: 37.5}
ONE_WEAK = {1: 36.9, 2: 36.9, 3: 36.9, 4: 36.9, 5: 32.0, 6: 36.9}


def said(job):
    return {c.title: " | ".join(r.text for r in c.remarks) for c in diagnose(job).comparisons}


def test_weak_only_under_load():
    idle = RunStarted(RunKind.IDLE)
    half = RunStarted(RunKind.HALF_ENGINE, held_out=(1, 2, 3))
    job = job_of(SIX, idle, *readings(30.0, EVEN), half, *readings(60.0, {4: 101.0, 5: 72.9, 6: 101.0}))
    assert "cylinder 5 is even (100 %) at idle and weak" in said(job)["Idle against half engine"]
    assert "weak only under load" in said(job)["Idle against half engine"]


def test_a_cylinder_that_recovers_with_injection_pressure_and_one_that_does_not():
    low = RunStarted(RunKind.IDLE, pressure=PressureLevel.LOW)
    high = RunStarted(RunKind.IDLE, pressure=PressureLevel.HIGH)
    both_dead = {1: 40.0, 2: 40.0, 3: 30.0, 4: 40.0, 5: 30.0, 6: 40.0}
    one_dead = {1: 37.5, 2: 37.5, 3: 30.0, 4: 37.5, 5: 37.5, 6: 37.5}
    text = said(job_of(SIX, low, *readings(30.0, both_dead), high, *readings(30.0, one_dead)))
    text = text["Injection pressure: low pressure against high pressure"]
    text = re.sub(r" %, \d+ to \d+\)", " %)", text)
    assert "cylinder 3 is dead (0 %) at low pressure and dead (0 %) at high pressure: injection pressure makes" in text
    assert "cylinder 5 is dead (0 %) at low pressure and even (100 %) at high pressure: recovers by 100 points" in text


def test_above_what_pressure_a_cylinder_fires():
    runs = []
    for mpa, cuts in ((5, ONE_DEAD), (12, ONE_DEAD), (18, ONE_WEAK), (24, EVEN)):
        runs += [RunStarted(RunKind.IDLE, pressure_value=mpa), *readings(30.0, cuts)]
    text = said(job_of(SIX, *runs))["Injection pressure: 5 MPa against 24 MPa"]
    assert "it fires only above a pressure between 12 MPa and 18 MPa" in text


def test_mended_not_mended_and_another_now_low():
    before, after = RunStarted(RunKind.IDLE), RunStarted(RunKind.IDLE, after_repair=True)
    title = "Before against after the repair"
    text = said(job_of(SIX, before, *readings(30.0, ONE_DEAD), after, *readings(30.0, EVEN)))[title]
    assert "mended, a change " in text
    assert text.endswith("times what the readings wander")
    assert "not mended" in said(job_of(SIX, before, *readings(30.0, ONE_DEAD), after, *readings(30.0, ONE_DEAD)))[title]
    other = {1: 37.5, 2: 30.0, 3: 37.5, 4: 37.5, 5: 37.5, 6: 37.5}
    text = said(job_of(SIX, before, *readings(30.0, ONE_DEAD), after, *readings(30.0, other)))[title]
    assert "cylinder 2 was even (100 %) and is dead (0 %): low now and not before" in text


def test_a_repeat_that_disagrees_is_said():
    run, repeat = RunStarted(RunKind.IDLE), RunStarted(RunKind.IDLE, repeat=True)
    text = said(job_of(SIX, run, *readings(30.0, EVEN), repeat, *readings(30.0, ONE_DEAD)))
    assert "the two runs disagree" in text["Run 1 against its repeat, run 2"]
    text = said(job_of(SIX, run, *readings(30.0, EVEN), repeat, *readings(30.0, EVEN)))
    assert "agree within their uncertainty" in text["Run 1 against its repeat, run 2"]


def test_two_low_cylinders_on_one_driver_with_the_chance_of_it():
    """Of two low cylinders of eight with drivers in pairs, one in seven of the others shares the first one's."""
    engine = Engine(
        8, arrangement=Arrangement.VEE, banks=((1, 3, 5, 7), (2, 4, 6, 8)), drivers=((1, 4), (6, 7), (2, 3), (5, 8))
    )
    cuts = {c: 30.0 if c in (1, 4) else 36.0 for c in engine.numbers}
    text = said(job_of(engine, RunStarted(RunKind.IDLE), *readings(30.0, cuts)))["What the low cylinders share"]
    assert "cylinders 1 and 4 share a driver: of 2 low cylinders by chance 14 % would" in text


def test_low_cylinders_that_share_nothing_are_said_to():
    cuts = {1: 30.0, 2: 40.0, 3: 40.0, 4: 30.0, 5: 40.0, 6: 40.0}
    text = said(job_of(SIX, RunStarted(RunKind.IDLE), *readings(30.0, cuts)))["What the low cylinders share"]
    assert "share no bank" in text


def test_a_difference_is_said_against_what_readings_wander():
    assert wander(-0.3) == "no more than what the readings wander"
    assert wander(-4.23) == wander(4.23) == "4.2 times what the readings wander"
    assert wander(17.9) == "18 times what the readings wander"


def test_what_was_found_of_unchanged_runs_holds_and_everything_else_is_worked_out_anew():
    first, second = RunStarted(RunKind.IDLE), RunStarted(RunKind.IDLE, repeat=True)
    earlier = job_of(SIX, first, *readings(30.0, ONE_DEAD), second, *readings(30.0, {1: 37.5, 2: 37.5}))
    before = (earlier, diagnose(earlier))
    one, two = earlier.runs
    later = replace(earlier, runs=(one, replace(two, cuts=(*two.cuts, replace(two.cuts[0], cylinder=3)))))
    now = diagnose(later, before=before)
    assert now == diagnose(later)
    assert now.runs[0] is before[1].runs[0]
    assert now.runs[1] != before[1].runs[1]
    other = replace(later, engine=Engine(6, (1, 4, 2, 6, 3, 5)))
    assert diagnose(other, before=before) == diagnose(other)
