"""Changes of the journal, whoever makes them, to everyone with a page open: one watcher, any number of waiters."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from journal.errors import RecordError
from journal.live import LIVE_FILE
from journal.record.store import Store
from webui.grants import FILE_NAME as GRANTS
from webui.heard import Heard, Hears, heard_for, heard_in

LOOK_EVERY_S = 0.25
"""Seconds between two looks at the journal."""

HEARTBEAT_S = 10.0
"""Seconds after which a silent stream sends a sign of life, so that a closed page is noticed."""

MOST_STREAMS = 40
"""Open live pages at once; further ones are told to ask again later."""


class Watcher:
    """Looks at the journal while anyone waits, and wakes those whose job changed."""

    def __init__(self, folder: Path, why: Callable[[], str] = lambda: "") -> None:
        """Watches once anyone waits.

        Args:
            folder: the journal's.
            why: says why the listener that was wanted is not there.
        """
        self.folder = folder
        self._why = why
        self.closing = threading.Event()
        self._changed = threading.Condition()
        self._tick = 0
        self._jobs: dict[str, int] = {}
        self._heard = Heard()
        self._grants = 0.0
        self._hears: tuple[Hears, str] = (Hears.NO, "")
        self._streams = 0
        self._thread: threading.Thread | None = None

    def close(self) -> None:
        """End every stream and the watching."""
        self.closing.set()
        with self._changed:
            self._changed.notify_all()

    def stream(self, job: str, seen: int, may_see: Callable[[], bool] = lambda: True) -> Iterator[str] | None:
        """Server-sent events about one job from entry number `seen` on; none when too many pages are open.

        They end once `may_see` says no, which is asked whenever somebody was let in or put out, and now and then.
        """
        with self._changed:
            full = self._streams >= MOST_STREAMS or self.closing.is_set()
        return None if full else self._events(job, seen, may_see)

    def _events(self, job: str, seen: int, may_see: Callable[[], bool]) -> Iterator[str]:
        with self._changed:
            self._streams += 1
            if self._thread is None:
                self._thread = threading.Thread(target=self._look, name="journal-watcher", daemon=True)
                self._thread.start()
        try:
            # The first event makes a page that was away catch up at once.
            yield f"retry: 1000\nid: {seen}\nevent: changed\ndata: {seen}\n\n"
            tick, last, spoke, asked = -1, _news(job, Heard(), ""), time.monotonic(), -1.0
            while not self.closing.is_set():
                with self._changed:
                    if self._tick == tick:
                        self._changed.wait(max(0.0, spoke + HEARTBEAT_S - time.monotonic()))
                    tick, number, now, grants = self._tick, self._jobs.get(job, 0), self._heard, self._grants
                is_time = time.monotonic() - spoke >= HEARTBEAT_S
                if grants != asked or is_time:
                    asked = grants
                    if not may_see():
                        return
                said = ""
                if number > seen:
                    seen = number
                    said += f"id: {seen}\nevent: changed\ndata: {seen}\n\n"
                news = _news(job, now, self._why())
                if news != last:
                    last = news
                    said += f"event: heard\ndata: {news}\n\n"
                # However much goes on in other jobs: a closed page is only noticed by writing to it.
                if not said and is_time:
                    said = ": here\n\n"
                if said:
                    spoke = time.monotonic()
                    yield said
        finally:
            with self._changed:
                self._streams -= 1

    def _look(self) -> None:
        with Store.open(self.folder) as store:
            seq, written = store.last_seq(), 0.0
            while not self.closing.wait(LOOK_EVERY_S):
                with self._changed:
                    if self._streams == 0:
                        self._thread = None
                        return
                jobs: dict[str, int] = {}
                try:
                    if store.last_seq() != seq:
                        for number, entry in store.since(seq, limit=None):
                            seq, jobs[entry.job] = number, number
                except RecordError:
                    # Another program holds the journal: the next look will see what it wrote.
                    continue
                heard = self._heard
                if (stamp := _stamp(self.folder / LIVE_FILE)) != written:
                    written, heard = stamp, heard_in(self.folder)
                # Somebody was let in or put out, by this program or another on the same journal.
                grants = _stamp(self.folder / GRANTS)
                # That nothing is heard any more is nothing that anybody writes.
                hears = heard.hears()[0], self._why()
                if jobs or heard != self._heard or hears != self._hears or grants != self._grants:
                    self._tell(jobs, heard, hears, grants)

    def _tell(self, jobs: dict[str, int], heard: Heard, hears: tuple[Hears, str], grants: float) -> None:
        with self._changed:
            self._jobs.update(jobs)
            self._heard, self._hears, self._grants = heard, hears, grants
            self._tick += 1
            self._changed.notify_all()


def _news(job: str, heard: Heard, gone: str) -> str:
    """What a job's page is told at once: whether it is heard, how loud it is, and what tells it to look again; JSON."""
    mine, hears, why = heard_for(job, heard, gone)
    words = [mine.heard, mine.made, mine.verdict, mine.asks]
    return json.dumps(
        {"hears": hears, "why": why, "level": mine.level_now(), "heard": words, "at": round(mine.sound_at, 1)}
    )


def _stamp(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0
