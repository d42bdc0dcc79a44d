"""What phones send is put together in order, whatever the network makes of its pieces, and has its bounds."""

from __future__ import annotations

import os
import stat
import tempfile
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from journal.errors import BadInput, RecordError
from journal.facts import Engine, JobOpened
from journal.record import spool
from journal.record.clips import RATE
from journal.record.spool import LONGEST_PIECE_S, MOST_STREAMS, UNHEARD_S, Spool
from journal.record.store import Store
from journal.session import open_job

JOB, STREAM, OTHER = "0198f0a0-0000-7000-8000-000000000000", "00112233445566aa", "ffeeddccbbaa9988"


def sound(samples: int, first: int = 0) -> bytes:
    """Samples of which each says which one it is."""
    return b"".join((at % 65536).to_bytes(2, "little") for at in range(first, first + samples))


def all_of(kept: Spool) -> bytes:
    """All that there is of its first stream."""
    stream = kept.streams()[0]
    data = b""
    while more := stream.samples(len(data) // 2, 3000):
        data += more
    return data


@settings(deadline=None)
@given(
    cuts=st.lists(st.integers(1, 799), max_size=12),
    order=st.lists(st.integers(0, 12), max_size=40),
)
def test_pieces_in_any_order_and_any_number_of_times_make_the_same_sound(cuts: list[int], order: list[int]) -> None:
    """The phone's rule is all that is needed: go on from what there is, until all of it is there."""
    whole = sound(800)
    edges = sorted({0, 800, *cuts})
    sent = list(pairwise(edges))
    with tempfile.TemporaryDirectory() as folder:
        kept = Spool(Path(folder), JOB)
        for number in order:
            begin, end = sent[number % len(sent)]
            before = kept.streams()[0].have if kept.streams() else 0
            come = kept.put(STREAM, begin, whole[2 * begin : 2 * end], device="a")
            assert come.have == (max(before, end) if begin <= before else before), "nothing with a hole before it"
        have = kept.streams()[0].have if kept.streams() else 0
        kept.put(STREAM, have, whole[2 * have :], device="a") if have < 800 else None
        assert all_of(kept) == whole


def test_a_piece_that_overlaps_adds_only_what_is_new(tmp_path: Path) -> None:
    kept = Spool(tmp_path, JOB)
    assert kept.put(STREAM, 0, sound(100), device="a").have == 100
    assert kept.put(STREAM, 60, sound(100, 60), device="a").have == 160
    assert kept.put(STREAM, 161, sound(5, 161), device="a").have == 160, "a hole of one sample"
    assert kept.put(STREAM, 160, sound(1, 160), device="a").have == 161
    assert all_of(kept) == sound(161)


def test_a_stream_that_was_begun_when_the_power_went_has_nothing_yet(tmp_path: Path) -> None:
    kept = Spool(tmp_path, JOB)
    kept.put(STREAM, 0, sound(10), device="a")
    for path in kept.streams()[0].path.glob("*.s16"):
        path.unlink()
    (stream,) = kept.streams()
    assert (stream.first, stream.have, stream.read, stream.taken) == (0, 0, 0, 0)
    assert kept.put(STREAM, 0, sound(10), device="a").have == 10 and all_of(kept) == sound(10)


def test_it_survives_a_sample_that_was_half_written(tmp_path: Path) -> None:
    kept = Spool(tmp_path, JOB)
    kept.put(STREAM, 0, sound(10), device="a")
    segment = next(kept.streams()[0].path.glob("*.s16"))
    with segment.open("ab") as file:
        file.write(b"x")
    assert kept.streams()[0].have == 10 and kept.streams()[0].samples(0, 99) == sound(10)
    kept.put(STREAM, 10, sound(5, 10), device="a")
    assert all_of(kept) == sound(15)


def test_long_sound_lies_in_segments_that_go_once_they_are_taken(tmp_path: Path) -> None:
    kept, step = Spool(tmp_path, JOB), 8 * RATE
    for at in range(0, 10 * step, step):
        kept.put(STREAM, at, sound(step, at), device="a")
    stream = kept.streams()[0]
    assert stream.first == 0 and len(list(stream.path.glob("*.s16"))) == 4
    stream.note("taken", 5 * step)
    assert stream.first == 3 * step and stream.have == 10 * step and stream.samples(5 * step, 2) == sound(2, 5 * step)
    stream.note("taken", 10 * step)
    assert stream.have == 10 * step and len(list(stream.path.glob("*.s16"))) == 1, "the last says how much has come"


@pytest.mark.skipif(os.name != "posix", reason="Windows has no such modes: a user's folder is private")
def test_what_was_said_is_the_owners_alone(tmp_path: Path) -> None:
    before = os.umask(0o002)
    try:
        kept = Spool(tmp_path / "journal", JOB)
        kept.put(STREAM, 0, sound(10), device="a")
        kept.say("take", "one, thirty")
        for path in (tmp_path / "journal").rglob("*"):
            assert stat.S_IMODE(path.stat().st_mode) == (0o700 if path.is_dir() else 0o600), path
    finally:
        os.umask(before)


def test_when_a_stream_began_follows_from_the_age_of_its_first_piece(tmp_path: Path) -> None:
    kept = Spool(tmp_path, JOB)
    before = datetime.now(UTC)
    kept.put(STREAM, 0, sound(2 * RATE), device="a", age_s=30)
    kept.put(STREAM, 2 * RATE, sound(10), device="a", age_s=0)
    late = (kept.streams()[0].began - (before - timedelta(seconds=32))).total_seconds()
    assert -0.002 <= late < 10


@pytest.mark.parametrize(
    ("stream", "at", "data", "age"),
    [
        ("../../../../etc00", 0, b"ab", 0), ("0011", 0, b"ab", 0), (STREAM.upper(), 0, b"ab", 0),
        (STREAM, -1, b"ab", 0),
        (STREAM, 10**12, b"ab", 0), (STREAM, 0, b"", 0), (STREAM, 0, b"abc", 0), (STREAM, 0, b"ab", -1),
        (STREAM, 0, b"ab", 13 * 3600), (STREAM, 0, b"ab", float("nan")),
        (STREAM, 0, bytes(round(2 * LONGEST_PIECE_S * RATE) + 2), 0),
    ],
)  # fmt: skip
def test_what_is_no_piece_of_sound_is_refused(tmp_path: Path, stream: str, at: int, data: bytes, age: float) -> None:
    with pytest.raises(BadInput):
        Spool(tmp_path, JOB).put(stream, at, data, device="a", age_s=age)
    assert not list(tmp_path.rglob("*.s16"))


def test_a_piece_may_be_just_as_long_as_old_and_as_late_in_its_stream_as_is_said(tmp_path: Path) -> None:
    longest = round(2 * LONGEST_PIECE_S * RATE)
    assert Spool(tmp_path, JOB).put(STREAM, 0, bytes(longest), device="a", age_s=12 * 3600).have == longest // 2
    late = Spool(tmp_path, JOB).put(STREAM, 12 * 3600 * RATE, b"ab", device="a")
    assert late.have == longest // 2, "there is a hole before it"
    with pytest.raises(BadInput, match="makes no sense"):
        Spool(tmp_path, JOB).put(STREAM, 12 * 3600 * RATE + 1, b"ab", device="a")
    with pytest.raises(BadInput, match="from more than 12 hours ago"):
        Spool(tmp_path, JOB).put(OTHER, 0, b"ab", device="a", age_s=12 * 3600 + 0.001)
    assert [len(piece) for _, piece in spool.pieces(bytes(2 * longest + 6), 5)] == [longest, longest, 6]
    assert [at for at, _ in spool.pieces(bytes(2 * longest + 6), 5)] == [5, 5 + longest // 2, 5 + longest]


def test_nobody_adds_to_anothers_sound(tmp_path: Path) -> None:
    kept = Spool(tmp_path, JOB)
    kept.put(STREAM, 0, sound(10), device="a")
    with pytest.raises(BadInput, match="another device's"):
        kept.put(STREAM, 10, sound(10), device="b")
    kept.end(STREAM, "b")
    assert not kept.streams()[0].ended
    kept.end(STREAM, "a")
    assert kept.streams()[0].ended and all_of(kept) == sound(10)


def test_so_much_waits_to_be_heard_and_no_more(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(spool, "UNHEARD_S", 1.0)
    kept = Spool(tmp_path, JOB)
    assert not kept.put(STREAM, 0, sound(RATE), device="a").full
    for stream, at in ((STREAM, RATE), (OTHER, 0)):
        come = kept.put(stream, at, sound(1, at), device="a")
        assert come.full and come.have == at, "none of it counts as here"
    kept.streams()[0].note("read", RATE)
    assert kept.put(STREAM, RATE, sound(1, RATE), device="a") == spool.Come(RATE + 1)
    assert UNHEARD_S >= 600, "a phone keeps ten minutes"


def test_so_many_streams_wait_and_no_more(tmp_path: Path) -> None:
    kept = Spool(tmp_path, JOB)
    for number in range(MOST_STREAMS):
        assert kept.put(f"{number:016x}", 0, sound(1), device="a").have == 1
    assert kept.put(STREAM, 0, sound(1), device="a").full
    first = kept.streams()[0]
    kept.end(first.id, "a")
    first.note("taken", 1)
    assert kept.put(STREAM, 0, sound(1), device="a").have == 1, "one that is heard to its end makes room"


def test_what_nobody_heard_in_time_is_let_go(tmp_path: Path) -> None:
    kept = Spool(tmp_path, JOB)
    kept.put(STREAM, 0, sound(1), device="a", age_s=11.9 * 3600)
    kept.let_go()
    assert len(kept.streams()) == 1
    stream = kept.streams()[0]
    old = datetime.now(UTC) - timedelta(hours=12, seconds=1)
    stream.path.rename(stream.path.parent / f"{round(old.timestamp() * 1000)}-{stream.id}")
    kept.let_go()
    assert kept.streams() == []


def test_a_full_disk_is_told_and_the_piece_is_not_counted(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import errno

    kept = Spool(tmp_path, JOB)
    kept.put(STREAM, 0, sound(10), device="a")

    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(spool, "_append", full)
        with pytest.raises(RecordError, match="the disk is full"):
            kept.put(STREAM, 10, sound(10, 10), device="a")
    assert kept.put(STREAM, 10, sound(10, 10), device="a").have == 20 and all_of(kept) == sound(20)


def test_answers_come_once_each_in_order_and_the_last_few_are_kept(tmp_path: Path) -> None:
    kept = Spool(tmp_path, JOB)
    assert kept.answers(0) == []
    for number in range(1, 13):
        kept.say("take", f"{number}")
    kept.say("ask", "13?", 71.26)
    assert kept.answers(11) == [(12, "take", "12", 0.0), (13, "ask", "13?", 71.3)]
    assert [text for _, _, text, _ in kept.answers(0)] == [*map(str, range(6, 13)), "13?"]
    (kept.path / "answers.json").write_text("{", encoding="utf-8")
    assert kept.answers(0) == []


def test_whoever_hears_it_is_known_while_it_gives_signs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = Spool(tmp_path, JOB)
    assert kept.attended() == 0
    kept.attend()
    assert kept.attended() == os.getpid()
    at = (kept.path / "attended").stat().st_mtime
    for since, there in ((1.5, True), (-1.5, True), (1.7, False), (-1.7, False)):
        monkeypatch.setattr(spool.time, "time", lambda since=since: at + since)
        assert (kept.attended() == os.getpid()) is there
        assert kept.attended() in (0, os.getpid())
    monkeypatch.undo()
    kept.attend()
    kept.leave()
    assert kept.attended() == 0


def test_an_erased_job_leaves_no_sound(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store:
        job, other = (
            open_job(store, JobOpened(unit, Engine(6), ""), "Wren") for unit in ("Orchard pump 2", "Chipper 7")
        )
        for each in (job, other):
            Spool(tmp_path, each).put(STREAM, 0, sound(10), device="a")
        store.erase(job)
    assert Spool(tmp_path, job).streams() == [] and not (tmp_path / "phone" / job).exists()
    assert len(Spool(tmp_path, other).streams()) == 1


@pytest.mark.parametrize("job", ["..", "../x", "", "a/b", "a" * 65])
def test_no_job_leads_out_of_the_folder(tmp_path: Path, job: str) -> None:
    with pytest.raises(BadInput):
        Spool(tmp_path, job)
