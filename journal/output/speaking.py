"""What became of an utterance in, a spoken line or a tone out; while it sounds, the microphone hears silence."""

from __future__ import annotations

import queue
import threading
import time
from collections.abc import Callable, Iterable, Iterator
from typing import Any

import numpy as np

from journal.errors import BadInput, HearingError
from journal.hearing.types import RATE, Sound
from journal.wording.types import Verdict

WAYS = ("spoken", "tones", "silent")
"""How an answer may be given."""

AFTER_S = 0.25
"""How long a room goes on sounding after the answer, seconds; common practice, no source."""

_PITCHES_HZ = {Verdict.TAKE: (880.0,), Verdict.ASK: (660.0, 880.0), Verdict.LET_GO: (330.0,)}
_TONE_S = 0.12
_EDGE_S = 0.01
_WORDS_PER_MINUTE = 190


def tone(verdict: Verdict) -> Sound:
    """The tone of a verdict: one high for taken, two rising for asked, one low for let go.

    Returns:
        shape (samples,), mono at `RATE`, peak 0.3.
    """
    t = np.arange(int(_TONE_S * RATE)) / RATE
    edge = np.minimum(1.0, np.minimum(t, t[::-1]) / _EDGE_S)
    parts = [0.3 * edge * np.sin(2 * np.pi * pitch * t) for pitch in _PITCHES_HZ[verdict]]
    return np.concatenate(parts).astype(np.float32)


class Answerer:
    """Gives answers one after the other, in a thread of its own, so that listening goes on."""

    def __init__(self, give: Callable[[Verdict, str], None] | None) -> None:
        """Start.

        Args:
            give: sounds one answer and returns when it is over; none to stay silent.
        """
        self._give = give
        self._waiting: queue.Queue[tuple[Verdict, str] | None] = queue.Queue()
        self._sounding_until = 0.0
        self._pending = 0
        self._lock = threading.Lock()
        self.failed = ""
        self._thread = threading.Thread(target=self._run, name="answers", daemon=True)
        if give is not None:
            self._thread.start()

    def answer(self, verdict: Verdict, text: str) -> None:
        """Queue one answer; returns at once. An empty text is not spoken."""
        if self._give is None or self.failed:
            return
        with self._lock:
            self._pending += 1
        self._waiting.put((verdict, text))

    @property
    def sounding(self) -> bool:
        """Whether an answer sounds now, waits to, or still hangs in the room."""
        with self._lock:
            return self._pending > 0 or time.monotonic() < self._sounding_until

    def close(self) -> None:
        """Give what waits, then stop."""
        if self._thread.is_alive():
            self._waiting.put(None)
            self._thread.join(timeout=10)

    def _run(self) -> None:
        assert self._give is not None
        while (item := self._waiting.get()) is not None:
            try:
                if not self.failed:
                    self._give(*item)
            except Exception as error:  # a loudspeaker's driver may raise anything; a session must go on without it
                self.failed = f"answers cannot be heard ({error}); read them on the screen"
            with self._lock:
                self._pending -= 1
                self._sounding_until = time.monotonic() + AFTER_S


def answerer(how: str) -> Answerer:
    """An answerer of one of the `WAYS`.

    Raises:
        BadInput: for another way.
        HearingError: when the library, the system's voice or a loudspeaker is not there.
    """
    if how not in WAYS:
        raise BadInput(f"answers {how!r}: use one of {', '.join(WAYS)}")
    if how == "silent":
        return Answerer(None)
    return Answerer(_in_words() if how == "spoken" else _in_tones())


def unheard(blocks: Iterable[Sound], sounding: Callable[[], bool]) -> Iterator[Sound]:
    """Blocks of sound as they come, silenced while an answer sounds, so that the tool does not hear itself."""
    for block in blocks:
        yield np.zeros_like(block) if sounding() else block


def _in_words(driver: str | None = None) -> Callable[[Verdict, str], None]:
    try:
        import pyttsx3
    except ImportError as error:
        raise HearingError("spoken answers need pyttsx3; install the speech extra, or use tones") from error
    voice: list[Any] = []

    def give(verdict: Verdict, text: str) -> None:
        if not text:
            return
        if not voice:  # made in the thread that speaks: some systems' voices may not change threads
            voice.append(pyttsx3.init(driver))
            voice[0].setProperty("rate", _WORDS_PER_MINUTE)
        voice[0].say(text)
        voice[0].runAndWait()

    return give


def _in_tones() -> Callable[[Verdict, str], None]:
    try:
        import sounddevice

        sounddevice.query_devices(kind="output")
    except (ImportError, OSError) as error:
        raise HearingError("tones need sounddevice and PortAudio; install them, or stay silent") from error
    except Exception as error:  # PortAudioError is only there when PortAudio is
        raise HearingError("no loudspeaker found; plug one in, or stay silent") from error

    def give(verdict: Verdict, text: str) -> None:
        sounddevice.play(tone(verdict), RATE, blocking=True)

    return give
