"""A journal's folder in, its stores out: lent to one request at a time, and taken back when its answer is made."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from pathlib import Path

from journal.record.store import Store

MOST_IDLE = 4
"""Stores kept open while nobody uses them; each has its own memory of pages and jobs, so no more than are of use."""


class Stores:
    """So many stores as there are requests at work at once, not one for each thread that ever answered one."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._idle: list[Store] = []
        self._closed = False

    def take(self) -> Store:
        """A store for whoever asks until it is given back: the one used last, as it has most in mind.

        Raises:
            RecordError: when the journal cannot be opened.
        """
        with self._lock:
            if self._idle:
                return self._idle.pop()
        return Store.open(self._folder, in_turn=True)

    def give_back(self, store: Store) -> None:
        """Take a store back from whoever took it."""
        with self._lock:
            if not self._closed and len(self._idle) < MOST_IDLE:
                self._idle.append(store)
                return
        store.close()

    @contextlib.contextmanager
    def one(self) -> Iterator[Store]:
        """A store for what is done inside."""
        store = self.take()
        try:
            yield store
        finally:
            self.give_back(store)

    def close(self) -> None:
        """Close those that nobody uses, and the others as they are given back."""
        with self._lock:
            self._closed = True
            idle, self._idle = self._idle, []
        for store in idle:
            store.close()
