"""Photos that came in are read here beside everything else: one after another, in a process that goes when idle.

Frames of a camera on a stand are read in the same process, where nothing else waits to be.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import queue
import threading
from collections import OrderedDict
from concurrent.futures import CancelledError, Future
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path

from journal.errors import BadInput, JournalError
from journal.record.store import Store
from journal.seeing import can_see
from journal.seeing.types import Labelled

IDLE_S = 60.0
"""Seconds without a photo after which the process that reads is ended, so that its memory is free again."""

PATIENCE_S = 60.0
"""Seconds after which a photo that is not read yet is given up."""

LONGEST_S = PATIENCE_S + 10
"""Seconds after which a frame is given up, whatever happened to who reads it."""

GENTLY = 10
"""By how much the reading process is nicer than others (`nice`): who listens comes first."""

TOLD = 60
"""Photos whose outcome is remembered to be shown, the latest."""

BEING_READ = "being read"
"""What is told of a photo until it is read."""

Found = tuple[tuple[Labelled, ...], tuple[int, int]]


@dataclass(frozen=True)
class _Frame:
    """A frame of a camera on a stand, and what is found on it once it was read."""

    jpeg: bytes
    found: Future[Found] = field(default_factory=Future)


class Screens:
    """Reads the photos of jobs, never within a request, and frames, for which their request waits."""

    def __init__(self, folder: Path) -> None:
        """Nothing is started before the first photo.

        Args:
            folder: the journal's.
        """
        self.folder = folder
        self._queue: queue.SimpleQueue[tuple[str, str] | _Frame | None] = queue.SimpleQueue()
        self._waiting = 0
        """Photos and frames that are being read or wait to be."""
        self._told: OrderedDict[str, str] = OrderedDict()
        self._lock = threading.Lock()
        self._thread: threading.Thread | None = None
        self._worker: _Worker | None = None

    def take(self, job: str, sha256: str) -> None:
        """Have a photo of a job read when its turn comes; nothing where no reader is installed."""
        if not can_see():
            return
        with self._lock:
            self._put((job, sha256))

    def look(self, jpeg: bytes) -> Found | None:
        """What is found on a frame of a camera on a stand; none where something else is being read just now.

        Raises:
            BadInput: when it is no picture, or cannot be read.
        """
        frame = _Frame(jpeg)
        with self._lock:
            if self._waiting:
                return None
            self._put(frame)
        try:
            return frame.found.result(LONGEST_S)
        except (EOFError, OSError, CancelledError):
            raise BadInput("the reader ended: try again") from None

    def _put(self, wanted: tuple[str, str] | _Frame) -> None:
        """Queue what is to be read; the lock is held."""
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="journal-screens", daemon=True)
            self._thread.start()
        self._waiting += 1
        self._queue.put(wanted)

    def told(self, sha256: str) -> str:
        """What became of a photo in one line; empty where nothing is to be told of it."""
        with self._lock:
            return self._told.get(sha256, "")

    def close(self) -> None:
        """Read no more, and end the process that reads."""
        with self._lock:
            self._waiting += 1  # no frame is begun any more
        self._queue.put(None)
        if (worker := self._worker) is not None:
            worker.end()

    def _work(self) -> None:
        while True:
            try:
                wanted = self._queue.get(timeout=IDLE_S if self._worker is not None else None)
            except queue.Empty:
                self._end_worker()
                continue
            if wanted is None:
                self._end_worker()
                return
            if isinstance(wanted, _Frame):
                self._frame(wanted)
            else:
                self._one(*wanted)
                self._is_read()

    def _is_read(self) -> None:
        with self._lock:
            self._waiting -= 1

    def _frame(self, frame: _Frame) -> None:
        found: Found | Exception
        try:
            found = self._read(frame.jpeg)
        except BadInput as error:
            found = error
        except (EOFError, OSError) as error:
            self._end_worker()
            found = error
        self._is_read()  # before it is told: the next one comes at once
        if isinstance(found, Exception):
            frame.found.set_exception(found)
        else:
            frame.found.set_result(found)

    def _one(self, job: str, sha256: str) -> None:
        from journal.photographed import enter_shown

        def read(path: Path) -> Found:
            self.tell(sha256, BEING_READ)
            return self._read(path)

        try:
            with Store.open(self.folder, in_turn=True) as store:
                line = enter_shown(store, job, sha256, read)
        except JournalError as error:
            line = f"its screen is not read: {error}"
        except (EOFError, OSError):
            self._end_worker()
            line = "its screen is not read: the reader ended; send the photo again"
        self.tell(sha256, line)

    def _read(self, photo: Path | bytes) -> Found:
        if self._worker is None:
            self._worker = _Worker()
        return self._worker.read(photo)

    def tell(self, sha256: str, line: str) -> None:
        """Say what became of a photo."""
        with self._lock:
            self._told[sha256] = line
            self._told.move_to_end(sha256)
            while len(self._told) > TOLD:
                self._told.popitem(last=False)

    def _end_worker(self) -> None:
        if self._worker is not None:
            self._worker.end()
            self._worker = None


class _Worker:
    """The process that reads."""

    def __init__(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=_read_on, args=(theirs,), name="journal-screens", daemon=True)
        self._process.start()
        theirs.close()

    def read(self, photo: Path | bytes) -> Found:
        """The numbers on a photo, and the size that their places are told in.

        Raises:
            BadInput: when it cannot be read.
            EOFError: when the process ended, or took too long.
        """
        self._pipe.send(photo)
        if not self._pipe.poll(PATIENCE_S):
            raise EOFError
        found: Found | str = self._pipe.recv()
        if isinstance(found, str):
            raise BadInput(found)
        return found

    def end(self) -> None:
        """End it, whatever it does."""
        self._process.kill()
        self._process.join()


def _read_on(pipe: Connection) -> None:
    """Read the photos whose names come, until whoever sends them is gone."""
    from journal.photographed import read_file

    with contextlib.suppress(OSError, AttributeError):  # not everywhere
        os.nice(GENTLY)
    with contextlib.suppress(EOFError, KeyboardInterrupt):
        while True:
            photo = pipe.recv()
            try:
                pipe.send(read_file(photo))
            except JournalError as error:
                pipe.send(str(error))
