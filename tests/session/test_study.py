"""A job is studied with what the shop's own closed jobs teach, and its headline is kept for lists."""

from __future__ import annotations

from pathlib import Path

import pytest

from journal.facts import Engine, JobClosed, JobOpened, Note, Photo
from journal.record.store import Store
from journal.session import Session, open_job
from journal.study import SWITCH, ClosedJobs, study
from webui import create_app

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
        assert ClosedJobs().history(store) is None
        assert chance(store, job, "camshaft") == before


def test_a_job_does_not_teach_itself(tmp_path: Path, six: Engine) -> None:
    with Store.open(tmp_path) as store:
        job = a_job(store, six, closed_as="camshaft")
        assert ClosedJobs().history(store, job) is None


def test_a_studied_job_is_found_by_its_standings(tmp_path: Path, six: Engine) -> None:
    with Store.open(tmp_path) as store:
        job = a_job(store, six)
        study(store, job)
        assert [line.id for line in store.jobs(standing="dead")] == [job]


def test_spoken_shown_and_printed_verdicts_are_one_and_the_same_after_every_job_that_closes(
    tmp_path: Path, six: Engine
) -> None:
    """The same base rates behind all three, as they are now, and never taught by the job under study itself."""
    page = create_app(tmp_path)
    with Store.open(tmp_path) as store:
        session = Session(store, a_job(store, six), "Ash")
        said = []
        for _ in range(4):
            said.append(session.type("how does it look")[0].say)
            with page.app_context():
                shown = page.extensions["journal"].state(session.job_id).findings
            printed = study(store, session.job_id)[1]
            assert (said[-1], shown) == (printed.headline, printed)
            for _ in range(3):
                a_job(store, six, closed_as="camshaft")
        assert len(set(said)) > 1, "what the closed jobs teach must matter to this test"
        session.enter(JobClosed("camshaft", 3))
        with page.app_context():
            shown = page.extensions["journal"].state(session.job_id).findings
        assert shown == study(store, session.job_id)[1]
    page.extensions["journal"].close()


def test_a_note_or_a_photo_has_nothing_worked_out_anew_and_a_reading_everything(tmp_path: Path, six: Engine) -> None:
    page = create_app(tmp_path)
    shop = page.extensions["journal"]
    with Store.open(tmp_path) as store, page.app_context():
        session = Session(store, a_job(store, six), "Ash")
        before = shop.state(session.job_id)
        session.enter(Note("valve cover gasket is new"))
        session.enter(Photo("a" * 64, "gasket.jpg", "overhead", 3))
        noted = shop.state(session.job_id)
        assert noted.findings is before.findings
        assert len(noted.job.notes) == 1 and len(noted.job.pictures) == 1, "the page shows them all the same"
        session.type("cylinder three cut 37.5")
        read = shop.state(session.job_id)
        assert read.findings != before.findings and read.findings == study(store, session.job_id)[1]
    shop.close()
