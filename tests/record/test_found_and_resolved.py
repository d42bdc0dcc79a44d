"""However many jobs somebody worked on, all are found; and only what put an entry right stands as what replaced it."""

from __future__ import annotations

from pathlib import Path

import pytest

from journal.facts import Correction, Cut, Note, PartAnswer, PartState, PartWanted, Withdrawal
from journal.record import lines
from journal.record.replay import replay
from journal.record.store import Store
from tests.record.arrange import opened


@pytest.mark.parametrize("count", range(1, 6))
def test_as_many_jobs_are_found_as_there_are_whether_they_are_few_or_many(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, count: int
) -> None:
    monkeypatch.setattr(lines, "_FEW", 3)
    with Store.open(tmp_path) as store:
        jobs = [opened(technician="Ada") for _ in range(count)]
        other = opened(technician="Bo")
        store.append(*(entry for job in (*jobs, other) for entry in job.entries))
        for job in jobs:
            store.note_summary(job.job, "", {3: "weak"})
        wanted = {job.job for job in jobs}
        assert {line.id for line in store.jobs(technician="Ada")} == wanted
        assert {line.id for line in store.jobs(standing="weak")} == wanted
        assert {line.id for line in store.jobs(standing="weak", technician="Ada")} == wanted
        assert [line.id for line in store.jobs(technician="Bo")] == [other.job]
        assert len(store.jobs(technician="Ada", limit=2)) == min(2, count)


def test_what_the_desk_answered_and_what_is_about_an_entry_elsewhere_replaces_nothing() -> None:
    job = opened()
    wanted = job.say(PartWanted("injector", 1, 3))
    job.say(PartAnswer(wanted.id, PartState.ORDERED))
    cut = job.say(Cut(3, 30.0))
    right = job.say(Correction(cut.id, Cut(3, 31.0)))
    away = job.say(Withdrawal(right.id))
    job.say(Withdrawal("00000000-0000-7000-8000-000000000000"))
    job.say(Note("x"))
    stands = replay(job.entries)
    assert stands.replaced_by == {cut.id: (right.id,), right.id: (away.id,)}
    assert stands.runs[-1].cuts[0].value == 30.0
