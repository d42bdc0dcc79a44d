"""A journal is its owner's alone on a machine that several people use."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from journal.record.files import CLIPS, COPIES, PHOTOS, PRIVATE_FILE, PRIVATE_FOLDER, SPOOL, WRITE_NEW
from journal.record.keys import KEY_NAME

_FOLDERS = frozenset({PHOTOS, CLIPS, COPIES, SPOOL, "models"})
_FILES = frozenset(
    {
        "journal.db",
        "journal.db-wal",
        "journal.db-shm",
        KEY_NAME,
        "page.key",
        "page.pem",
        "page.db",
        "page.log",
        "page.address",
        "live.json",
        "holding",
        "units.toml",
        "screens.toml",
    }
)


def make_private(folder: Path) -> None:
    """Close a new journal, or one made before this was done, to other users; whoever wants to may open it again.

    The folder itself only where nothing else lies in it.
    """
    if os.name != "posix":
        return
    with contextlib.suppress(OSError):  # somebody else's, or a disk that knows no owners
        there = list(folder.iterdir())
        ours = [path for path in there if path.name in _FOLDERS | _FILES and not path.is_symlink()]
        for path in ours:
            path.chmod(PRIVATE_FOLDER if path.name in _FOLDERS else PRIVATE_FILE)
        if all(path in ours or path.name.startswith(".") for path in there):
            folder.chmod(PRIVATE_FOLDER)


def begin_private(path: Path) -> None:
    """Begin a file that another will write, or close one that is there: it is its owner's from the start.

    Whatever stands against it is left for the one that writes to say.
    """
    with contextlib.suppress(OSError):
        try:
            os.close(os.open(path, WRITE_NEW, PRIVATE_FILE))
        except FileExistsError:
            if os.name == "posix" and path.stat().st_mode & 0o077:  # made before this was done
                path.chmod(PRIVATE_FILE)
