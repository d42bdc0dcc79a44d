"""A folder that a phone syncs to: each new photo, once it has arrived whole."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from journal.errors import NotFound

PICTURES = frozenset({".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif", ".avif"})
"""Endings of the files looked at."""


def watch(
    folder: Path, *, every_s: float = 1.0, already: bool = False, stop: Callable[[], bool] = lambda: False
) -> Iterator[Path]:
    """Yield each photo that arrives in a folder, oldest first, for as long as `stop` says no.

    The folder is looked at rather than listened to: what a phone's sync or a network share brings raises no events on
    many systems. A file counts as arrived when its size and time were the same at two looks.

    Args:
        folder: where photos arrive.
        every_s: seconds between two looks.
        already: whether those that lie there at the start count too.
        stop: asked between two looks.

    Raises:
        NotFound: when there is no such folder.
    """
    if not folder.is_dir():
        raise NotFound(f"there is no folder {folder}: check its name")
    done = set() if already else set(_look(folder) or ())
    seen: dict[Path, tuple[int, int]] = {}
    while not stop():
        now = _look(folder)
        if now is None:  # a share that went away for a while: what was done stays done
            time.sleep(every_s)
            continue
        whole = [path for path, facts in now.items() if path not in done and seen.get(path) == facts and facts[0] > 0]
        for path in sorted(whole, key=lambda p: (now[p][1], p.name)):
            done.add(path)
            yield path
        done &= set(now)
        seen = now
        time.sleep(every_s)


def _look(folder: Path) -> dict[Path, tuple[int, int]] | None:
    """Size and time of change of every picture file there; none while the folder cannot be read."""
    found = {}
    try:
        paths = list(folder.iterdir())
    except OSError:
        return None
    for path in paths:
        # Hidden files are how sync programs keep what is still on its way.
        if path.suffix.lower() in PICTURES and not path.name.startswith("."):
            with contextlib.suppress(OSError):
                facts = path.stat()
                found[path] = (facts.st_size, facts.st_mtime_ns)
    return found
