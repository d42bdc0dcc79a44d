"""An iterator in, the same items out, made in a thread of its own: sound is cut up while it is recognised."""

from __future__ import annotations

import queue
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TypeVar

T = TypeVar("T")

_WAIT_S = 0.5


@dataclass(frozen=True)
class _Over:
    """The last thing in the queue: how the iterator ended."""

    error: BaseException | None


def ahead(items: Iterator[T]) -> Iterator[T]:
    """Each item as soon as it is there; what the iterator raises is raised here, after the items before it.

    Nothing is dropped: a slow consumer finds what it has not yet taken in the queue.
    """
    ready: queue.SimpleQueue[T | _Over] = queue.SimpleQueue()
    left = threading.Event()

    def work() -> None:
        error: BaseException | None = None
        try:
            for item in items:
                ready.put(item)
                if left.is_set():
                    break
        except BaseException as raised:  # whatever it is, the consumer's thread must get it
            error = raised
        ready.put(_Over(error))

    threading.Thread(target=work, name="sound", daemon=True).start()
    try:
        while True:
            try:
                # A wait without an end would keep Ctrl-C from being heard on some systems.
                item = ready.get(timeout=_WAIT_S)
            except queue.Empty:
                continue
            if isinstance(item, _Over):
                if item.error is not None:
                    raise item.error
                return
            yield item
    finally:
        left.set()
