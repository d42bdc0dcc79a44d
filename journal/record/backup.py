"""A copy of the whole journal in one file, made while it is in use: a ZIP that restores by unpacking it."""

from __future__ import annotations

import os
import shutil
import sqlite3
import sys
import zipfile
from pathlib import Path

from journal.record.exports import exported, scratch
from journal.record.files import CLIPS, COPIES, PHOTOS, PRIVATE_FILE
from journal.record.keys import KEY_NAME
from journal.record.plain_errors import database_errors
from journal.record.schema import FILE_NAME
from journal.record.shop_units import UNITS_FILE
from journal.record.store import Store

_LEGACY = b"\1\1"
"""Write and read version of a database without a log beside it (SQLite file format, bytes 18 and 19 of its header)."""


def back_up(store: Store, target: Path, *, replace: bool = False) -> int:
    """Copy the database through SQLite's own backup, with its key, units, photos and clips, into a ZIP file.

    Other sessions may write meanwhile: what they had put on disk when the copy of the database began is in it. To
    restore, unpack the file into an empty folder and use that as the journal. Not in it: thumbnails and page copies,
    which are made again; speech models; and the page's key and its list of links and devices, which start anew.

    Args:
        store: the journal.
        target: the file; its owner's alone, for it holds the key.
        replace: whether it may take the place of a file that is there.

    Returns:
        How many files it holds.

    Raises:
        BadInput: when the target lies in a journal's folder, or is there already.
        RecordError: when the file cannot be written; no part of it is left behind.
    """
    folder = store.folder.resolve()
    with (
        exported(target, replace=replace, mode=PRIVATE_FILE) as file,
        zipfile.ZipFile(file, "w", compresslevel=1) as out,
    ):
        _add_database(store, target.parent, out)
        # Listed after the database was copied: whatever an entry in it names was on disk before the entry.
        files = _files(folder)
        for path in files:
            out.write(path, path.relative_to(folder).as_posix(), zipfile.ZIP_STORED)
    return len(files) + 1


def _files(folder: Path) -> list[Path]:
    """The key, the shop's units, photos, clips, and the page copies of photos whose originals stayed elsewhere.

    A folder, a pipe or a device in a file's place is left out.
    """
    originals = sorted((folder / PHOTOS).glob("??/[0-9a-f]*"))
    known = {path.stem for path in originals}
    pages = sorted((folder / COPIES).glob("??/*-page.jpg"))
    found = [
        folder / KEY_NAME,
        *originals,
        *sorted((folder / CLIPS).glob("??/[0-9a-f]*")),
        *(page for page in pages if page.name.split("-")[0] not in known),
        *folder.glob(UNITS_FILE),
    ]
    return [path for path in found if path.is_file()]


def _add_database(store: Store, beside: Path, out: zipfile.ZipFile) -> None:
    with scratch(beside) as (path, handle):
        with database_errors(path):
            target = sqlite3.connect(path)
            try:
                target.execute("PRAGMA journal_mode = OFF")
                # The copy is a file without a name from here on, so that a kill leaves nothing of it.
                if sys.platform != "win32":
                    path.unlink()
                store.copy_database(target)
            finally:
                target.close()
        with os.fdopen(os.dup(handle), "r+b") as copy:
            copy.seek(18)
            copy.write(_LEGACY)
            copy.seek(0)
            info = zipfile.ZipInfo(FILE_NAME)
            info.compress_type, info.external_attr = zipfile.ZIP_DEFLATED, PRIVATE_FILE << 16
            with out.open(info, "w", force_zip64=True) as entry:
                shutil.copyfileobj(copy, entry, 1 << 20)
