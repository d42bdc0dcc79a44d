"""A copy of the whole journal in one file, made while it is in use: a ZIP that restores by unpacking it."""

from __future__ import annotations

import sqlite3
import tempfile
import zipfile
from pathlib import Path

from journal.errors import BadInput
from journal.record.files import CLIPS, COPIES, PHOTOS, write_whole_with
from journal.record.schema import FILE_NAME, database_errors
from journal.record.shop_units import UNITS_FILE
from journal.record.store import Store


def back_up(store: Store, target: Path) -> int:
    """Copy the database through SQLite's own backup, with every photo and clip and the shop's units, into one ZIP file.

    Other sessions may write meanwhile: what they had put on disk when the copy of the database began is in it. To
    restore, unpack the file into an empty folder and use that as the journal.

    Args:
        store: the journal.
        target: the file; replaced whole when it is there.

    Returns:
        How many files it holds.

    Raises:
        BadInput: when the target lies in the journal's own folder.
        RecordError: when the file cannot be written; no part of it is left behind.
    """
    folder = store.folder.resolve()
    if target.resolve().is_relative_to(folder):
        raise BadInput(f"{target} lies in the journal itself: back up to another place, best another disk")
    with write_whole_with(target) as file, tempfile.TemporaryDirectory(dir=target.parent) as beside:
        copy = Path(beside) / FILE_NAME
        _copy_database(store, copy)
        with zipfile.ZipFile(file, "w") as out:
            out.write(copy, FILE_NAME, zipfile.ZIP_DEFLATED, 1)
            # Listed after the database was copied: whatever an entry in it names was on disk before the entry.
            files = _files(folder)
            for path in files:
                out.write(path, path.relative_to(folder).as_posix(), zipfile.ZIP_STORED)
    return len(files) + 1


def _files(folder: Path) -> list[Path]:
    """Photos, clips, the page copies of photos whose originals stayed elsewhere, and the shop's units."""
    originals = sorted((folder / PHOTOS).glob("??/[0-9a-f]*"))
    known = {path.stem for path in originals}
    pages = sorted((folder / COPIES).glob("??/*-page.jpg"))
    return [
        *originals,
        *sorted((folder / CLIPS).glob("??/[0-9a-f]*")),
        *(page for page in pages if page.name.split("-")[0] not in known),
        *folder.glob(UNITS_FILE),
    ]


def _copy_database(store: Store, copy: Path) -> None:
    with database_errors(copy):
        target = sqlite3.connect(copy)
        try:
            store.copy_database(target)
            target.execute("PRAGMA journal_mode = DELETE")  # one file, without a log beside it
        finally:
            target.close()
