"""Sound that a phone sends, kept on disk in its order until it is heard: pieces in, however they come, samples out.

A stream is what one phone recorded without a break. Its pieces say with which sample they begin: what is there already
is passed over, what would leave a hole is not taken, and the answer is how many samples there are now. So nothing is
lost and nothing doubled, whatever the network does, as long as the phone keeps what it has no answer to.
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from journal.errors import BadInput
from journal.record.clips import RATE
from journal.record.files import PRIVATE_FILE, SPOOL, WRITE_NEW, file_errors, make_folder

BYTES = 2
"""Of a sample: 16 bits, little-endian."""

LONGEST_PIECE_S = 8.0
"""Of one piece, seconds of sound."""

UNHEARD_S = 900.0
"""Sound that may wait to be heard, seconds of all streams of a job together; more is not taken."""

MOST_STREAMS = 40
"""Streams of a job that wait to be heard."""

OLDEST = timedelta(hours=12)
"""Sound recorded before that is not taken, and what nobody heard by then is let go."""

ATTENDED_S = 1.6
"""Seconds after which whoever hears a job's phone and gave no sign is gone."""

_SEGMENT = 20 * RATE
_STREAM = re.compile(r"[0-9a-f]{16}")
_JOB = re.compile(r"[0-9A-Za-z-]{1,64}")
_ENDING = ".s16"
_ANSWERS_KEPT = 8


@dataclass(frozen=True)
class Stream:
    """What one phone recorded without a break, as far as it is here."""

    path: Path
    """Its folder."""

    @property
    def id(self) -> str:
        """Its identifier, 16 hex digits, chosen by the phone."""
        return self.path.name.partition("-")[2]

    @property
    def began(self) -> datetime:
        """When its first sample was recorded, UTC, by this machine's clock."""
        return datetime.fromtimestamp(int(self.path.name.partition("-")[0]) / 1000, UTC)

    @property
    def device(self) -> str:
        """The device that it comes from."""
        return _text(self.path / "device")

    @property
    def ended(self) -> bool:
        """Whether the phone has said that there will be no more."""
        return (self.path / "ended").exists()

    @property
    def first(self) -> int:
        """The first sample that is still kept."""
        return min((_place(path) for path in self._segments()), default=0)

    @property
    def have(self) -> int:
        """How many samples have come."""
        last = max(self._segments(), key=_place, default=None)
        return 0 if last is None else _place(last) + _size(last) // BYTES

    @property
    def read(self) -> int:
        """How many of them were listened to, speech or not."""
        return max(self._number("read"), self.taken)

    @property
    def taken(self) -> int:
        """How many of them need not be listened to again: up to there, all that was said is entered."""
        return self._number("taken")

    def samples(self, at: int, most: int) -> bytes:
        """Samples from number `at` on, at most so many; empty where no more are here yet."""
        for path in sorted(self._segments(), key=_place):
            place, size = _place(path), _size(path) // BYTES
            if place <= at < place + size:
                with path.open("rb") as file:
                    file.seek((at - place) * BYTES)
                    data = file.read(min(most, place + size - at) * BYTES)
                return data[: len(data) - len(data) % BYTES]
        return b""

    def note(self, what: str, number: int) -> None:
        """Keep how far it is `read` or `taken`, and let go of what is needed no more."""
        fresh = self.path / f"{what}.new"
        with contextlib.suppress(OSError):  # erased meanwhile
            fresh.write_text(str(number), encoding="ascii")
            fresh.replace(self.path / what)
            keep_from = max(self.taken, self.read - round(UNHEARD_S * RATE))
            for path in sorted(self._segments(), key=_place)[:-1]:  # the last one says how much has come
                if _place(path) + _size(path) // BYTES <= keep_from:
                    path.unlink(missing_ok=True)

    def _number(self, what: str) -> int:
        text = _text(self.path / what)
        return int(text) if text.isdigit() else 0

    def _segments(self) -> list[Path]:
        return list(self.path.glob(f"*{_ENDING}"))


@dataclass(frozen=True)
class Come:
    """What became of a piece."""

    have: int
    """How many samples of its stream are here now: the phone need not keep them, and goes on from there."""
    full: bool = False
    """Whether so much waits to be heard that no more is taken."""


class Spool:
    """What phones send in for one job."""

    _lock = threading.Lock()

    def __init__(self, folder: Path, job: str) -> None:
        """Args: folder, the journal's; job, the identifier of a job that is there; `BadInput` when it can be none."""
        self.path = _place_of(folder, job)

    def streams(self) -> list[Stream]:
        """Every stream, the one that began first first."""
        try:
            found = [path for path in self.path.iterdir() if path.name.partition("-")[0].isdigit()]
        except OSError:
            return []
        return [Stream(path) for path in sorted(found)]

    def put(self, stream: str, at: int, data: bytes, *, device: str, age_s: float = 0.0) -> Come:
        """Keep a piece of sound; it is on disk when this returns.

        Args:
            stream: the stream's identifier, 16 hex digits.
            at: the number of its first sample in the stream.
            data: mono samples at `RATE`, 16 bits, little-endian.
            device: who sends it; a stream is taken from one device only.
            age_s: how long ago its last sample was recorded, seconds.

        Raises:
            BadInput: when it is no such piece, or the stream is another device's.
            RecordError: when the disk refuses.
        """
        _check(stream, at, data, age_s)
        with self._lock, file_errors(self.path / stream):
            known = next((each for each in self.streams() if each.id == stream), None)
            if known is not None and known.device != device:
                raise BadInput("this sound is another device's: start the microphone again")
            have = known.have if known is not None else 0
            fresh = data[max(0, have - at) * BYTES :] if at <= have else b""
            if not fresh:
                return Come(have)
            if self._unheard_s() + len(fresh) / BYTES / RATE > UNHEARD_S:
                return Come(have, full=True)
            if known is None:
                self.let_go()
                if len(self.streams()) >= MOST_STREAMS:
                    return Come(0, full=True)
                before = timedelta(seconds=age_s + len(data) / BYTES / RATE)
                known = self._begun(stream, datetime.now(UTC) - before, device)
            _append(known.path, have, fresh)
            return Come(have + len(fresh) // BYTES)

    def end(self, stream: str, device: str) -> None:
        """There will be no more of a stream, or of all of a device's where none is named; what came of it is heard."""
        for each in self.streams():
            if stream in ("", each.id) and each.device == device:
                with contextlib.suppress(OSError):
                    (each.path / "ended").touch(PRIVATE_FILE)

    def let_go(self) -> None:
        """Let go of streams that are heard to their end, and of those that nobody heard in time."""
        for each in self.streams():
            if (each.ended and each.taken >= each.have) or datetime.now(UTC) - each.began > OLDEST:
                shutil.rmtree(each.path, ignore_errors=True)

    def attend(self) -> None:
        """Say that somebody hears what comes, now."""
        with contextlib.suppress(OSError):
            make_folder(self.path)
            fresh = self.path / "attended.new"
            fresh.write_text(str(os.getpid()), encoding="ascii")
            fresh.replace(self.path / "attended")

    def leave(self) -> None:
        """Say that nobody does any more."""
        with contextlib.suppress(OSError):
            (self.path / "attended").unlink()

    def attended(self) -> int:
        """The process that hears what comes, while it gives signs of it; 0 for none."""
        path = self.path / "attended"
        try:
            fresh = abs(time.time() - path.stat().st_mtime) < ATTENDED_S
        except OSError:
            return 0
        text = _text(path)
        return int(text) if fresh and text.isdigit() else 0

    def say(self, verdict: str, text: str, late_s: float = 0.0) -> None:
        """Leave an answer for the phone to speak or to sound, so many seconds after what it answers was said."""
        number, kept = self._answers()
        answers = [*kept, [number + 1, verdict, text, round(late_s, 1)]][-_ANSWERS_KEPT:]
        fresh = self.path / "answers.new"
        with contextlib.suppress(OSError):
            make_folder(self.path)
            fresh.touch(PRIVATE_FILE)
            fresh.write_text(json.dumps(answers), encoding="utf-8")
            fresh.replace(self.path / "answers.json")

    def answers(self, after: int) -> list[tuple[int, str, str, float]]:
        """The answers with a greater number than this: number, verdict, words, how late; the earliest first."""
        return [tuple(answer) for answer in self._answers()[1] if answer[0] > after]

    def _answers(self) -> tuple[int, list[Any]]:
        try:
            kept: Any = json.loads((self.path / "answers.json").read_text(encoding="utf-8"))
            return int(kept[-1][0]), list(kept)
        except (OSError, ValueError, IndexError, TypeError):
            return 0, []

    def _unheard_s(self) -> float:
        return sum(each.have - max(each.first, each.read) for each in self.streams()) / RATE

    def _begun(self, stream: str, began: datetime, device: str) -> Stream:
        made = Stream(self.path / f"{round(began.timestamp() * 1000):013d}-{stream}")
        make_folder(made.path)
        with os.fdopen(os.open(made.path / "device", WRITE_NEW, PRIVATE_FILE), "w", encoding="ascii") as file:
            file.write(device)
        return made


def forget_sound(folder: Path, job: str) -> None:
    """Remove what phones sent for a job that is erased."""
    shutil.rmtree(_place_of(folder, job), ignore_errors=True)


def _place_of(folder: Path, job: str) -> Path:
    if _JOB.fullmatch(job) is None:  # it may have come in a pack
        raise BadInput(f"{job[:80]!r} is no job's identifier")
    return folder / SPOOL / job


def _check(stream: str, at: int, data: bytes, age_s: float) -> None:
    if _STREAM.fullmatch(stream) is None:
        raise BadInput("a stream of sound is named by 16 hex digits")
    if not 0 <= at <= OLDEST.total_seconds() * RATE:
        raise BadInput("the place of this sound in its stream makes no sense: start the microphone again")
    if not data or len(data) % BYTES or len(data) > LONGEST_PIECE_S * RATE * BYTES:
        raise BadInput(f"a piece of sound is whole samples of 16 bits, {LONGEST_PIECE_S:g} seconds at most")
    if not 0 <= age_s <= OLDEST.total_seconds():
        raise BadInput(f"sound from more than {OLDEST.total_seconds() / 3600:g} hours ago is not taken")


def _append(folder: Path, have: int, data: bytes) -> None:
    last = max(folder.glob(f"*{_ENDING}"), key=_place, default=None)
    if last is None or have - _place(last) >= _SEGMENT:
        last = folder / f"{have:012d}{_ENDING}"
        os.close(os.open(last, WRITE_NEW, PRIVATE_FILE))
    with last.open("r+b") as file:
        file.truncate((have - _place(last)) * BYTES)  # half a sample, where the power went
        file.seek(0, os.SEEK_END)
        file.write(data)


def _place(path: Path) -> int:
    return int(path.stem)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:  # let go meanwhile
        return 0


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="ascii")
    except (OSError, UnicodeError):
        return ""


def pieces(data: bytes, at: int = 0) -> Iterator[tuple[int, bytes]]:
    """Samples as pieces that are not too long, each with its place in the stream."""
    step = round(LONGEST_PIECE_S * RATE) * BYTES
    for begin in range(0, len(data), step):
        yield at + begin // BYTES, data[begin : begin + step]
