"""The file that a listening process keeps beside the entries in, what it hears and whether it does out."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from journal.errors import BadInput
from journal.facts.codec import time_from_text
from journal.live import LiveState, is_fresh, last_told


class Hears(StrEnum):
    """Whether what is said now is heard."""

    YES = "listening"
    NOT_YET = "getting ready"
    RECORDING = "hearing a recording"
    NO = "not listening"


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
    sound_at: float = 0.0
    """When sound last came in, with that level, seconds since 1970; 0 for never."""
    state: str = ""
    """One of `LiveState`; empty when it did not say."""
    why: str = ""
    """Why it ended, where that was an error."""
    trouble: str = ""
    """What last kept it from hearing."""
    asks: str = ""
    """What it has asked for, where it leads the test; empty where it does not."""
    asks_cylinder: int | None = None
    """The cylinder that it has asked for."""
    written_at: float = 0.0
    """When it last gave a sign of life, seconds since 1970; 0 for never."""

    def level_now(self) -> float | None:
        """The input level while it is fresh, dBFS; none afterwards."""
        return self.level_db if is_fresh(self.sound_at) else None

    def hears(self) -> tuple[Hears, str]:
        """Whether it hears what is said now, and why not, in words."""
        if not self.written_at:
            return Hears.NO, ""
        if self.state == LiveState.ENDED:
            return Hears.NO, self.why
        if not is_fresh(self.written_at):
            return Hears.NO, "the listener was ended, or does not answer"
        if self.state == LiveState.STARTING:
            return Hears.NOT_YET, ""
        if self.state == LiveState.RECORDING:
            return Hears.RECORDING, ""
        if not is_fresh(self.sound_at):
            return Hears.NO, self.trouble or "no sound comes from the microphone"
        return Hears.YES, ""


def heard_for(job: str, heard: Heard, gone: str) -> tuple[Heard, Hears, str]:
    """Of what a session heard, what a job's page shows: the words, whether it hears what is said for this job, why not.

    Args:
        job: the job's identifier.
        heard: what the session last said of itself.
        gone: why the listener that was wanted is not there; empty where none is known.
    """
    hears, why = heard.hears()
    if heard.job not in ("", job):
        return Heard(), Hears.NO, gone if hears is Hears.NO else "what is said goes to another job"
    return heard, hears, (gone or why) if hears is Hears.NO else why


def heard_in(folder: Path) -> Heard:
    """What the session writes beside the entries; nothing heard where the file is absent or unreadable."""
    written_at, data = last_told(folder)
    if not written_at:
        return Heard()
    level, sound_at = _level(data)
    words = {name: str(data.get(name) or "") for name in _WORDS}
    cylinder = data.get("asks_cylinder")
    return Heard(
        **words, level_db=level, sound_at=sound_at, written_at=written_at / 1e9,
        asks_cylinder=cylinder if isinstance(cylinder, int) else None,
    )  # fmt: skip


_WORDS = ("job", "heard", "made", "verdict", "state", "why", "trouble", "asks")


def _level(data: dict[str, Any]) -> tuple[float | None, float]:
    """The level, none in silence, with the moment of it in seconds since 1970, 0 for none."""
    level = data.get("level_db")
    try:
        at = time_from_text(str(data.get("level_at_utc"))).timestamp()
    except (BadInput, ValueError, OverflowError):
        return None, 0.0
    if isinstance(level, bool) or not isinstance(level, int | float) or not math.isfinite(level):
        return None, at
    return float(level), at
