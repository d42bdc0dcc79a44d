"""What a phone sends is heard as a microphone's sound is: all of it, once, in order, and dated when it was said."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from journal import phone
from journal.errors import HearingError
from journal.facts import Baseline, Engine, JobOpened
from journal.hearing.types import RATE, Sound, Utterance
from journal.listening import Ears, Listening, listen
from journal.phone import Phone
from journal.record.spool import Spool
from journal.record.store import Store
from journal.session import Session, open_job
from tests.session.test_listening import Hears

pytest.importorskip("soundfile", reason="the speech extra is not installed")

from journal.hearing.endpoint import utterances
from journal.hearing.sources import read_file

DEMO = Path(__file__).resolve().parents[2] / "demo" / "orchard" / "1-idle.flac"
JOB = "0198f0a0-0000-7000-8000-000000000000"
FIRST, SECOND = "00112233445566aa", "ffeeddccbbaa9988"


def said(seconds: float, begin: float = 0.0) -> bytes:
    """Part of a recording of the demo, as a phone sends it."""
    sound = read_file(DEMO)[round(begin * RATE) : round((begin + seconds) * RATE)]
    return np.round(sound * 32_767).astype("<i2").tobytes()


def as_sound(data: bytes) -> Sound:
    return np.frombuffer(data, "<i2").astype(np.float32) / np.float32(32_768)


def put(spool: Spool, data: bytes, *, stream: str = FIRST, at: int = 0, age_s: float = 0.0, end: bool = False) -> None:
    """All of it, in pieces of a second."""
    for begin in range(0, len(data), 2 * RATE):
        piece = data[begin : begin + 2 * RATE]
        left = (len(data) - begin - len(piece)) / 2 / RATE
        spool.put(stream, at + begin // 2, piece, device="a", age_s=age_s + left)
    if end:
        spool.end(stream, "a")


def heard(source: Phone, samples: int) -> Sound:
    """So many samples of a source, which is closed then."""
    got: list[Sound] = []
    for block in source:
        got.append(block)
        if sum(map(len, got)) >= samples:
            break
    source.close()
    return np.concatenate(got)


def test_all_that_came_is_heard_to_the_sample_also_what_comes_later(tmp_path: Path) -> None:
    data, told = said(6.0), []
    spool = Spool(tmp_path, JOB)
    put(spool, data[: 4 * RATE])
    source = Phone(tmp_path, JOB, told.append)

    def rest() -> None:
        time.sleep(0.4)
        put(spool, data[4 * RATE :], at=2 * RATE)

    late = threading.Thread(target=rest)
    late.start()
    sound = heard(source, 6 * RATE)
    late.join()
    assert np.array_equal(sound, as_sound(data)) and told == []


def test_sound_that_stays_away_is_told_and_so_is_that_it_is_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(phone, "AWAY_S", 0.2)
    spool, told, data = Spool(tmp_path, JOB), [], said(2.0)
    put(spool, data[: 2 * RATE])

    def tell(line: str) -> None:
        told.append(line)
        if len(told) == 1:
            put(spool, data[2 * RATE :], at=RATE)

    sound = heard(Phone(tmp_path, JOB, tell), 2 * RATE)
    assert np.array_equal(sound, as_sound(data)), "no silence is put in: it was one breath"
    assert [line.partition(" after")[0] for line in told] == [
        "no sound comes from the phone; what is said there is kept there and comes later",
        "the phone's sound is back",
    ]


def test_a_phone_that_stopped_ends_what_was_being_said_and_a_gap_is_told(tmp_path: Path) -> None:
    spool, told = Spool(tmp_path, JOB), []
    put(spool, said(1.0), age_s=60, end=True)
    put(spool, said(1.0, 2.0), stream=SECOND, age_s=20)
    sound = heard(Phone(tmp_path, JOB, told.append), 3 * RATE)
    expected = np.concatenate((as_sound(said(1.0)), np.zeros(RATE, np.float32), as_sound(said(1.0, 2.0))))
    assert np.array_equal(sound, expected)
    assert told == ["the phone recorded nothing for 39 s"] or told == ["the phone recorded nothing for 40 s"]


def test_another_phone_is_heard_while_the_first_says_nothing_and_then_the_first_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(phone, "SWITCH_S", 0.05)
    spool = Spool(tmp_path, JOB)
    one, other = said(2.0), said(1.0, 4.0)
    put(spool, one[: 2 * RATE], age_s=9)
    put(spool, other, stream=SECOND)
    source = Phone(tmp_path, JOB)
    got: list[Sound] = []
    for block in source:
        got.append(block)
        if sum(map(len, got)) == 3 * RATE:
            put(spool, one[2 * RATE :], at=RATE)
        if sum(map(len, got)) >= 5 * RATE:
            break
    silence = np.zeros(RATE, np.float32)
    parts = (as_sound(one[: 2 * RATE]), silence, as_sound(other), silence, as_sound(one[2 * RATE :]))
    assert np.array_equal(np.concatenate(got), np.concatenate(parts))


def test_a_new_start_hears_what_was_not_taken_and_nothing_twice(tmp_path: Path) -> None:
    """Ended after any of its utterances, as by a kill, and started again: together what the recording holds."""
    data = said(20.0)
    whole = [u.sound for u in utterances(itertools.chain([as_sound(data)], [np.zeros(RATE, np.float32)]))]
    assert len(whole) >= 4
    for kept in range(1, len(whole)):
        folder = tmp_path / str(kept)
        put(Spool(folder, JOB), data, end=True)
        found: list[Utterance] = []
        first = Phone(folder, JOB)
        for utterance in utterances(_until_silence(first)):
            first.taken(utterance)
            found.append(utterance)
            if len(found) == kept:
                break
        first.close()
        first.spool.leave()
        found += utterances(_until_silence(Phone(folder, JOB)))
        assert len(found) == len(whole), kept
        for mine, its in zip(found, whole, strict=True):
            # The detector looks at frames that begin elsewhere now: speech begins and ends a few of them apart.
            assert abs(_end_in(data, mine.sound) - _end_in(data, its)) < 0.3 * RATE
            assert abs(len(mine.sound) - len(its)) < 0.5 * RATE


def _end_in(data: bytes, sound: Sound) -> int:
    """Where in the recording an utterance ends, in samples; it is found there as it was sent."""
    said_so_far = data + bytes(2 * RATE)
    at = said_so_far.find(np.round(sound * 32_768).astype("<i2").tobytes())
    assert at >= 0 and at % 2 == 0
    return at // 2 + len(sound)


def _until_silence(source: Phone) -> Iterator[Sound]:
    """Blocks up to the silence at a stream's end."""
    for block in source:
        yield block
        if len(block) == RATE:
            return


def test_what_was_said_is_dated_when_it_was_said_and_its_sound_is_kept(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store:
        opened = datetime.now(UTC) - timedelta(hours=1)
        job = open_job(store, JobOpened("Orchard pump 2", Engine(6), ""), "Wren", at=opened)
        spool = Spool(tmp_path, job)
        data = said(6.0)
        before = datetime.now(UTC)
        put(spool, data, age_s=60, end=True)
        first = next(utterances(iter([as_sound(data), np.zeros(RATE, np.float32)])))
        session = Session(store, job)
        session.enter(Baseline(30.0))
        source = Phone(tmp_path, job)
        ears = Ears([Hears("cylinder four cut thirty eight"), Hears("cylinder four cut thirty eight", "pocketsphinx")])
        with closing(listen(session, ears, Listening(phone=source))) as hearing:
            one = next(each for each in hearing if each.outcomes)
            entry = next(outcome.entry for outcome in one.outcomes if outcome.entry)
        source.close()
        assert entry.clip and list((tmp_path / "clips").rglob(f"{entry.clip}.flac"))
        wanted = before - timedelta(seconds=66 - first.start)
        said_when = source.said_at(one.utterance)
        assert abs((said_when - wanted).total_seconds()) < 3
        for _ in range(100):
            if spool.answers(0):
                break
            time.sleep(0.05)
        _, verdict, _, late = spool.answers(0)[0]
        assert verdict in ("take", "ask") and 40 < late < 70, "answered there, and told how late"
        assert spool.streams()[0].taken > 0


def test_two_do_not_hear_one_phone(tmp_path: Path) -> None:
    spool = Spool(tmp_path, JOB)
    spool.attend()
    Phone(tmp_path, JOB).close()
    (spool.path / "attended").write_text(str(os.getpid() + 1), encoding="ascii")
    Phone(tmp_path, JOB).close()  # that one gave no more signs, as when it was killed
    over = threading.Event()

    def attends() -> None:
        while not over.wait(0.2):
            (spool.path / "other").write_text(str(os.getpid() + 1), encoding="ascii")
            (spool.path / "other").replace(spool.path / "attended")

    other = threading.Thread(target=attends)
    other.start()
    time.sleep(0.5)
    try:
        with pytest.raises(HearingError, match="hears this job's phone already"):
            Phone(tmp_path, JOB)
    finally:
        over.set()
        other.join()


def test_answers_at_the_shops_machine_are_refused_as_the_phone_would_hear_them(tmp_path: Path) -> None:
    with Store.open(tmp_path) as store:
        open_job(store, JobOpened("Orchard pump 2", Engine(6), ""), "Wren")
    command = [sys.executable, "-m", "journal", "--journal", str(tmp_path), "listen", "--from", "phone"]
    done = subprocess.run([*command, "--voice", "spoken"], capture_output=True, text=True, timeout=120)
    assert done.returncode != 0 and "leave --voice out" in done.stderr and "Traceback" not in done.stderr
