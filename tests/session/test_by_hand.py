"""A number entered or put right by hand is doubted as a spoken one is, and a "hold on" lasts between commands."""

from __future__ import annotations

import os
import stat
import time
from pathlib import Path

import pytest

from journal.corrected import doubt
from journal.facts import Baseline, Body, Check, Condition, Cut, Note, Quantity, RunEnded, RunKind, RunStarted, Subject
from journal.holding import HOLDING_FILE, is_holding, keep_holding
from journal.record.job import Job
from journal.record.replay import replay
from journal.session import local_offset_minutes
from tests.record.arrange import Scribe, opened

READ = (Cut(1, 37.5), Cut(2, 37.4), Cut(3, 37.6))


def run_of(*bodies: Body, start: RunStarted | None = None) -> tuple[Scribe, Job]:
    scribe = opened()
    scribe.say(start or RunStarted(RunKind.IDLE))
    for body in bodies:
        scribe.say(body)
    return scribe, replay(scribe.entries)


def test_what_the_run_leads_one_to_expect_is_not_doubted_and_what_it_does_not_is_asked_about() -> None:
    _, job = run_of(Baseline(30.0), *READ)
    assert doubt(job, Cut(4, 37.5)) == doubt(job, Baseline(31.0)) == doubt(job, Note("x")) == ""
    assert doubt(job, Cut(4, 375.0)) == (
        "cylinder 4 cut: 375: that is not what this job leads one to expect. Is it right all the same?"
    )
    assert doubt(job, Check(Subject.LASH, "measured", 2, value=40.0, unit="mm"))
    assert doubt(job, Condition(Quantity.ENGINE_SPEED, 70000.0))


def test_the_number_that_is_replaced_does_not_count_itself() -> None:
    scribe, job = run_of(Baseline(300.0), Condition(Quantity.ENGINE_SPEED, 4000.0))
    baseline, speed = scribe.entries[2].id, scribe.entries[3].id
    assert doubt(job, Baseline(30.0)) and not doubt(job, Baseline(30.0), entry=baseline)
    right = Condition(Quantity.ENGINE_SPEED, 700.0)
    assert doubt(job, right) and not doubt(job, right, entry=speed)


def test_it_is_held_against_the_run_that_it_belongs_to() -> None:
    scribe, _ = run_of(Baseline(30.0), *READ, RunEnded())
    old = scribe.entries[3].id
    scribe.say(RunStarted(RunKind.IDLE, repeat=True))
    scribe.say(Baseline(100.0))
    job = replay(scribe.entries)
    assert doubt(job, Cut(4, 37.5)) and not doubt(job, Cut(4, 120.0))
    assert doubt(job, Cut(4, 120.0), run=1) and not doubt(job, Cut(4, 37.5), run=1)
    assert doubt(job, Cut(1, 120.0), entry=old) and not doubt(job, Cut(1, 38.5), entry=old)
    scribe.say(RunEnded())
    assert not doubt(replay(scribe.entries), Cut(4, 300.0)), "no run in progress: only what is usual"
    assert not doubt(job, Cut(4, 300.0), run=7) and not doubt(job, Cut(4, 300.0), entry="of no run")


def test_a_cut_in_another_unit_is_held_against_the_runs_own() -> None:
    start = RunStarted(RunKind.IDLE, Quantity.FUEL_RATE, "L/h")
    _, job = run_of(Baseline(3.0), start=start)
    one = 3.785411784  # litres in a US gallon (NIST SP 811, from memory)
    assert not doubt(job, Cut(1, 3.7 / one, quantity=Quantity.FUEL_RATE, unit="gal/h"))
    assert doubt(job, Cut(1, 3.7, quantity=Quantity.FUEL_RATE, unit="gal/h"))
    assert doubt(job, Cut(1, 3.7, quantity=Quantity.FUEL_RATE, unit="kg/h")), "no litre is a kilogram"
    _, job = run_of(Baseline(3.0 / one), start=RunStarted(RunKind.IDLE, Quantity.FUEL_RATE, "gal/h"))
    assert not doubt(job, Cut(1, 3.7, quantity=Quantity.FUEL_RATE, unit="L/h"))
    assert doubt(job, Cut(1, 3.7)) and not doubt(job, Cut(1, 3.7 / one))


@pytest.mark.parametrize(("stranded", "asked"), [(1, False), (2, True)])
def test_a_baseline_is_doubted_where_most_of_the_cuts_could_not_be_with_it(stranded: int, asked: bool) -> None:
    cuts = [Cut(n, 75.0 if n <= stranded else 37.5) for n in (1, 2)]
    scribe, job = run_of(Baseline(30.0), *cuts)
    assert bool(doubt(job, Baseline(30.0), entry=scribe.entries[2].id)) is asked
    scribe.say(Cut(3, None, no_change=True))
    scribe.say(Cut(4, 900.0, unit="mg"))
    assert bool(doubt(replay(scribe.entries), Baseline(30.0), entry=scribe.entries[2].id)) is asked, "they say nothing"


def test_hold_on_is_of_one_job_until_carry_on(tmp_path: Path) -> None:
    assert not is_holding(tmp_path, "a")
    keep_holding(tmp_path, "a", False)
    keep_holding(tmp_path, "a", True)
    assert is_holding(tmp_path, "a") and not is_holding(tmp_path, "b")
    keep_holding(tmp_path, "b", False)
    assert is_holding(tmp_path, "a"), "another job carries on"
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / HOLDING_FILE).stat().st_mode) == 0o600
    keep_holding(tmp_path, "a", False)
    assert not is_holding(tmp_path, "a") and not (tmp_path / HOLDING_FILE).exists()
    (tmp_path / HOLDING_FILE).write_bytes(b"\xff\xfe")
    assert not is_holding(tmp_path, "a")


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="the zone of this system cannot be set for a moment")
@pytest.mark.parametrize(("zone", "minutes"), [("UTC0", 0), ("AAA-05:30", 330), ("BBB03:30", -210)])
def test_an_entry_has_the_offset_of_the_place_in_minutes(
    zone: str, minutes: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """POSIX writes zones west of Greenwich as positive."""
    with monkeypatch.context() as patched:
        patched.setenv("TZ", zone)
        time.tzset()
        assert local_offset_minutes() == minutes
    time.tzset()
