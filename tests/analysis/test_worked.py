"""Small jobs come out as they came out before, to a part in 3,000."""

from __future__ import annotations

import json

import pytest

from tests.analysis.worked import DATA, differences, facts
from tests.analysis.worked_jobs import jobs

KEPT = json.loads(DATA.read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", KEPT)
def test_a_small_job_comes_out_as_before(name: str) -> None:
    assert not differences(KEPT[name], facts(name))


def test_every_small_job_is_kept() -> None:
    assert sorted(KEPT) == sorted(jobs())
