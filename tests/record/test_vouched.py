"""Of a job made here nothing need vouch; of what came from elsewhere it is said who signed it, or that nobody did."""

from __future__ import annotations

from pathlib import Path

from journal.facts import Cut, Note
from journal.record.keys import journal_key, name_of
from journal.record.pack import pack
from journal.record.store import Store
from journal.record.unpack import unpack
from journal.record.vouched import Vouched, vouched
from tests.record.arrange import opened


def test_it_is_told_of_entries_from_elsewhere_alone(tmp_path: Path) -> None:
    job = opened(technician="Ada")
    with Store.open(tmp_path / "there") as there:
        there.append(*job.entries)
        assert vouched(there, there.job(job.job)) == Vouched()
        pack(there, job.job, tmp_path / "job.zip")
    unsigned = job.say(Note("x"), technician="Cy")
    with Store.open(tmp_path / "here") as here:
        unpack(here, tmp_path / "job.zip")
        here.merge([unsigned], carried=True)
        mine = here.append(job.say(Cut(3, 30.0), technician="Bo"))[0]
        found = vouched(here, here.job(job.job))
    theirs, own = (name_of(journal_key(tmp_path / name).public) for name in ("there", "here"))
    assert found.by == {job.entries[0].id: f"signed by {theirs}", unsigned.id: "not signed"} and mine.id not in found.by
    assert set(found.lines) == {
        f"1 entry of Ada: signed by {theirs}.",
        "1 entry of Cy: not signed.",
        "1 entry of Bo: signed by this journal.",
        f"This journal signs as {own}.",
        "A signature tells in which journal an entry was made, not whether it is so.",
    }
