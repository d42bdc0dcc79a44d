"""What holds for every job that can be written down at all."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from journal.errors import BadInput
from journal.facts import Correction, Entry, Question, Withdrawal, new_id
from journal.facts.codec import body_from_json, body_to_json, entry_from_json, entry_to_json
from journal.record.replay import replay
from journal.record.resolve import target_of
from journal.record.rows import check_about
from journal.record.store import Store
from tests.record.bodies import bodies, jobs

many = settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
few = settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))


@given(entries=jobs(), seed=st.integers(0, 1000))
@many
def test_replay_never_raises_and_does_not_depend_on_the_order_of_arrival(entries: list[Entry], seed: int) -> None:
    job = replay(entries)
    shuffled = entries + random.Random(seed).sample(entries, len(entries) // 2)
    random.Random(seed).shuffle(shuffled)
    assert replay(shuffled) == job
    assert len(job.entries) == len(entries)


@given(entries=jobs())
@many
def test_no_correction_or_withdrawal_is_left_to_count_by_itself(entries: list[Entry]) -> None:
    job = replay(entries)
    assert not any(isinstance(entry.body, Correction | Withdrawal) for entry in job.effective.values())
    readings = [r for run in job.runs for r in (*run.baselines, *run.cuts, *run.conditions)] + list(job.conditions)
    assert {r.entry for r in readings} <= set(job.effective)
    assert len({r.entry for r in readings}) == len(readings)
    assert {asked.question.entry.id for asked in job.questions} <= {
        entry.id for entry in entries if isinstance(entry.body, Question)
    }


@given(entries=jobs(), data=st.data())
@many
def test_taking_an_entry_back_and_restoring_it_changes_nothing(entries: list[Entry], data: st.DataObject) -> None:
    target = data.draw(st.sampled_from(entries))
    last = max(entry.at_utc for entry in entries)
    first_at, second_at = last + timedelta(seconds=1), last + timedelta(seconds=2)
    away = replace(target, id=new_id(first_at), at_utc=first_at, body=Withdrawal(target.id), technician="")
    back = replace(away, id=new_id(second_at), at_utc=second_at, body=Withdrawal(away.id))
    before, after = replay(entries), replay([*entries, away, back])
    same = {"entries": (), "replaced_by": {}, "technicians": ()}
    assert replace(after, **same) == replace(before, **same)  # type: ignore[arg-type]


@given(body=bodies(st.just("019cd000-0000-7000-8000-000000000000")))
@many
def test_every_body_reads_back_as_it_was_written(body: object) -> None:
    text = json.dumps(body_to_json(body), allow_nan=False)  # type: ignore[arg-type]
    assert body_from_json(json.loads(text)) == body


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@given(entries=jobs(), data=st.data(), value=json_values)
@many
def test_an_entry_with_anything_in_any_field_is_read_or_refused_in_one_line(
    entries: list[Entry], data: st.DataObject, value: object
) -> None:
    written = entry_to_json(data.draw(st.sampled_from(entries)))
    inside = data.draw(st.booleans())
    fields = written["body"] if inside else written
    fields[data.draw(st.sampled_from([*sorted(fields), "other"]))] = value
    try:
        entry = entry_from_json(written)
    except BadInput as refused:
        assert "\n" not in str(refused) and len(str(refused)) < 300
    else:
        assert entry_from_json(entry_to_json(entry)) == entry


def sound(entries: list[Entry]) -> list[Entry]:
    """Those that a store takes: what is about an entry that is not there, or cannot be said of it, is left out."""
    kept = {entries[0].id: entries[0]}
    for entry in entries[1:]:
        target = target_of(entry.body)
        try:
            if target is not None:
                check_about(entry, kept[target])
        except (KeyError, BadInput):
            continue
        kept[entry.id] = entry
    return list(kept.values())


@given(entries=jobs(), data=st.data())
@few
def test_a_store_gives_back_what_it_was_given_in_any_order_and_any_portions(
    tmp_path_factory: pytest.TempPathFactory, entries: list[Entry], data: st.DataObject
) -> None:
    """By merging: the whole job, then any shuffled portions of it again, is the job."""
    folder: Path = tmp_path_factory.mktemp("journal")
    with Store.open(folder) as store:
        entries = sound(entries)
        assert len(store.merge(data.draw(st.permutations(entries)), carried=True)) == len(entries)
        assert store.merge(data.draw(st.lists(st.sampled_from(entries))), carried=True) == []
        assert store.job(entries[0].job) == replay(entries)
        assert store.line(entries[0].job).entries == len(entries)
