"""Clocks that are wrong: what is dated far ahead is refused, and one that was ahead dates nothing after it wrongly."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from journal.errors import BadInput
from journal.facts import (
    Baseline,
    ClockSetBack,
    Correction,
    Cut,
    Engine,
    Entry,
    JobClosed,
    JobOpened,
    JobReopened,
    Note,
    Photo,
    PhotoCue,
    RunKind,
    RunStarted,
    new_id,
    to_milliseconds,
)
from journal.record.intake import AHEAD, SET_BACK
from journal.record.job import JobState
from journal.record.pack import pack
from journal.record.replay import replay
from journal.record.resolve import in_order
from journal.record.store import Store
from journal.record.unpack import unpack
from journal.record.verify import remarks, verify
from journal.session import Session, open_job
from journal.wording import describe
from tests.record.arrange import opened

NOW = to_milliseconds(datetime(2026, 11, 26, 9, 0, tzinfo=UTC))


@pytest.fixture
def store(tmp_path: Path) -> Store:
    opened = Store.open(tmp_path / "journal")
    opened.clock = lambda: NOW
    return opened


def at(store: Store, session: Session, moment: datetime) -> None:
    """Both clocks say so from now on."""
    store.clock = session.clock = lambda: moment


@pytest.fixture
def session(store: Store) -> Session:
    job = open_job(store, JobOpened("pump", Engine(6)), "Ash", at=NOW)
    return Session(store, job, clock=lambda: NOW)


@pytest.mark.parametrize("year", [2099, 9998])
def test_an_entry_made_here_and_dated_far_ahead_is_refused(store: Store, session: Session, year: int) -> None:
    ahead = datetime(year, 1, 1, tzinfo=UTC)
    with pytest.raises(
        BadInput, match=rf"is dated {year}-01-01 .* says 2026-11-26 .* set the clock that is wrong, .* no"
    ):
        store.append(Entry(new_id(NOW), session.job_id, ahead, Note("x")))
    with pytest.raises(BadInput, match="nothing was saved"):
        store.merge([Entry(new_id(NOW), session.job_id, ahead, Note("x"))], carried=False)
    assert len(store.entries(session.job_id)) == 1


def begun_ahead(folder: Path, year: int) -> tuple[str, Path]:
    """A pack of a job that was begun with the clock ahead, and goes on with it set right."""
    with Store.open(folder / f"from {year}") as other:
        ahead = datetime(year, 1, 1, tzinfo=UTC)
        other.clock = lambda: ahead
        job = open_job(other, JobOpened("loader", Engine(6)), "Bo", at=ahead)
        there = Session(other, job, clock=lambda: ahead)
        there.enter(RunStarted(RunKind.IDLE))
        there.enter(Baseline(30.0))
        pack(other, job, folder / "begun.zip")
        at(other, there, NOW - timedelta(hours=2))
        there.enter(Cut(1, 38.0))
        pack(other, job, folder / "on.zip")
    return job, folder


@pytest.mark.parametrize("year", [2099, 9998])
@pytest.mark.parametrize("names", [["begun.zip", "on.zip"], ["on.zip"], ["on.zip", "begun.zip"], ["begun.zip"]])
def test_a_pack_of_a_job_that_was_begun_with_the_clock_ahead_is_taken_and_its_times_are_set_aside(
    store: Store, session: Session, tmp_path: Path, year: int, names: list[str]
) -> None:
    job, folder = begun_ahead(tmp_path, year)
    for name in names:
        brought = unpack(store, folder / name).brought
        if name == names[0]:
            assert brought.set_aside == (
                f"3 entries of Bo are dated ahead of this machine's clock, up to {year}-01-01: the order is kept, the "
                "times say nothing",
            )
        assert unpack(store, folder / name).entries == ()
    (run,) = store.job(job).runs
    assert len(run.baselines) == 1 and len(run.cuts) == ("on.zip" in names)
    assert store.job(job).opened_at <= NOW and store.line(job).opened_at <= NOW and store.line(job).last_at <= NOW
    assert verify(store) == []
    at(store, session, NOW + timedelta(minutes=1))
    here = Session(store, job, "Ash", clock=lambda: NOW + timedelta(minutes=2))
    here.enter(Cut(2, 37.0))
    assert store.entries(job)[-1].at_utc == NOW + timedelta(minutes=2)
    assert store.latest_open() == session.job_id
    pack(store, job, tmp_path / "further.zip")
    with Store.open(tmp_path / "third") as third:
        third.clock = lambda: NOW + timedelta(minutes=3)
        unpack(third, tmp_path / "further.zip")
        assert third.entries(job) == store.entries(job) and verify(third) == []


def test_who_dates_a_closing_of_a_job_here_far_ahead_is_asked_about_as_any(
    store: Store, session: Session, tmp_path: Path
) -> None:
    pack(store, session.job_id, tmp_path / "ours.zip")
    with Store.open(tmp_path / "other") as other:
        other.clock = lambda: NOW
        unpack(other, tmp_path / "ours.zip")
        other.clock = lambda: datetime(9998, 1, 1, tzinfo=UTC)
        end = datetime(9998, 1, 1, tzinfo=UTC)
        other.append(Entry(new_id(NOW), session.job_id, end, JobClosed("unknown"), technician="Mallory"))
        pack(other, session.job_id, tmp_path / "ahead.zip")
    brought = unpack(store, tmp_path / "ahead.zip").brought
    assert brought.changes == ("the job is closed by Mallory: unknown",)
    assert brought.set_aside[0].startswith(
        "1 entry of Mallory is dated ahead of this machine's clock, up to 9998-01-01"
    )
    at(store, session, NOW + timedelta(minutes=1))
    session.enter(JobReopened())
    session.enter(Note("goes on"))
    assert store.job(session.job_id).state is JobState.OPEN
    assert store.entries(session.job_id)[-1].at_utc < NOW + timedelta(minutes=2)


def test_what_another_machine_dates_a_day_ahead_is_no_wrong_clock_and_a_moment_more_is(store: Store) -> None:
    job = opened(at=NOW)
    for more, marks in ((timedelta(), 0), (timedelta(milliseconds=1), 1)):
        latest = replace(job.say(Note("x")), at_utc=NOW + AHEAD + more)
        store.merge([*job.entries[:1], latest], carried=True)
        assert sum(isinstance(entry.body, ClockSetBack) for entry in store.entries(job.job)) == marks


def test_a_clock_that_was_ahead_dates_nothing_after_it_wrongly(store: Store, session: Session) -> None:
    at(store, session, NOW + timedelta(days=400))
    session.enter(RunStarted(RunKind.IDLE))
    session.enter(Baseline(30.0))
    wrong = session.enter(Cut(1, 38.0))
    at(store, session, NOW + timedelta(minutes=5))
    first = session.enter(Cut(2, 37.0))
    corrected = session.enter(Correction(wrong.id, Cut(1, 36.0)))
    at(store, session, NOW + timedelta(minutes=6))
    last = session.enter(Cut(3, 35.0))
    assert (first.at_utc, last.at_utc) == (NOW + timedelta(minutes=5, milliseconds=1), NOW + timedelta(minutes=6))
    assert corrected.at_utc < last.at_utc
    (run,) = store.job(session.job_id).runs
    assert [(cut.cylinder, cut.value) for cut in run.cuts] == [(1, 36.0), (2, 37.0), (3, 35.0)]
    assert sum(isinstance(entry.body, ClockSetBack) for entry in store.entries(session.job_id)) == 1
    assert verify(store) == []
    assert any("the clock was set back at 2026-11-26T09:05" in line for line in remarks(store))
    assert any("dated ahead" in line for line in remarks(store))


def test_a_job_that_was_locked_by_an_entry_of_9998_goes_on(store: Store, session: Session) -> None:
    store.clock = lambda: datetime(9998, 12, 31, 23, 59, 59, tzinfo=UTC)
    end = datetime(9998, 12, 31, 23, 59, 59, 999000, tzinfo=UTC)
    store.append(Entry(new_id(NOW), session.job_id, end, JobClosed("unknown"), technician="Mallory"))
    at(store, session, NOW + timedelta(hours=1))
    session.enter(JobReopened())
    session.enter(Note("goes on"))
    assert store.job(session.job_id).state is JobState.OPEN
    assert store.entries(session.job_id)[-1].at_utc < NOW + timedelta(hours=2)


def test_less_than_a_minute_back_needs_no_mark(store: Store, session: Session) -> None:
    at(store, session, NOW + SET_BACK)
    session.enter(Note("before"))
    at(store, session, NOW)
    after = session.enter(Note("after"))
    assert after.at_utc == NOW + SET_BACK + timedelta(milliseconds=1)
    assert not any(isinstance(entry.body, ClockSetBack) for entry in store.entries(session.job_id))
    at(store, session, NOW + timedelta(milliseconds=-1))
    assert session.enter(Note("more")).at_utc < NOW + SET_BACK


def test_a_clock_that_went_back_twice_keeps_the_order_in_which_things_were_said(store: Store, session: Session) -> None:
    said = []
    for days in (0, 500, 400, 300, 0, 0.5, 0.25):
        at(store, session, NOW + timedelta(days=days, minutes=1))
        said.append(session.enter(Note(f"{days}")).id)
    entries = [entry.id for entry in store.entries(session.job_id) if isinstance(entry.body, Note)]
    assert entries == said
    assert in_order(reversed(store.entries(session.job_id))) == store.entries(session.job_id)


def test_order_and_marks_survive_a_pack(store: Store, session: Session, tmp_path: Path) -> None:
    at(store, session, NOW + timedelta(hours=3))
    session.enter(JobClosed("unknown"))
    at(store, session, NOW + timedelta(minutes=1))
    session.enter(JobReopened())
    pack(store, session.job_id, tmp_path / "job.zip")
    with Store.open(tmp_path / "other") as other:
        other.clock = store.clock
        unpack(other, tmp_path / "job.zip")
        assert other.entries(session.job_id) == store.entries(session.job_id)
        assert other.job(session.job_id).state is JobState.OPEN


def test_a_photo_goes_where_the_last_cue_said_though_that_is_dated_ahead(store: Store, session: Session) -> None:
    at(store, session, NOW + timedelta(days=400))
    session.enter(PhotoCue("overhead", 3))
    at(store, session, NOW + timedelta(minutes=1))
    session.enter(Photo("ab" * 32, "a.jpg"))
    (picture,) = store.job(session.job_id).pictures
    assert (picture.photo.body.subject, picture.photo.body.cylinder) == ("overhead", 3)


def test_a_mark_moves_only_what_it_names_and_only_what_comes_later() -> None:
    job = opened()
    early, late, other = job.say(Note("early")), job.say(Note("late"), seconds=60), job.say(Note("other"))
    mark = replace(
        job.entries[0],
        id=new_id(early.at_utc),
        at_utc=early.at_utc + timedelta(seconds=1),
        body=ClockSetBack((late.id, early.id, "nobody")),
    )
    assert [e.id for e in in_order([*job.entries, mark])] == [job.entries[0].id, early.id, late.id, mark.id, other.id]
    assert replay([*job.entries, mark]).notes == replay(job.entries).notes
    assert "order is right" in describe(mark.body)


def test_which_job_is_open_goes_by_arrival_and_not_by_the_clock(store: Store, session: Session) -> None:
    later = open_job(store, JobOpened("loader", Engine(6)), "Ash", at=NOW - timedelta(hours=1))
    assert store.latest_open() == later
    at(store, session, NOW - timedelta(hours=2))
    session.enter(JobClosed("unknown"))
    session.enter(JobReopened())
    assert store.latest_open() == session.job_id


def test_a_job_that_was_carried_in_does_not_become_the_open_one(store: Store, session: Session, tmp_path: Path) -> None:
    with Store.open(tmp_path / "other") as other:
        job = opened(at=NOW)
        other.append(*job.entries)
        pack(other, job.job, tmp_path / "job.zip")
    unpack(store, tmp_path / "job.zip")
    assert store.latest_open() == session.job_id
    session.enter(JobClosed("unknown"))
    assert store.latest_open() == job.job, "the only one there is"


def test_that_it_was_set_back_is_noted_right_behind_what_came_before_it_was_ahead(
    store: Store, session: Session
) -> None:
    for moment in (NOW + timedelta(seconds=30), NOW + timedelta(days=400), NOW):
        at(store, session, moment)
        last = session.enter(Note("x"))
    before, _, mark, after = store.entries(session.job_id)[1:]
    assert isinstance(mark.body, ClockSetBack) and after == last
    assert before.at_utc == NOW + timedelta(seconds=30)
    assert mark.at_utc - before.at_utc == after.at_utc - mark.at_utc == timedelta(milliseconds=1)


def test_the_line_in_the_list_is_what_the_entries_say_whatever_the_clock_does(store: Store, session: Session) -> None:
    session.enter(RunStarted(RunKind.IDLE))
    for days in (-400, 1, -1, 2):
        at(store, session, NOW + timedelta(days=days))
        session.enter(Cut(2, 37.0))
        assert verify(store) == []
