"""The listener as a process of its own: started for a job, watched, started again when it dies, and ended."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from webui.heard import heard_in

LOOK_EVERY_S = 0.25
"""Seconds between two looks at the process."""

PATIENCE_S = 5.0
"""Seconds without a sign of life after which a process that is there is ended, to be started again."""

START_S = 60.0
"""Seconds within which a process must have given its first: models are read from a cold disk."""

WAITS_S = (0.5, 2.0, 5.0, 10.0)
"""Seconds to wait before each further start; one that dies after the last is not started again."""

STEADY_S = 30.0
"""Seconds that a process must have lived for its end to count as a first one."""

END_S = 4.0
"""Seconds in which a process that was told to end may hear what was said to its end."""


PHONE = "phone:"
"""What stands for the phones of the job where a microphone is chosen; no microphone is called so."""


@dataclass(frozen=True)
class Wanted:
    """What is to be listened to."""

    job: str
    """Identifier of the job."""
    device: str = ""
    """Part of the microphone's name, or its number; empty for the system's default; `PHONE` for the job's phones."""
    voice: str = "spoken"
    """How to answer: spoken, tones or silent."""
    technician: str = ""
    """Who speaks; empty for whoever opened the job."""
    lead: bool = False
    """Whether the journal leads the test."""


def command_for(folder: Path, wanted: Wanted) -> list[str]:
    """The command that listens so."""
    words = [sys.executable, "-m", "journal", "--journal", str(folder), "listen", "--watched", "--job", wanted.job]
    words += ["--lead"] if wanted.lead else []
    if wanted.device == PHONE:
        words += ["--from", "phone"]  # which answers by itself
    else:
        words += ["--voice", wanted.voice, *(["--device", wanted.device] if wanted.device else [])]
    return words + (["--technician", wanted.technician] if wanted.technician else [])


class Listener:
    """Keeps one listening process as it is wanted."""

    def __init__(self, folder: Path, command: Callable[[Path, Wanted], Sequence[str]] = command_for) -> None:
        """Nothing is listened to before it is wanted.

        Args:
            folder: the journal's.
            command: what is started for what is wanted.
        """
        self._folder = folder
        self._command = command
        self._lock = threading.RLock()
        self._wanted: Wanted | None = None
        self._process: subprocess.Popen[str] | None = None
        self._why = ""
        self._last_line = ""
        self._reader: threading.Thread | None = None
        self._started_at = 0.0
        self._deaths = 0
        self._start_at = 0.0
        self._thread: threading.Thread | None = None

    @property
    def wanted(self) -> Wanted | None:
        """What is to be listened to; none when nothing is, or when it was given up."""
        return self._wanted

    @property
    def why(self) -> str:
        """Why the last process ended that was not told to; empty when none did since it was wanted."""
        return self._why

    def start(self, wanted: Wanted) -> None:
        """Listen so from now on; what was listened to before is ended."""
        with self._lock:
            if self._wanted == wanted and self._alive():
                return
            self._end()
            self._wanted, self._why, self._deaths, self._start_at = wanted, "", 0, 0.0
            self._look()
            if self._thread is None:
                self._thread = threading.Thread(target=self._watch, name="journal-listener", daemon=True)
                self._thread.start()

    def stop(self, job: str = "") -> None:
        """Listen no more; with a job, only where that one is listened for."""
        with self._lock:
            if self._wanted is not None and job in ("", self._wanted.job):
                self._wanted, self._why = None, ""
                self._end()

    def _alive(self) -> bool:
        return self._process is not None and self._process.poll() is None

    def _watch(self) -> None:
        while True:
            time.sleep(LOOK_EVERY_S)
            with self._lock:
                if self._wanted is None:
                    self._thread = None
                    return
                self._look()

    def _look(self) -> None:
        """Start what is wanted and not there; end what does not answer."""
        now = time.monotonic()
        if self._alive():
            age, silence = now - self._started_at, time.time() - heard_in(self._folder).written_at
            began = silence < age
            if silence > PATIENCE_S and (began or age > START_S) and age > PATIENCE_S:
                self._end(at_once=True)
                self._died("the listener did not answer and was ended", now)
            return
        if self._process is not None:
            if self._reader is not None:
                self._reader.join(1.0)  # what it said last is why it ended
            self._died(_reason(self._process.returncode, self._last_line), now)
        if self._wanted is not None and now >= self._start_at:
            self._launch(self._wanted)

    def _died(self, why: str, now: float) -> None:
        self._process, self._why = None, why
        self._deaths = 1 if now - self._started_at > STEADY_S else self._deaths + 1
        if self._deaths > len(WAITS_S):
            self._why = f"{why}; it was started {self._deaths} times, press Listen to try again"
            self._wanted = None
            return
        self._start_at = now + WAITS_S[self._deaths - 1]

    def _launch(self, wanted: Wanted) -> None:
        self._last_line = ""
        self._started_at = time.monotonic()
        try:
            self._process = subprocess.Popen(
                list(self._command(self._folder, wanted)),
                stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
                text=True, errors="replace",
                # What interrupts the page is not for the listener: it ends with its standard input.
                start_new_session=os.name == "posix",
            )  # fmt: skip
        except OSError as error:
            self._died(f"the listener cannot be started ({error.strerror})", time.monotonic())
            return
        assert self._process.stderr is not None
        self._reader = threading.Thread(target=self._read, args=(self._process.stderr,), daemon=True)
        self._reader.start()

    def _read(self, lines: IO[str]) -> None:
        with lines, contextlib.suppress(ValueError):
            for line in lines:
                if line.strip():
                    self._last_line = line.strip()

    def _end(self, *, at_once: bool = False) -> None:
        """End the process: it hears what was said to its end, unless it does not answer."""
        process, self._process = self._process, None
        if process is None:
            return
        assert process.stdin is not None
        with contextlib.suppress(OSError):
            process.stdin.close()
        if not at_once:
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(END_S)
        if process.poll() is None:
            process.kill()
        process.wait()


def _reason(code: int, last_line: str) -> str:
    """Why a process ended, in words."""
    if code < 0:
        with contextlib.suppress(ValueError):
            return f"the listener was ended from outside ({signal.Signals(-code).name})"
    return last_line.removeprefix("journal: ") if code and last_line else "the listener ended by itself"
