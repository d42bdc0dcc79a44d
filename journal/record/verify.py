"""Is the journal sound? The database, every checksum, every reference, and what is derived from the entries."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

from journal.errors import JournalError, NotFound
from journal.facts import Entry, Photo
from journal.record.clips import all_clips
from journal.record.files import CLIPS, PHOTOS, files_of, sha256_of_file
from journal.record.photos import original_path, page_copy_path
from journal.record.resolve import target_of
from journal.record.store import Store

UNDER_WAY_S = 60.0
"""How long a photo may lie in the journal before its entry, as it does while it is being taken in, seconds."""


def verify(store: Store) -> list[str]:
    """Everything that is wrong with the journal, a line each; nothing is changed.

    Raises:
        RecordError: when the database cannot be read at all.
    """
    return list(_troubles(store))


def unclaimed_photos(store: Store) -> list[Path]:
    """Photos of no entry: whoever took them in was stopped before saying so. They can be attached as any other file.

    Raises:
        RecordError: when the database cannot be read.
    """
    settled = time.time() - UNDER_WAY_S
    return [
        path
        for path in _photos(store)
        if path.stat().st_mtime < settled and not store.names_photo(path.name.split(".")[0])
    ]


def _photos(store: Store) -> list[Path]:
    return sorted((store.folder / PHOTOS).glob("??/[0-9a-f]*"))


def _troubles(store: Store) -> Iterator[str]:
    broken = store.check_database()
    yield from broken
    if broken:
        return
    yield from _jobs(store)
    yield from _files(store)


def _jobs(store: Store) -> Iterator[str]:
    let_go = store.clips_let_go()
    for job_id, reference in store.references():
        try:
            entries = store.entries(job_id)
            if store.line_differs(job_id):
                yield f"job {reference}: its line in the list is not what its entries say: run `journal verify --mend`"
        except JournalError as error:
            yield f"job {reference}: {error}"
            continue
        yield from (f"job {reference}: {trouble}" for trouble in _references(store, entries, let_go))


def _references(store: Store, entries: list[Entry], let_go: set[str]) -> Iterator[str]:
    there = {entry.id for entry in entries}
    for entry in entries:
        target = target_of(entry.body)
        if target is not None and target not in there:
            yield f"entry {entry.id} is about entry {target[:40]}, which is not there: restore it from a backup"
        if isinstance(entry.body, Photo) and not _has_photo(store, entry.body.sha256):
            yield f"photo {entry.body.name} ({entry.body.sha256[:12]}…) is missing: restore it from a backup"
        if entry.clip and entry.clip not in let_go and not files_of(store.folder, CLIPS, entry.clip):
            yield f"the sound of entry {entry.id} is missing: restore it from a backup"


def _has_photo(store: Store, sha256: str) -> bool:
    for path_of in (original_path, page_copy_path):
        try:
            path_of(store.folder, sha256)
        except NotFound:
            continue
        return True
    return False


def _files(store: Store) -> Iterator[str]:
    for path in sorted([*_photos(store), *all_clips(store.folder)]):
        if sha256_of_file(path) != path.name.split(".")[0]:
            yield f"{path.parent.parent.name}/{path.name} is not what it was: restore it from a backup"
