"""Changes of the journal, whoever makes them, to everyone with a page open: one watcher, any number of waiters."""

from __future__ import annotations

import json
import math
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from journal.errors import BadInput, RecordError
from journal.facts.codec import time_from_text
from journal.live import LIVE_FILE
from journal.record.store import Store
from webui.grants import FILE_NAME as GRANTS

LOOK_EVERY_S = 0.25
"""Seconds between two looks at the journal."""

LEVEL_FRESH_S = 2.0
"""Seconds for which an input level is shown; a session says a new one several times a second."""

HEARTBEAT_S = 10.0
"""Seconds after which a silent stream sends a sign of life, so that a closed page is noticed."""

MOST_STREAMS = 40
"""Open live pages at once; further ones are told to ask again later."""


@dataclass(frozen=True)
class Heard:
    """What a listening session last said of itself."""

    job: str = ""
    """The job it listens for; empty when it did not say."""
    heard: str = ""
    """The words it last heard."""
    made: str = ""
    """What was made of them."""
    verdict: str = ""
    """`take`, `ask` or `let go`."""
    level_db: float | None = None
    """Input level in decibels against full scale (dBFS); none when it did not say one with its time."""
    level_at: float = 0.0
    """When the level was that, seconds since 1970."""
    listening: bool = False
    """True while it listens."""
    written_at: float = 0.0
    """When it said so, seconds since 1970; 0 for never."""

    def level_now(self) -> float | None:
        """The input level while it is fresh, dBFS; none afterwards."""
        return self.level_db if abs(time.time() - self.level_at) < LEVEL_FRESH_S else None


def heard_in(folder: Path) -> Heard:
    """What the session writes beside the entries; nothing heard where the file is absent or unreadable."""
    path = folder / LIVE_FILE
    try:
        written_at = path.stat().st_mtime
        data: Any = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return Heard()
    if not isinstance(data, dict):
        return Heard()
    level, level_at = _level(data)
    return Heard(
        job=str(data.get("job") or ""),
        heard=str(data.get("heard") or ""),
        made=str(data.get("made") or ""),
        verdict=str(data.get("verdict") or ""),
        level_db=level,
        level_at=level_at,
        listening=bool(data.get("listening")),
        written_at=written_at,
    )


def _level(data: dict[str, Any]) -> tuple[float | None, float]:
    """The level with its moment, seconds since 1970; no level where either makes no sense."""
    level = data.get("level_db")
    if isinstance(level, bool) or not isinstance(level, int | float) or not math.isfinite(level):
        return None, 0.0
    try:
        return float(level), time_from_text(str(data.get("level_at_utc"))).timestamp()
    except (BadInput, ValueError, OverflowError):
        return None, 0.0


class Watcher:
    """Looks at the journal while anyone waits, and wakes those whose job changed."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.closing = threading.Event()
        self._changed = threading.Condition()
        self._tick = 0
        self._jobs: dict[str, int] = {}
        self._heard = Heard()
        self._grants = 0.0
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
            tick, heard, spoke, asked = -1, Heard(), time.monotonic(), -1.0
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
                if now != heard and now.job in ("", job):
                    heard = now
                    news = {
                        "level": now.level_now(),
                        "listening": now.listening,
                        "heard": [now.heard, now.made, now.verdict],
                    }
                    said += f"event: heard\ndata: {json.dumps(news)}\n\n"
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
                if jobs or heard != self._heard or grants != self._grants:
                    self._tell(jobs, heard, grants)

    def _tell(self, jobs: dict[str, int], heard: Heard, grants: float) -> None:
        with self._changed:
            self._jobs.update(jobs)
            self._heard, self._grants = heard, grants
            self._tick += 1
            self._changed.notify_all()


def _stamp(path: Path) -> float:
    try:
        return path.stat().st_mtime
    except OSError:
        return 0.0
