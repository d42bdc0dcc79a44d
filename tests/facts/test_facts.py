"""Entries and their bodies refuse what makes no sense, and identifiers are those of the standard."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from journal.errors import BadInput, WrongEngine
from journal.facts import (
    KINDS,
    Baseline,
    Check,
    Condition,
    Correction,
    Cut,
    Engine,
    Entry,
    GateOverridden,
    JobFact,
    JobOpened,
    Note,
    PartWanted,
    PhotoMark,
    Quantity,
    Question,
    RunKind,
    RunStarted,
    Subject,
    TroubleCode,
    kind_of,
    new_id,
    to_milliseconds,
)
from journal.facts import entry as entry_module
from journal.facts.codec import (
    body_from_json,
    body_to_json,
    entry_from_json,
    entry_to_json,
    time_from_text,
    time_to_text,
)

AT = datetime(2026, 3, 1, 8, 15, 30, 250_000, tzinfo=UTC)


def test_an_identifier_is_the_standards_example(monkeypatch: pytest.MonkeyPatch) -> None:
    """RFC 9562, appendix A.6: the UUIDv7 of 2022-02-22 14:22:22.00 GMT-05:00 with the random bits given there."""
    monkeypatch.setattr(entry_module.secrets, "randbits", lambda bits: 0xCC3 << 62 | 0b01 << 60 | 0x8C4DC0C0C07398F)
    at = datetime(2022, 2, 22, 14, 22, 22, tzinfo=timezone(timedelta(hours=-5)))
    assert new_id(at) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


@given(st.integers(0, 4_102_444_800_000))
def test_an_identifier_holds_its_moment_to_the_millisecond(milliseconds: int) -> None:
    at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=milliseconds)
    made = uuid.UUID(new_id(at))
    assert made.int >> 80 == milliseconds
    assert (made.version, made.variant) == (7, uuid.RFC_4122)


def test_identifiers_of_one_millisecond_differ() -> None:
    assert len({new_id(AT) for _ in range(1000)}) == 1000


@given(st.datetimes(min_value=datetime(1, 1, 3), max_value=datetime(9999, 12, 29), timezones=st.timezones()))
def test_a_time_reads_back_to_the_millisecond(at: datetime) -> None:
    assert time_from_text(time_to_text(at)) == to_milliseconds(at)


def test_a_time_is_written_in_utc_with_milliseconds() -> None:
    assert time_to_text(AT.astimezone(timezone(timedelta(hours=5.5)))) == "2026-03-01T08:15:30.250Z"


@pytest.mark.parametrize("text", ["", "yesterday", "2026-03-01T08:15:30", "2026-13-01T00:00:00Z", None, 5])
def test_what_is_no_moment_is_refused(text: object) -> None:
    with pytest.raises(BadInput, match="time"):
        time_from_text(text)  # type: ignore[arg-type]


def test_an_entrys_time_must_be_in_utc_and_its_certainty_a_probability() -> None:
    with pytest.raises(BadInput, match="UTC"):
        Entry(new_id(AT), new_id(AT), datetime(2026, 3, 1), Note("x"))
    with pytest.raises(BadInput, match="certainty"):
        Entry(new_id(AT), new_id(AT), AT, Note("x"), certainty=1.01)
    with pytest.raises(BadInput, match="certainty"):
        Entry(new_id(AT), new_id(AT), AT, Note("x"), certainty=float("nan"))


@pytest.mark.parametrize(
    ("year", "offset"), [(2026, 1440), (2026, -1440), (2026, 10**30), (1, 0), (1969, 0), (9999, 0)]
)
def test_an_entrys_time_must_be_one_a_clock_can_show(year: int, offset: int) -> None:
    with pytest.raises(BadInput):
        Entry(new_id(AT), new_id(AT), AT.replace(year=year), Note("x"), offset_minutes=offset)


@pytest.mark.parametrize(("year", "offset"), [(1970, -1439), (9998, 1439), (2026, 14 * 60), (2026, -12 * 60)])
def test_any_local_time_of_an_entry_can_be_shown(year: int, offset: int) -> None:
    entry = Entry(new_id(AT), new_id(AT), AT.replace(year=year), Note("x"), offset_minutes=offset)
    shown = entry.at_utc.astimezone(timezone(timedelta(minutes=entry.offset_minutes)))
    assert shown.utcoffset() == timedelta(minutes=offset)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Cut(0, 30.0),
        lambda: Cut(21, 30.0),
        lambda: Cut(3),
        lambda: Cut(3, 30.0, no_change=True),
        lambda: Cut(3, float("inf")),
        lambda: Baseline(float("nan")),
        lambda: Baseline(30.0, Quantity.ENGINE_SPEED, "bar"),
        lambda: Condition(Quantity.LOAD, 3.0, "rpm"),
        lambda: RunStarted(RunKind.IDLE, held_out=(0,)),
        lambda: RunStarted(RunKind.IDLE, pressure_value=float("nan")),
        lambda: Check(Subject.BLOW_BY, "purple"),
        lambda: Check(Subject.LEAK_DOWN, "measured"),
        lambda: Check(Subject.OVERHEAD, "damaged", part="flux"),
        lambda: TroubleCode(524_288, 0),
        lambda: TroubleCode(0, 32),
        lambda: JobFact("colour", "red"),
        lambda: PartWanted("bridge", 0),
        lambda: GateOverridden("injector", 3, "  "),
        lambda: PhotoMark("ab" * 32, "star", 0, 0, 1, 1),
        lambda: PhotoMark("ab" * 32, "ring", 0, 0, float("nan"), 1),
        lambda: Engine(0),
        lambda: Engine(21),
        lambda: Engine(4, (1, 2, 3)),
        lambda: Engine(4, (1, 2, 3, 3)),
        lambda: Engine(4, drivers=((1, 2), (2, 3))),
        lambda: Engine(4, banks=((1, 5),)),
    ],
)
def test_what_makes_no_sense_is_refused_in_one_line(make: object) -> None:
    with pytest.raises((BadInput, WrongEngine)) as refused:
        make()  # type: ignore[operator]
    assert str(refused.value) and "\n" not in str(refused.value)


def test_bodies_are_written_under_their_kind_without_defaults() -> None:
    assert body_to_json(Cut(3, 30.0)) == {"kind": "cut", "cylinder": 3, "value": 30.0}
    question = Question("four?", (Cut(4, 13.0), Correction("x", Cut(4, 30.0))))
    assert body_from_json(json.loads(json.dumps(body_to_json(question)))) == question
    opening = JobOpened("pump", Engine(2, (1, 2), drivers=((1, 2),)))
    assert body_from_json(json.loads(json.dumps(body_to_json(opening)))) == opening


@pytest.mark.parametrize("depth", [4, 150, 400, 900])
def test_a_body_nested_beyond_reason_is_refused(depth: int) -> None:
    data: dict[str, object] = {"kind": "note", "text": "x"}
    for _ in range(depth):
        data = {"kind": "correction", "target": "x", "body": data}
    with pytest.raises(BadInput, match=r"about an entry|nested"):
        body_from_json(data)


def test_a_question_about_a_correction_is_nested_no_further_than_allowed() -> None:
    asked = Question("four?", (Correction("x", Cut(4, 13.0)), Correction("x", Cut(4, 30.0))))
    assert body_from_json(body_to_json(Correction("y", asked))) == Correction("y", asked)


def test_every_kind_has_one_name() -> None:
    assert len(set(KINDS.values())) == len(KINDS)
    assert kind_of(Note("x")) == "note"


@pytest.mark.parametrize(
    "data",
    [
        None,
        {},
        {"kind": "cut"},
        {"kind": "nothing"},
        {"kind": "cut", "cylinder": 3, "value": 1.0, "more": 1},
        {"kind": "cut", "cylinder": 3.5, "value": 1.0},
        {"kind": "cut", "cylinder": True, "value": 1.0},
        {"kind": "cut", "cylinder": 3, "value": "1"},
        {"kind": "cut", "cylinder": 3, "value": 10**400},
        {"kind": "run start", "run": "sideways"},
        {"kind": "run start", "run": "idle", "held_out": 3},
        {"kind": "job opened", "unit": "pump", "engine": [6]},
        {"kind": "question", "prompt": "x", "options": [{"kind": "nothing"}]},
        {"kind": "correction", "target": "x", "body": None},
    ],
)
def test_what_is_no_body_is_refused_in_one_line(data: object) -> None:
    with pytest.raises(BadInput) as refused:
        body_from_json(data)
    assert "\n" not in str(refused.value)


def test_an_entry_needs_all_its_fields_and_no_others() -> None:
    written = entry_to_json(Entry(new_id(AT), new_id(AT), AT, Note("x")))
    assert entry_from_json(written).body == Note("x")
    for name in written:
        with pytest.raises(BadInput, match=name):
            entry_from_json({key: value for key, value in written.items() if key != name})
    with pytest.raises(BadInput, match="too many"):
        entry_from_json({**written, "colour": "red"})
    with pytest.raises(BadInput, match="JSON object"):
        entry_from_json([written])


def test_what_there_is_to_choose_from_leaves_a_refusal_one_line_that_can_be_read() -> None:
    with pytest.raises(BadInput, match=r"use one of fuel per stroke, .* …") as refused:
        body_from_json({"kind": "condition", "quantity": None, "value": 0.0})
    assert len(str(refused.value)) < 250
