"""What the listening process tells the page: that it lives, what it heard last, how loud it is; no fact of a job."""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from enum import StrEnum
from pathlib import Path
from threading import Event, Lock, Thread
from types import TracebackType
from typing import Any

import numpy as np

from journal.errors import HearingError
from journal.facts import to_milliseconds
from journal.facts.codec import time_to_text
from journal.hearing.types import Sound
from journal.record.files import PRIVATE_FILE, read_file

LIVE_FILE = "live.json"
"""Beside the entries."""

BEAT_S = 0.25
"""Seconds between two signs of life."""

_LEVEL_EVERY_S = 0.25

FRESH_S = 1.5
"""Seconds without a sign of life, or without sound, after which a process listens no more; it gives several a second.
With the page's watcher's look and the way to the page it is known there within two."""

_LOOK_S = 0.05


class LiveState(StrEnum):
    """What a listening process says of itself."""

    STARTING = "starting"
    LISTENING = "listening"
    RECORDING = "hearing a recording"
    ENDED = "ended"


def check_alone(folder: Path, job: str) -> None:
    """Refuse a second microphone for a job: two processes would enter every reading twice.

    Args:
        folder: the journal's.
        job: identifier of the job that is to be listened for.

    Raises:
        HearingError: another process listens for it and gives signs of life.
    """
    first = now = _last_sign(folder, job)
    while now is not None:
        # A busy machine's next sign comes late: only one too old to be fresh is of a process that is gone.
        time.sleep(_LOOK_S)
        now = _last_sign(folder, job)
        if now is not None and now != first:
            raise HearingError("another `journal listen`, or the page, listens for this job already: end that first")


def _last_sign(folder: Path, job: str) -> int | None:
    """When another process that listens for this job last gave a sign of life, nanoseconds; none where none lately."""
    at, told = last_told(folder)
    if told.get("job") != job or told.get("pid") == os.getpid():
        return None
    return at if is_fresh(at / 1e9) and told.get("state") in (LiveState.STARTING, LiveState.LISTENING) else None


def last_told(folder: Path) -> tuple[int, dict[str, Any]]:
    """What a listening process last wrote beside the entries, and when, nanoseconds since 1970.

    0 and nothing where the file is absent or cannot be read.
    """
    path = folder / LIVE_FILE
    try:
        at, told = path.stat().st_mtime_ns, json.loads(read_file(path))
    except (OSError, ValueError):
        return 0, {}
    return (at, told) if isinstance(told, dict) else (0, {})


def is_fresh(at: float) -> bool:
    """Whether a moment, seconds since 1970, is less than `FRESH_S` from now."""
    return abs(time.time() - at) < FRESH_S


class LivePage:
    """The file that the page watches; written by the threads that listen, that take in sound, and that say it lives.

    As a context manager it gives a sign of life four times a second, and says at the end that it is over, and why.
    """

    def __init__(self, folder: Path, job: str) -> None:
        """Args: folder, the journal's; job, the identifier of the job that is listened for."""
        self._target = folder / LIVE_FILE
        self._lock = Lock()
        self._state: dict[str, Any] = {"job": job, "state": LiveState.STARTING, "pid": os.getpid()}
        self._over = Event()
        self._beats = Thread(target=self._beat, name="sign-of-life", daemon=True)

    def __enter__(self) -> LivePage:
        # At once, not when the thread comes to it: another one that starts now is to see it.
        self._tell()
        self._beats.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        self._over.set()
        self._beats.join()
        self._tell(state=LiveState.ENDED, why=str(error) if isinstance(error, Exception) else "")

    def _beat(self) -> None:
        while not self._over.wait(BEAT_S):
            self._tell()

    def heard(self, at: datetime, text: str, made: str, verdict: str) -> None:
        """An utterance and what became of it."""
        self._tell(at_utc=time_to_text(to_milliseconds(at)), heard=text, made=made, verdict=verdict)

    def hearing(self, at: datetime, text: str) -> None:
        """What an utterance that still goes on seems to be."""
        self.heard(at, f"{text} …", "", "")

    def recording(self) -> None:
        """That it hears a recording, which is no matter of what is said meanwhile."""
        self._tell(state=LiveState.RECORDING)

    def trouble(self, line: str) -> None:
        """What keeps it from hearing, or did."""
        self._tell(trouble=line)

    def leads(self, cylinder: int | None, line: str) -> None:
        """What it has asked for, when it leads the test; an empty line when it does not."""
        self._tell(asks_cylinder=cylinder, asks=line)

    def metered(self, blocks: Iterable[Sound]) -> Iterator[Sound]:
        """The same blocks; how loud they are is told four times a second at most.

        Args:
            blocks: mono sound at `RATE`, shape (samples,) each; the level is that of the mean power since the last
                telling, in decibels below full scale.
        """
        power, samples, last = 0.0, 0, time.monotonic()
        for block in blocks:
            power += float(np.sum(np.square(block, dtype=np.float64)))
            samples += len(block)
            if samples and time.monotonic() - last >= _LEVEL_EVERY_S:
                level = round(10 * np.log10(power / samples), 1) if power > 0 else None
                now = time_to_text(to_milliseconds(datetime.now(UTC)))
                self._tell(state=LiveState.LISTENING, level_db=level, level_at_utc=now)
                power, samples, last = 0.0, 0, time.monotonic()
            yield block

    def _tell(self, **what: object) -> None:
        with self._lock:
            self._state |= what
            fresh = self._target.with_suffix(".new")
            try:
                fresh.touch(PRIVATE_FILE)
                fresh.write_text(json.dumps(self._state), encoding="utf-8")
                fresh.replace(self._target)
            except OSError:
                return
