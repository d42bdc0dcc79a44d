"""Whom a file that was there already lets read, and how far behind another's an entry may be dated."""

from __future__ import annotations

import os
import stat
from datetime import timedelta
from pathlib import Path

import pytest

from journal.facts import Note
from journal.record.intake import HEARING_LAG
from journal.record.privacy import begin_private
from journal.record.store import Store
from tests.record.arrange import Scribe, opened


@pytest.mark.skipif(os.name != "posix", reason="Windows has no such modes: a user's folder is private")
@pytest.mark.parametrize(
    ("before", "after"),
    [(0o601, 0o600), (0o604, 0o600), (0o610, 0o600), (0o640, 0o600), (0o700, 0o700), (0o400, 0o400)],
)
def test_what_others_may_do_with_a_file_is_taken_away_and_what_its_owner_may_stays(
    tmp_path: Path, before: int, after: int
) -> None:
    path = tmp_path / "log"
    path.touch()
    path.chmod(before)
    begin_private(path)
    assert stat.S_IMODE(path.stat().st_mode) == after
    begin_private(tmp_path / "new")
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o600


@pytest.mark.parametrize(("more_ms", "moved"), [(0, False), (1, True)])
def test_an_entry_keeps_its_own_time_up_to_five_seconds_behind_another_writers(
    tmp_path: Path, more_ms: int, moved: bool
) -> None:
    """What is said is dated when it was said and heard a little later."""
    job = opened()
    behind = Scribe(at=job.at, technician="Bo", job=job.job)
    job.say(Note("ahead"), seconds=10)
    spoken = behind.say(Note("behind"), seconds=10 - HEARING_LAG.total_seconds() - more_ms / 1000)
    with Store.open(tmp_path) as store:
        store.append(*job.entries)
        (kept,) = store.append(spoken)
    expected = job.at + timedelta(milliseconds=1) if moved else spoken.at_utc
    assert kept.at_utc == expected
