"""A job is studied with what the shop's own closed jobs teach, and its headline is kept for lists."""

from __future__ import annotations

from pathlib import Path

import pytest

from journal.facts import Engine, JobClosed, JobOpened
from journal.record.store import Store
from journal.session import Session, open_job
from journal.study import SWITCH, history_of, study

GOOD = (1, 2, 4, 5, 6)
DEAD_THREE = ("idle cut-out test", "baseline thirty", "cylinder three no change", *(f"{c} cut 37.5" for c in GOOD))


def a_job(store: Store, six: Engine, closed_as: str = "") -> str:
    session = Session(store, open_job(store, JobOpened("Pump", six, "misses"), "Ash"))
    for line in DEAD_THREE:
        session.type(line)
    if closed_as:
        session.enter(JobClosed(closed_as, 3))
    return session.job_id


def chance(store: Store, job: str, key: str) -> float:
    _, findings = study(store, job)
    return next(c.probability for c in findings.cylinders[0].causes if c.key == key)


def test_causes_confirmed_in_this_shop_become_likelier_and_it_is_said(tmp_path: Path, six: Engine) -> None:
    with Store.open(tmp_path) as store:
        job = a_job(store, six)
        before = chance(store, job, "camshaft")
        for _ in range(5):
            a_job(store, six, closed_as="camshaft")
        assert chance(store, job, "camshaft") > before
        assert any("5 closed jobs of this shop" in r.text for r in study(store, job)[1].warnings)


def test_what_the_shop_has_learnt_can_be_switched_off(
    tmp_path: Path, six: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Store.open(tmp_path) as store:
        job = a_job(store, six)
        before = chance(store, job, "camshaft")
        a_job(store, six, closed_as="camshaft")
        monkeypatch.setenv(SWITCH, "off")
        assert history_of(store) is None
        assert chance(store, job, "camshaft") == before


def test_a_job_does_not_teach_itself(tmp_path: Path, six: Engine) -> None:
    with Store.open(tmp_path) as store:
        job = a_job(store, six, closed_as="camshaft")
        assert history_of(store, job) is None


def test_a_studied_job_is_found_by_its_standings(tmp_path: Path, six: Engine) -> None:
    with Store.open(tmp_path) as store:
        job = a_job(store, six)
        study(store, job)
        assert [line.id for line in store.jobs(standing="dead")] == [job]
