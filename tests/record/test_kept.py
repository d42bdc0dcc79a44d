"""The jobs kept in memory: as few as are worked on, read once, and always as they are on disk."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from journal.errors import BadInput
from journal.facts import Cut, Note
from journal.record.store import Store
from tests.record.arrange import Scribe, opened


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "journal") as store:
        yield store


def test_a_job_is_replayed_once_for_each_change(store: Store) -> None:
    job = opened()
    store.append(*job.entries)
    first = store.job(job.job)
    assert store.job(job.job) is first
    store.append(job.say(Note("n")))
    second = store.job(job.job)
    assert second is not first and store.job(job.job) is second
    assert [fact.body.text for fact in second.notes] == ["n"]


def test_the_three_jobs_asked_for_last_are_kept(store: Store) -> None:
    jobs = [opened() for _ in range(4)]
    store.append(*(entry for job in jobs for entry in job.entries))
    seen = {job.job: store.job(job.job) for job in jobs[:3]}
    assert all(store.job(id_) is job for id_, job in seen.items())
    store.job(jobs[0].job)  # asked for again: the second is now the one not asked for longest
    store.job(jobs[3].job)
    assert store.job(jobs[0].job) is seen[jobs[0].job]
    assert store.job(jobs[2].job) is seen[jobs[2].job]
    assert store.job(jobs[1].job) is not seen[jobs[1].job]
    assert store.job(jobs[1].job) == seen[jobs[1].job]


def test_entries_come_in_order_whoever_wrote_them_and_whenever(store: Store, tmp_path: Path) -> None:
    job = opened()
    early, late = job.say(Cut(1, 30.0)), job.say(Cut(2, 31.0))
    store.merge([job.entries[0], late], carried=False)
    assert store.entries(job.job) == [job.entries[0], late]
    with Store.open(tmp_path / "journal") as other:
        other.merge([early], carried=False)
    assert store.entries(job.job) == job.entries
    assert [cut.cylinder for run in store.job(job.job).runs for cut in run.cuts] == [1, 2]


def test_what_is_refused_leaves_what_is_kept_as_it_is_on_disk(store: Store) -> None:
    job = opened()
    store.append(*job.entries)
    before = store.entries(job.job)
    stranger = Scribe()
    with pytest.raises(BadInput):
        store.append(job.say(Note("good")), stranger.say(Note("of a job that was never opened")))
    assert store.entries(job.job) == before
    good = job.say(Note("good again"))
    store.append(good)
    assert store.entries(job.job) == [*before, good]
