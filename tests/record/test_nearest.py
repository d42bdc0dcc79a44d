"""A reference that no job has is answered with the nearest there are: by letters, then by what they are called."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

import pytest

from journal.errors import BadInput, NotFound
from journal.facts import Engine, JobOpened
from journal.record.references import LETTERS, code_of
from journal.record.store import Store
from tests.record.arrange import Scribe


def refused(store: Store, said: str) -> str:
    with pytest.raises(NotFound) as told:
        store.find(said)
    return str(told.value)


def with_jobs(store: Store, units: dict[str, str]) -> dict[str, str]:
    """Jobs of these identifiers and units; the unit of each reference."""
    for job, unit in units.items():
        scribe = Scribe(job=job)
        scribe.say(JobOpened(unit, Engine(6)))
        store.append(*scribe.entries)
    return {reference: units[job] for job, reference in store.references()}


def alike(count: int) -> list[str]:
    """Identifiers of so many jobs whose references differ in their last letter only."""
    found: dict[str, dict[str, str]] = defaultdict(dict)
    for number in range(100_000):
        job = f"0198f0a0-0000-7000-8000-{number:012x}"
        code = code_of(job)[:4]
        found[code[:3]][code] = job
        if len(found[code[:3]]) == count:
            return list(found[code[:3]].values())
    raise AssertionError("no such identifiers")


def test_in_an_empty_journal_it_is_said_that_there_is_no_job(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store:
        assert refused(store, "ABCD") == "there is no job 'ABCD': no job has been opened in this journal yet"
        for said in ("", "  "):
            with pytest.raises(BadInput, match="which job: give its reference"):
                store.find(said)


def test_of_many_that_are_nearly_it_three_are_named_with_their_units(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store:
        units = with_jobs(store, {job: f"pump {number}" for number, job in enumerate(alike(5))})
        start = next(iter(units))[:3]
        slip = start + next(letter for letter in LETTERS if start + letter not in {each[:4] for each in units})
        told = refused(store, slip)
        assert told.startswith(f"there is no job {slip!r}; nearest: ") and told.count("(") == 3
        assert sum(f"{reference} ({unit})" in told for reference, unit in units.items()) == 3


def test_what_is_like_no_reference_is_looked_for_in_the_units_names(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store:
        named = ["Pump 17", "ferry", "17 crane", "old 17", "17 drill"]
        units = with_jobs(store, {f"0198f0a0-0000-7000-8000-{n:012x}": unit for n, unit in enumerate(named)})
        assert refused(store, "!?") == "there is no job '!?': `journal jobs` lists them"
        told = refused(store, "17")
        assert told.startswith("there is no job '17'; nearest: ") and told.count("(") == 3 and "ferry" not in told
        of_ferry = next(reference for reference, unit in units.items() if unit == "ferry")
        assert f"{of_ferry} (ferry)" in refused(store, "feRRy"), "however it is written"
