"""`python -m tests.trust.worker JOURNAL RECORDING KNOWN`: a session that is meant to be killed at any moment.

It listens to the recording over and over into the journal's open job (or a new one), takes photos in, looks at the
page, and prints a line for each thing it was told is on disk, once it was told.
"""

from __future__ import annotations

import sys
from itertools import count
from pathlib import Path

from journal.facts import Engine, Injection, JobOpened, Photo, Source
from journal.listening import Ears, Listening, listen
from journal.record.photos import take_in
from journal.record.store import Store
from journal.session import Session, open_job
from tests.trust.road import KnownSpeech
from tests.webui.own import own_browser
from webui.app import create_app

SIX = Engine(6, (1, 5, 3, 6, 2, 4), injection=Injection.HYDRAULIC)
PHOTOS_EVERY, PAGE_EVERY = 5, 7


def acknowledge(what: str, name: str) -> None:
    """Tell whoever watches that this is on disk."""
    print(what, name, flush=True)


def work(folder: Path, recording: Path, known: Path) -> None:
    """Listen, take in and look until killed."""
    store = Store.open(folder)
    job = store.latest_open()
    if job is None:
        job = open_job(store, JobOpened("Test bench", SIX), "Ash")
        acknowledge("job", job)
    ears = Ears([KnownSpeech.load(known)])
    session = Session(store, job, source=Source.VOICE)
    page = own_browser(create_app(folder))
    picture = (Path(__file__).resolve().parents[2] / "demo" / "orchard" / "blow-by.jpg").read_bytes()
    print("ready", flush=True)
    heard = count(len(store.entries(job)))
    while True:
        for one in listen(session, ears, Listening(source=recording)):
            for outcome in one.outcomes:
                if outcome.entry is not None:
                    acknowledge("entry", outcome.entry.id)
            number = next(heard)
            if number % PHOTOS_EVERY == 0:
                # Bytes after the end of a JPEG are no part of the picture, and make it another file.
                taken = take_in(folder, picture + str(number).encode(), f"{number}.jpg")
                entry = session.enter(Photo(taken.sha256, f"{number}.jpg", taken_at=taken.taken_at))
                acknowledge("photo", taken.sha256)
                acknowledge("entry", entry.id)
            if number % PAGE_EVERY == 0:
                answer = page.get("/")
                assert answer.status_code == 200, answer.status


if __name__ == "__main__":
    work(*map(Path, sys.argv[1:4]))
