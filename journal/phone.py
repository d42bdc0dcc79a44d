"""What a phone sends in as blocks of sound, as a microphone's are; its gaps are told, and when each thing was said."""

from __future__ import annotations

import os
import time
from bisect import bisect_right
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from threading import Event

import numpy as np

from journal.errors import HearingError
from journal.hearing.types import RATE, Sound, Utterance
from journal.record.spool import ATTENDED_S, Spool, Stream

BLOCK = 512
"""Samples in a block."""

AWAY_S = 5.0
"""Seconds without sound after which it is told that the phone's stays away."""

LOST_S = 90.0
"""Seconds without sound after which what was being said is heard as far as it came."""

SWITCH_S = 1.0
"""Seconds without sound of one stream after which another's is heard."""

GAP_S = 1.0
"""Seconds between two streams of a phone that are told as a gap."""

_LOOK_S = 0.03
_SILENCE_S = 1.0
_NOTED_S = 5.0


@dataclass(frozen=True)
class _Part:
    """From here on the blocks are of this stream."""

    given: int
    """Samples given before it."""
    stream: Stream
    at: int
    """The first of them in the stream."""


class Phone:
    """What the phones of one job send; iterate it for blocks of mono sound at `RATE` until `close` is called."""

    def __init__(
        self, folder: Path, job: str, tell: Callable[[str], None] = lambda line: None, stop: Event | None = None
    ) -> None:
        """Begin to hear what comes, and what came and nobody heard.

        Args:
            folder: the journal's.
            job: identifier of the job that phones are heard for.
            tell: takes a line when the sound stays away, is back or has a gap.
            stop: ends it once it is set, as `close` does.

        Raises:
            HearingError: when another process hears them already.
        """
        self.spool = Spool(folder, job)
        # One that was killed cannot say that it is gone.
        patience = time.monotonic() + 2 * ATTENDED_S
        while self.spool.attended() not in (0, os.getpid()):
            if time.monotonic() > patience:
                raise HearingError("another `journal listen` hears this job's phone already; end that one first")
            time.sleep(_LOOK_S)
        self._tell = tell
        self._stop = stop or Event()
        self._given = 0
        self._parts: list[_Part] = []
        self._last: Utterance | None = None
        self._heard: dict[str, int] = {}
        self._attended = 0.0
        self.spool.let_go()
        self._attend()

    def close(self) -> None:
        """Hear no more; the iteration ends."""
        self._stop.set()

    def __iter__(self) -> Iterator[Sound]:
        try:
            while not self._stop.is_set():
                stream = next((each for each in self.spool.streams() if self._unheard(each)), None)
                if stream is None:
                    self._wait()
                else:
                    yield from self._blocks(stream)
        finally:
            self.spool.leave()

    def said_at(self, utterance: Utterance) -> datetime:
        """When an utterance of these blocks began to be said, UTC."""
        part, at = self._found(utterance.start)
        return part.stream.began + timedelta(seconds=at / RATE)

    def taken(self, utterance: Utterance) -> None:
        """All that was said up to the end of an utterance is entered: it is not heard again after a new start."""
        self._last = utterance
        part, at = self._found(utterance.end)
        for earlier in self._parts[: self._parts.index(part)]:
            if earlier.stream.id != part.stream.id:
                earlier.stream.note("taken", self._heard[earlier.stream.id])
        part.stream.note("taken", min(at, self._heard[part.stream.id]))

    def answer(self, verdict: str, text: str) -> None:
        """Have the phone answer the last utterance that was taken; it is deaf to itself while it does."""
        said_at = self.said_at(self._last) if self._last is not None else datetime.now(UTC)
        ended = self._last.end - self._last.start if self._last is not None else 0.0
        self.spool.say(verdict, text, (datetime.now(UTC) - said_at).total_seconds() - ended)

    def _found(self, second: float) -> tuple[_Part, int]:
        """The part of a moment of these blocks, seconds, and its sample in the part's stream."""
        sample = round(second * RATE)
        part = self._parts[max(0, bisect_right(self._parts, sample, key=lambda part: part.given) - 1)]
        return part, part.at + sample - part.given

    def _from(self, stream: Stream) -> int:
        """The sample of a stream that is to be heard next."""
        return max(stream.first, stream.taken, self._heard.get(stream.id, 0))

    def _unheard(self, stream: Stream) -> bool:
        return stream.have > self._from(stream)

    def _blocks(self, stream: Stream) -> Iterator[Sound]:
        """A stream to its end, or until it stays away while another is there; then silence, in which speech ends."""
        at = self._from(stream)
        self._tell_gap(stream, at)
        self._parts.append(_Part(self._given, stream, at))
        came = noted = time.monotonic()
        away = False
        while not self._stop.is_set():
            if data := stream.samples(at, BLOCK):
                if away:
                    self._tell(f"the phone's sound is back after {time.monotonic() - came:.0f} s")
                came, away = time.monotonic(), False
                sound = np.frombuffer(data, "<i2").astype(np.float32) / np.float32(32_768)
                at += len(sound)
                self._heard[stream.id] = at
                if came - noted > _NOTED_S:
                    noted = came
                    stream.note("read", at)
                self._attend()
                yield self._counted(sound)
                continue
            quiet = time.monotonic() - came
            another = quiet > SWITCH_S and any(self._unheard(each) for each in self.spool.streams())
            if stream.ended or another or quiet > LOST_S or not stream.path.is_dir():
                break
            if quiet > AWAY_S and not away:
                away = True
                self._tell("no sound comes from the phone; what is said there is kept there and comes later")
            self._wait()
        stream.note("read", at)
        yield self._counted(np.zeros(round(_SILENCE_S * RATE), dtype=np.float32))

    def _tell_gap(self, stream: Stream, at: int) -> None:
        before = self._parts[-1].stream if self._parts else None
        if before is None or before.device != stream.device or at != stream.first:
            return
        seconds = (stream.began - before.began).total_seconds() - self._heard.get(before.id, 0) / RATE
        if seconds > GAP_S:
            self._tell(f"the phone recorded nothing for {seconds:.0f} s")

    def _counted(self, sound: Sound) -> Sound:
        self._given += len(sound)
        return sound

    def _wait(self) -> None:
        self._attend()
        time.sleep(_LOOK_S)

    def _attend(self) -> None:
        if time.monotonic() - self._attended > ATTENDED_S / 4:
            self._attended = time.monotonic()
            self.spool.attend()
