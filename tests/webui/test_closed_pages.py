"""A page that was closed is noticed, however busy the journal is elsewhere: its place is free for another."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from journal.facts import Cut, Engine, JobOpened
from journal.record.store import Store
from journal.session import Session, open_job
from webui import watch


def test_a_quiet_page_is_written_to_while_another_job_is_worked_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watch, "HEARTBEAT_S", 0.5)
    monkeypatch.setattr(watch, "LOOK_EVERY_S", 0.02)
    with Store.open(tmp_path) as store:
        quiet, busy = (open_job(store, JobOpened(unit, Engine(6)), "Ash") for unit in ("quiet", "busy"))
    watcher = watch.Watcher(tmp_path)
    stream = watcher.stream(quiet, 10)
    assert stream is not None
    assert "changed" in next(stream)
    written: list[str] = []

    def work() -> None:
        with Store.open(tmp_path) as own:
            session = Session(own, busy)
            while not watcher.closing.wait(0.05):
                session.enter(Cut(1, 30.0))

    worker = threading.Thread(target=work)
    reader = threading.Thread(target=lambda: written.extend(next(stream, "") for _ in range(2)))
    worker.start()
    reader.start()
    # Long enough for several heartbeats; were the other job's entries taken for one, nothing would have come by then.
    reader.join(10)
    late = reader.is_alive()
    watcher.close()
    worker.join()
    reader.join()
    assert not late
    assert written == [": here\n\n"] * 2
