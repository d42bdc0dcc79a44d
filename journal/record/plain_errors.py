"""SQLite's troubles as one line each that says what to do."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from journal.errors import RecordError

_NOT_OURS = (ValueError, TypeError, KeyError, OverflowError, RecursionError, AssertionError)
"""What reading rows raises that another program, or an accident, has written."""


@contextlib.contextmanager
def database_errors(path: Path) -> Iterator[None]:
    """Turn SQLite's troubles into one line each that says what to do."""
    try:
        yield
    except sqlite3.Error as error:
        raise RecordError(f"{path}: {_plain_words(str(error), path)}") from error
    except _NOT_OURS as error:
        what = (str(error).splitlines() or [type(error).__name__])[0][:80]
        raise RecordError(
            f"{path}: the journal is damaged, it holds what this program does not write ({what}): keep the file, run "
            "`journal verify`, and go back to the last backup"
        ) from error


def no_room(path: Path) -> bool:
    """Whether the disk that a file lies on is full, as far as that can be told."""
    try:
        return shutil.disk_usage(path.parent).free < _ROOM
    except OSError:
        return False


_ROOM = 65_536
"""With fewer bytes than that SQLite cannot begin."""
_FULL_TOO = ("readonly", "read-only", "disk i/o", "unable to open")
"""What SQLite says of a full disk when it meets it elsewhere than in its own files."""


def _plain_words(trouble: str, path: Path) -> str:
    words = trouble.lower()
    if "full" in words or (any(each in words for each in _FULL_TOO) and no_room(path)):
        return "the disk is full; nothing was saved: free some space, then do it again"
    if "readonly" in words or "read-only" in words:
        return "the journal is read-only here; nothing was saved: make its folder writable, or choose another"
    if "locked" in words or "busy" in words:
        return "another program holds the journal; nothing was saved: close that program, then do it again"
    if "unable to open" in words:
        return "the journal cannot be opened: check that its folder exists and can be written"
    if "malformed" in words or "not a database" in words:
        return "the journal is damaged: keep the file, run `journal verify`, and go back to the last backup"
    if "no such table" in words or "no such column" in words:
        return (
            f"the journal is damaged, part of it is gone ({trouble}); nothing was saved: go back to the last backup; "
            "without one, `journal pack FILE --job REF` each job that `journal jobs` lists, and `journal unpack` the "
            "packs into a new folder"
        )
    if "an entry is never" in words:
        return trouble
    return f"{trouble}; nothing was saved: check the disk, then run `journal verify`"
