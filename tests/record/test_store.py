"""What has been acknowledged is on disk and stays as it was."""

from __future__ import annotations

import sqlite3
import uuid
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from journal.errors import BadInput, NotFound, RecordError
from journal.facts import (
    Answer,
    Correction,
    Cut,
    Engine,
    JobClosed,
    JobOpened,
    JobReopened,
    Note,
    PartAnswer,
    PartState,
    PartWanted,
    Photo,
    Question,
    Source,
    Withdrawal,
    new_id,
)
from journal.record.intake import HEARING_LAG
from journal.record.job import JobState
from journal.record.references import LETTERS, code_of
from journal.record.replay import replay
from journal.record.schema import FILE_NAME
from journal.record.store import Store
from tests.record.arrange import START, Scribe, opened


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path) as store:
        yield store


def raw(store: Store) -> sqlite3.Connection:
    """Another program at the database."""
    return sqlite3.connect(store.path)


def test_entries_come_back_as_they_went_in(store: Store) -> None:
    job = opened()
    job.say(Cut(3, 30.0), heard="three thirty", clip="cd" * 32, certainty=0.93, offset_minutes=-330)
    job.say(Note('a "quoted" note\nwith – signs 漢'))
    assert store.append(*job.entries) == job.entries
    assert store.entries(job.job) == job.entries
    assert store.job(job.job) == replay(job.entries)
    assert store.entry(job.entries[1].id) == job.entries[1]


def test_what_is_acknowledged_is_there_for_the_next_program(store: Store, tmp_path: Path) -> None:
    job = opened()
    store.append(*job.entries)
    with Store.open(tmp_path, create=False) as other:
        assert other.entries(job.job) == job.entries


def test_appending_twice_is_the_same_as_once(store: Store) -> None:
    job = opened()
    store.append(*job.entries)
    assert store.append(*job.entries, *job.entries) == job.entries * 2
    assert store.entries(job.job) == job.entries


def test_an_entry_that_contradicts_one_already_there_is_refused(store: Store) -> None:
    job = opened()
    reading = job.say(Cut(3, 30.0))
    store.append(*job.entries)
    with pytest.raises(BadInput, match="says something else"):
        store.append(replace(reading, body=Cut(3, 38.0)))
    assert store.entries(job.job) == job.entries


def test_all_of_a_batch_or_none(store: Store) -> None:
    job = opened()
    store.append(*job.entries)
    good = job.say(Cut(3, 30.0))
    with pytest.raises(BadInput, match="is not in this job"):
        store.append(good, job.say(Withdrawal(new_id(START))))
    assert len(store.entries(job.job)) == 1


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE entries SET body = '{}'",
        "DELETE FROM entries",
        "INSERT OR REPLACE INTO entries SELECT seq, id, job, at_utc, offset_minutes, technician, source, kind, heard, "
        "clip, 0.5, body FROM entries LIMIT 1",
    ],
)
def test_no_program_can_change_or_remove_an_entry(store: Store, sql: str) -> None:
    job = opened()
    store.append(*job.entries)
    with raw(store) as other, pytest.raises(sqlite3.IntegrityError, match="an entry is never"):
        other.execute(sql)
    assert store.entries(job.job) == job.entries


def test_a_job_that_was_never_opened_takes_no_entries(store: Store) -> None:
    with pytest.raises(BadInput, match="open it first"):
        store.append(Scribe().say(Cut(3, 30.0)))


@pytest.mark.parametrize("body", [Correction, Withdrawal, Answer, PartAnswer])
def test_what_is_about_another_jobs_entry_is_refused(store: Store, body: type) -> None:
    one, other = opened(), opened(at=START + timedelta(days=1))
    target = one.say(Question("four?", (Cut(4, 13.0),)))
    store.append(*one.entries, *other.entries)
    made = {
        Correction: lambda: Correction(target.id, Cut(4, 1.0)),
        Withdrawal: lambda: Withdrawal(target.id),
        Answer: lambda: Answer(target.id, choice=0),
        PartAnswer: lambda: PartAnswer(target.id, PartState.PRICED),
    }[body]()
    with pytest.raises(BadInput, match="not in this job"):
        store.append(other.say(made))


def test_the_opening_cannot_be_taken_back(store: Store) -> None:
    job = opened()
    store.append(*job.entries)
    with pytest.raises(BadInput, match="opening"):
        store.append(job.say(Withdrawal(job.entries[0].id)))


def test_an_answer_must_name_one_of_the_options(store: Store) -> None:
    job = opened()
    question = job.say(Question("four: thirteen, or thirty?", (Cut(4, 13.0), Cut(4, 30.0))))
    store.append(*job.entries)
    with pytest.raises(BadInput, match="1 to 2"):
        store.append(job.say(Answer(question.id, choice=2)))


@pytest.mark.parametrize("name", ["../../etc/passwd", "AB" * 32, "", "ab" * 31, "ab" * 32 + "\n"])
def test_a_photo_without_a_proper_checksum_is_refused(store: Store, name: str) -> None:
    job = opened()
    store.append(*job.entries)
    with pytest.raises(BadInput, match="SHA-256"):
        store.append(job.say(Photo(name, "a.jpg")))


def test_identifiers_that_are_no_uuid7_are_refused(store: Store) -> None:
    job = opened()
    store.append(*job.entries)
    with pytest.raises(BadInput, match="UUIDv7"):
        store.append(replace(job.say(Note("x")), id="1"))


def test_words_that_no_file_can_hold_are_refused_in_one_line(store: Store) -> None:
    job = opened()
    store.append(*job.entries)
    with pytest.raises(BadInput, match="half a character"):
        store.append(job.say(Note("\ud800")))
    store.append(job.say(Note("a NUL \0 is only odd")))
    assert store.job(job.job).notes[0].body.text == "a NUL \0 is only odd"


def test_two_entries_of_one_breath_keep_the_order_in_which_they_were_said(store: Store) -> None:
    job = opened()
    store.append(*job.entries)
    cuts = [job.say(Cut(i % 6 + 1, float(i)), seconds=0) for i in range(40)]
    store.append(*cuts)
    assert [r.value for r in store.job(job.job).runs[0].cuts] == [float(i) for i in range(40)]


def test_a_clock_set_back_an_hour_does_not_disturb_the_order(store: Store) -> None:
    job = opened()
    job.say(Cut(1, 37.0))
    store.append(*job.entries)
    later = job.say(Cut(2, 38.0), seconds=-3600)
    from_the_page = job.say(Note("after"), source=Source.PAGE)
    (stored,) = store.append(later)
    store.append(from_the_page)
    assert [entry.body for entry in store.entries(job.job)][1:] == [Cut(1, 37.0), Cut(2, 38.0), Note("after")]
    assert stored.at_utc - job.entries[1].at_utc == timedelta(milliseconds=1)
    assert stored.id == later.id


def test_what_was_said_before_a_tap_but_heard_after_it_keeps_its_own_time(store: Store) -> None:
    job = opened(source=Source.VOICE)
    store.append(*job.entries)
    job.at += timedelta(seconds=10)
    tap = job.say(Note("tap"), source=Source.PAGE)
    spoken = job.say(Cut(3, 30.0), seconds=-HEARING_LAG.total_seconds() + 1)
    store.append(tap)
    store.append(spoken)
    assert [entry.body for entry in store.entries(job.job)][1:] == [Cut(3, 30.0), Note("tap")]


def test_what_is_said_about_an_entry_sorts_after_it_whatever_the_clock_says(store: Store) -> None:
    job = opened()
    reading = job.say(Cut(3, 30.0))
    store.append(*job.entries)
    store.append(job.say(Withdrawal(reading.id), seconds=-2, source=Source.PAGE))
    assert store.job(job.job).runs == ()


def test_entries_made_elsewhere_come_in_exactly_as_they_are(store: Store) -> None:
    job = opened()
    job.say(Cut(1, 37.0))
    earlier = job.say(Note("earlier"), seconds=-500)
    assert store.merge(job.entries, carried=True) == job.entries
    assert store.merge(job.entries, carried=True) == []
    assert earlier in store.entries(job.job)


def test_live_updates_come_in_order_of_arrival_with_growing_numbers(store: Store) -> None:
    one, other = opened(), opened(at=START - timedelta(days=1))
    store.append(*one.entries)
    seen = store.last_seq()
    store.append(*other.entries)
    note = one.say(Note("later"))
    store.append(note)
    arrived = store.since(seen)
    assert [entry for _, entry in arrived] == [*other.entries, note]
    assert [seq for seq, _ in arrived] == sorted({seq for seq, _ in arrived})
    assert [entry for _, entry in store.since(seen, one.job)] == [note]
    assert store.since(store.last_seq()) == []


def test_a_job_kept_in_memory_shows_what_another_session_wrote(store: Store, tmp_path: Path) -> None:
    job = opened()
    store.append(*job.entries)
    assert store.job(job.job).runs == ()
    with Store.open(tmp_path) as other:
        other.append(job.say(Cut(3, 30.0)))
    assert len(store.job(job.job).runs) == 1


def test_what_was_read_in_a_transaction_that_failed_is_forgotten(store: Store) -> None:
    job = opened()
    store.append(*job.entries)
    refused, note = job.say(Note("refused")), job.say(Note("kept"))
    with pytest.raises(BadInput):
        store.append(refused, job.say(Withdrawal(new_id(START))))
    store.check_merge([refused])
    store.append(note)
    assert [fact.body.text for fact in store.job(job.job).notes] == ["kept"]


def test_a_job_erased_and_brought_in_again_elsewhere_is_read_anew(store: Store, tmp_path: Path) -> None:
    job = opened()
    job.say(Note("first"))
    store.append(*job.entries)
    assert store.job(job.job).notes
    with Store.open(tmp_path) as other:
        other.erase(job.job)
        other.append(job.entries[0], job.say(Note("second")))
    assert [fact.body.text for fact in store.job(job.job).notes] == ["second"]


def test_jobs_are_listed_latest_first_with_what_a_person_looks_for(store: Store) -> None:
    first = opened(technician="Ada")
    store.append(*first.entries)
    second = Scribe(at=START + timedelta(days=1), technician="Bo")
    second.open("forestry loader", "no power", 8)
    second.say(Question("four: thirteen, or thirty?", (Cut(4, 13.0), Cut(4, 30.0))))
    store.append(*second.entries)
    line, older = store.jobs()
    assert (line.id, line.unit, line.complaint, line.technician) == (second.job, "forestry loader", "no power", "Bo")
    assert (line.entries, line.waiting, line.state) == (2, 1, JobState.OPEN)
    assert line.opened_at == second.entries[0].at_utc and line.last_at == second.entries[-1].at_utc
    store.append(first.say(Cut(1, 30.0), seconds=5 * 86400))
    assert [line.id for line in store.jobs()] == [first.job, second.job]
    assert [line.id for line in store.jobs(limit=1, offset=1)] == [second.job]
    assert older.reference != line.reference


def found(store: Store, **asked: object) -> list[str]:
    return [line.unit for line in store.jobs(**asked)]  # type: ignore[arg-type]


def test_jobs_are_found_by_words_state_technician_date_and_standing(store: Store) -> None:
    pump = Scribe(technician="Ada")
    pump.open("irrigation pump", "misses at idle")
    part = pump.say(PartWanted("valve bridge", cylinder=3))
    loader = Scribe(at=START + timedelta(days=2), technician="Bo")
    loader.open("forestry loader", "no power")
    loader.say(Note("coolant in the Öl, it's bad"))
    loader.say(JobClosed("wiring", 3, "chafed harness"))
    store.append(*pump.entries, *loader.entries)
    store.note_summary(pump.job, "Cylinder 3 is dead", {3: "dead", 1: "even"}, causes="valve train")

    assert found(store, text="irrig") == ["irrigation pump"]
    assert found(store, text="POWER") == ["forestry loader"]
    assert found(store, text="harness chaf") == ["forestry loader"]
    assert found(store, text="öl") == ["forestry loader"]
    assert found(store, text="valve train") == ["irrigation pump"]
    assert found(store, text="pump loader") == []
    assert found(store, state="waiting for parts") == ["irrigation pump"]
    assert found(store, state=JobState.CLOSED) == ["forestry loader"]
    assert found(store, technician="Bo") == ["forestry loader"]
    assert found(store, standing="dead") == ["irrigation pump"]
    assert found(store, standing="weak") == []
    assert found(store, since=START + timedelta(days=1)) == ["forestry loader"]
    assert found(store, until=START + timedelta(days=1)) == ["irrigation pump"]
    assert found(store, text="pump", standing="dead", technician="Ada", state="waiting for parts") == [
        "irrigation pump"
    ]
    (line,) = store.jobs(text="pump")
    assert (line.headline, line.standings) == ("Cylinder 3 is dead", {1: "even", 3: "dead"})
    store.note_summary(pump.job, "Cylinder 2 is weak", {2: "weak"})
    (line,) = store.jobs(standing="weak")
    assert (line.headline, line.standings) == ("Cylinder 2 is weak", {2: "weak"})
    assert found(store, standing="dead") == found(store, text="valve train") == []
    store.append(pump.say(PartAnswer(part.id, PartState.ARRIVED), source=Source.DESK, technician="parts"))
    (line,) = store.jobs(text="pump")
    assert (line.state, line.technician) == (JobState.OPEN, "Ada")


def test_a_search_follows_corrections(store: Store) -> None:
    job = opened()
    note = job.say(Note("heavy smoke"))
    store.append(*job.entries)
    store.append(job.say(Correction(note.id, Note("light smoke"))))
    assert found(store, text="heavy") == [] and found(store, text="light smoke") == ["irrigation pump"]
    store.append(job.say(Withdrawal(note.id)))
    assert found(store, text="smoke") == []


@given(text=st.text(alphabet=st.characters(exclude_categories=()), max_size=30))
@example(text="0\ud800")
@example(text='pump "\0')
@settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_is_typed_into_the_search_is_only_searched_for(store: Store, text: str) -> None:
    assert isinstance(store.jobs(text=text), list)


def test_the_open_job_is_the_one_opened_or_reopened_last_not_the_one_touched_last(store: Store) -> None:
    assert store.latest_open() is None
    first, second = opened(), opened(at=START + timedelta(hours=1))
    part = first.say(PartWanted("bridge"))
    store.append(*first.entries, *second.entries)
    first.at = START + timedelta(hours=2)
    store.append(first.say(PartAnswer(part.id, PartState.PRICED), source=Source.DESK))
    assert store.latest_open() == second.job
    second.at = START + timedelta(hours=3)
    store.append(second.say(JobClosed("unknown")))
    assert store.latest_open() == first.job
    store.append(second.say(JobReopened()))
    assert store.latest_open() == second.job


def test_a_job_is_found_by_its_reference_by_more_of_it_and_by_its_identifier(store: Store) -> None:
    job, other = opened(), opened(at=START + timedelta(days=30))
    store.append(*job.entries, *other.entries)
    reference = store.line(job.job).reference
    assert len(reference) == 4 and reference.isalpha()
    assert store.find(reference) == store.find(f" {reference.lower()} ") == store.find(job.job) == job.job
    with pytest.raises(BadInput, match="several"):
        store.find(job.job[:2])
    wrong = reference[:3] + ("B" if reference[3] != "B" else "C")
    with pytest.raises(NotFound, match=reference):
        store.find(wrong)
    with pytest.raises(NotFound, match="irrigation"):
        store.find("irrig")
    with pytest.raises(BadInput):
        store.find("  ")


def test_a_reference_is_the_beginning_of_twelve_letters_made_from_the_random_bits() -> None:
    """The last 62 bits of a UUIDv7 are random (RFC 9562, 5.7)."""
    job_id = new_id(START)
    value = int(uuid.UUID(job_id)) % 2**62
    assert code_of(job_id) == "".join(LETTERS[value // len(LETTERS) ** place % len(LETTERS)] for place in range(12))


def test_references_stay_different_when_their_letters_collide(store: Store) -> None:
    base = new_id(START)
    twin = base[:1] + ("1" if base[1] != "1" else "2") + base[2:]  # the same random bits, another time
    for job_id in (base, twin):
        store.append(*opened(job=job_id).entries)
    references = [store.line(job_id).reference for job_id in (base, twin)]
    assert references == [code_of(base)[:4], code_of(base)[:5]]
    assert {store.find(reference) for reference in references} == {base, twin}


def test_a_missing_journal_is_not_made_unless_asked(tmp_path: Path) -> None:
    with pytest.raises(NotFound, match="no journal"):
        Store.open(tmp_path / "none", create=False)
    assert not (tmp_path / "none").exists()


def test_a_journal_of_a_newer_version_is_left_alone(store: Store, tmp_path: Path) -> None:
    with raw(store) as other:
        other.execute(
            "INSERT INTO _sqlite_migrations (migration_set, name, applied_at) VALUES ('journal', 'of the future', '')"
        )
    with pytest.raises(RecordError, match="newer version"):
        Store.open(tmp_path)


def test_an_entry_of_a_kind_not_known_to_this_version_is_one_clear_line(store: Store) -> None:
    job = opened()
    store.append(*job.entries)
    with raw(store) as other:
        other.execute(
            "INSERT INTO entries SELECT NULL, ?, job, at_utc, 0, '', 'typed', 'x', '', '', 1, '{\"kind\": \"x\"}' "
            "FROM entries",
            [new_id(START)],
        )
    with pytest.raises(BadInput, match="not known to this version"):
        store.job(job.job)


def test_a_file_that_is_no_database_is_one_clear_line(tmp_path: Path) -> None:
    (tmp_path / FILE_NAME).write_text("not a database, but long enough to be looked at" * 20)
    with pytest.raises(RecordError, match="damaged"):
        Store.open(tmp_path)


def test_an_unknown_job_or_entry_is_one_clear_line(store: Store) -> None:
    with pytest.raises(NotFound):
        store.job(new_id(START))
    with pytest.raises(NotFound):
        store.entry("0")
    with pytest.raises(NotFound):
        store.entry("")


def test_an_engine_that_was_corrected_shows_in_the_line(store: Store) -> None:
    job = opened()
    store.append(*job.entries)
    store.append(job.say(Correction(job.entries[0].id, JobOpened("orchard pump", Engine(4), "rough"))))
    (line,) = store.jobs()
    assert (line.unit, line.complaint) == ("orchard pump", "rough")
