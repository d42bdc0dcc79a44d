"""A copy of the whole journal in one file, made while it is in use: a ZIP that restores by unpacking it."""

from __future__ import annotations

import os
import shutil
import sqlite3
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from journal.record.exports import exported, scratch
from journal.record.files import CLIPS, COPIES, PHOTOS, PRIVATE_FILE, sha256_of
from journal.record.keys import KEY_NAME
from journal.record.plain_errors import database_errors
from journal.record.schema import FILE_NAME
from journal.record.shop_labels import LABELS_FILE
from journal.record.shop_units import UNITS_FILE
from journal.record.store import Store

_LEGACY = b"\1\1"
"""Write and read version of a database without a log beside it (SQLite file format, bytes 18 and 19 of its header)."""


@dataclass(frozen=True)
class BackedUp:
    """What a backup holds."""

    files: int
    """How many files."""
    troubles: tuple[str, ...]
    """Which of them are not what they were, and what could not be read and so is not in it; a line each."""


def back_up(store: Store, target: Path, *, replace: bool = False) -> BackedUp:
    """Copy the database through SQLite's own backup, with its key, units, photos and clips, into a ZIP file.

    Other sessions may write meanwhile: what they had put on disk when the copy of the database began is in it. To
    restore, unpack the file into an empty folder and use that as the journal. Not in it: thumbnails and page copies,
    which are made again; speech models; and the page's key and its list of links and devices, which start anew. What
    can be read of a damaged journal is copied as it is, and said.

    Args:
        store: the journal.
        target: the file; its owner's alone, for it holds the key.
        replace: whether it may take the place of a file that is there.

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
        troubles = [trouble for path in files for trouble in _add(path, path.relative_to(folder).as_posix(), out)]
        held = len(out.infolist())
    return BackedUp(held, tuple(troubles))


def _add(path: Path, name: str, out: zipfile.ZipFile) -> Iterator[str]:
    try:
        data, info = path.read_bytes(), zipfile.ZipInfo.from_file(path, name, strict_timestamps=False)
    except OSError as error:
        yield f"{name} cannot be read ({(error.strerror or str(error)).lower()}) and is not in it"
        return
    out.writestr(info, data)
    if name.startswith((f"{PHOTOS}/", f"{CLIPS}/")) and sha256_of(data) != path.name.split(".")[0]:
        yield f"{name} is not what it was: restore it from an earlier backup"


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
        *folder.glob(LABELS_FILE),
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
