"""Which jobs are earlier ones on the same machine: by its serial number, else by its name."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from journal.facts import Baseline, Cut, Engine, JobOpened, RunKind, RunStarted, Source
from journal.machine import MOST_EARLIER, EarlierJobs
from journal.record.store import Store
from journal.session import Session, open_job
from journal.study import study

START = datetime(2026, 3, 2, 8, tzinfo=UTC)


def opened(store: Store, day: int, unit: str = "Orchard pump 2", third: float = 36.0) -> str:
    """A job of that day with one idle run; its identifier."""
    at = START + timedelta(days=day)
    job = open_job(store, JobOpened(unit, Engine(6)), "Wren", at=at)
    session = Session(store, job, "Wren", Source.TYPED)
    session.clock = lambda: at + timedelta(minutes=1)
    session.enter(RunStarted(RunKind.IDLE))
    session.enter(Baseline(30.0))
    for cylinder in range(1, 7):
        session.enter(Cut(cylinder, third if cylinder == 3 else 36.0))
    return job


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store.open(tmp_path / "journal")


def earlier(store: Store, job: str, kept: EarlierJobs | None = None) -> list[str]:
    return [one.job for one in (kept or EarlierJobs()).of(store, store.job(job))]


def test_jobs_on_a_unit_of_the_same_name_opened_before_are_its_earlier_ones(store: Store) -> None:
    first, other = opened(store, 0), opened(store, 1, "Orchard pump 21")
    second, spelt = opened(store, 2), opened(store, 3, "ORCHARD  Pump 2")
    assert earlier(store, first) == [] and earlier(store, other) == []
    assert earlier(store, second) == [first]
    assert earlier(store, spelt) == [first, second]


def test_the_serial_number_tells_machines_apart_and_together(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    first, renamed, namesake, last = (
        opened(store, 0), opened(store, 1, "Mill drive"), opened(store, 2), opened(store, 3)
    )  # fmt: skip
    serials = {first: "", renamed: "SN 4711", namesake: "9", last: "sn4711"}
    monkeypatch.setattr("journal.machine.serial_of", lambda job: serials[job.id].replace(" ", "").casefold())
    monkeypatch.setattr("journal.machine._lines", lambda store, text: store.jobs(limit=9))
    assert earlier(store, last) == [first, renamed], "its own serial number, and the name where there is none"
    assert earlier(store, namesake) == [first]


def test_the_latest_few_are_compared_and_each_is_worked_out_once(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    jobs = [opened(store, day) for day in range(MOST_EARLIER + 2)]
    kept = EarlierJobs()
    assert earlier(store, jobs[-1], kept) == jobs[1:-1]
    monkeypatch.setattr("journal.machine.diagnose", lambda job: pytest.fail("worked out again"))
    assert earlier(store, jobs[-1], kept) == jobs[1:-1]


def test_an_earlier_job_that_was_added_to_is_worked_out_anew(store: Store) -> None:
    first, second = opened(store, 0), opened(store, 9)
    kept = EarlierJobs()
    assert kept.of(store, store.job(second))[0].runs[0].contributions[2].strength == pytest.approx(1, abs=0.05)
    session = Session(store, first, "Wren", Source.TYPED)
    session.enter(RunStarted(RunKind.IDLE))
    session.enter(Baseline(30.0))
    for cylinder in range(1, 7):
        session.enter(Cut(cylinder, 30.0 if cylinder == 3 else 37.5))
    assert kept.of(store, store.job(second))[0].runs[-1].contributions[2].strength == pytest.approx(0, abs=0.05)


def test_findings_tell_of_the_machine_before(store: Store) -> None:
    opened(store, 0)
    _, findings = study(store, opened(store, 9, third=33.0))
    assert [one.day for one in findings.earlier] == ["2026-03-02"]
    assert any(c.title == "The same machine before" for c in findings.comparisons)
