"""What the listening process tells the page: what it heard last and how loud it is now; it holds no fact of any job."""

from __future__ import annotations

import json
import time
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from threading import Lock
from typing import Any

import numpy as np

from journal.facts import to_milliseconds
from journal.facts.codec import time_to_text
from journal.hearing.types import Sound
from journal.record.files import PRIVATE_FILE

LIVE_FILE = "live.json"
"""Beside the entries."""

_LEVEL_EVERY_S = 0.25


class LivePage:
    """The file that the page watches; written by the thread that listens and by the one that takes in sound."""

    def __init__(self, folder: Path, job: str) -> None:
        """Args: folder, the journal's; job, the identifier of the job that is listened for."""
        self._target = folder / LIVE_FILE
        self._lock = Lock()
        self._state: dict[str, Any] = {"job": job, "listening": True}

    def heard(self, at: datetime, text: str, made: str, verdict: str) -> None:
        """An utterance and what became of it."""
        self._tell(at_utc=time_to_text(to_milliseconds(at)), heard=text, made=made, verdict=verdict)

    def hearing(self, at: datetime, text: str) -> None:
        """What an utterance that still goes on seems to be."""
        self.heard(at, f"{text} …", "", "")

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
                self._tell(level_db=level, level_at_utc=time_to_text(to_milliseconds(datetime.now(UTC))))
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
