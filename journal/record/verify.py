"""Is the journal sound? The database, every entry, every checksum, every reference, and what is derived from them."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

from journal.errors import BadInput, JournalError, NotFound
from journal.facts import Entry
from journal.facts.codec import time_to_text
from journal.record.clips import all_clips
from journal.record.files import CLIPS, COPIES, PHOTOS, begun_files, files_of, is_sha256, sha256_of_file
from journal.record.intake import AHEAD
from journal.record.inventory import (
    clips_named,
    clocks_set_back,
    dated_after,
    photos_named,
    unsigned_here,
    without_original,
)
from journal.record.photos import check_photo, is_original_here, page_copy_path
from journal.record.picture_alike import alike
from journal.record.plain_errors import database_errors
from journal.record.replay import replay
from journal.record.resolve import target_of
from journal.record.rows import entry_from
from journal.record.seals import Read
from journal.record.store import Store

UNDER_WAY_S = 60.0
"""How long a photo may lie in the journal before its entry, as it does while it is being taken in, seconds."""


def verify(store: Store) -> list[str]:
    """Everything that is wrong with the journal, a line each; nothing is changed.

    Raises:
        RecordError: when the database cannot be read at all.
    """
    return list(_troubles(store))


def remarks(store: Store) -> list[str]:
    """What is worth knowing of a sound journal, a line each: odd clocks, photos of no job, files begun only.

    Raises:
        RecordError: when the database cannot be read.
    """
    found = [
        f'a photo of no job, as taking it in was broken off; to attach it: journal photo "{path}"'
        for path in unclaimed_photos(store)
    ]
    if left := left_begun(store):
        size = sum(left.values()) / 1e6
        things = "1 file was" if len(left) == 1 else f"{len(left)} files were"
        found.append(f"{things} begun and never finished ({size:.1f} MB): `journal verify --mend` clears that away")
    if count := unsigned_here(store):
        found.append(
            f"{count} entries made here are not signed, as those of a journal from before there were keys: if this one "
            "had a key when they were made, restore it from a backup"
        )
    if copies := without_original(store):
        found.append(f"{len(copies)} photos are here as page copies only: their originals stayed elsewhere")
    found += [
        f"job {reference}: {count} entries are dated ahead of this machine's clock"
        for reference, count in dated_after(store, store.clock() + AHEAD)
    ]
    found += [
        f"job {reference}: the clock was set back at {time_to_text(entry.at_utc)}; the dates of entries before may be "
        "wrong"
        for reference, entry in clocks_set_back(store)
    ]
    return found


def unclaimed_photos(store: Store) -> list[Path]:
    """Photos of no entry: whoever took them in was stopped before saying so. They can be attached as any other file.

    Raises:
        RecordError: when the database cannot be read.
    """
    settled = time.time() - UNDER_WAY_S
    return [
        path
        for path in _photos(store)
        if path.is_file() and path.stat().st_mtime < settled and not store.names_photo(path.name.split(".")[0])
    ]


def left_begun(store: Store) -> dict[Path, int]:
    """Files whose writing was broken off, with their bytes; nobody was told that they are here, so nothing is lost."""
    settled, found = time.time() - UNDER_WAY_S, {}
    for path in begun_files(store.folder):
        with contextlib.suppress(FileNotFoundError):  # finished just now
            state = path.stat()
            if state.st_mtime < settled:
                found[path] = state.st_size
    return found


def drop_begun(store: Store) -> None:
    """Remove them: such a piece may show what a photo showed that is in no job, and so is erased with none."""
    for path in left_begun(store):
        path.unlink(missing_ok=True)


def missing(store: Store) -> list[str]:
    """Photos and sounds that entries name and that are no longer here though they were; a line each.

    Raises:
        RecordError: when the database cannot be read.
    """
    found = []
    as_copies = without_original(store)
    for sha256, name in photos_named(store).items():
        if not is_sha256(sha256):
            continue  # the entry was changed, which is said elsewhere
        if sha256 in as_copies:
            if not _has_copy(store, sha256):
                found.append(f"photo {name} ({sha256[:12]}…) is missing: restore it from a backup")
        elif not is_original_here(store.folder, sha256):
            found.append(f"the original of photo {name} ({sha256[:12]}…) is missing: restore it from a backup")
    let_go = store.clips_let_go()
    for sha256, entry in clips_named(store).items():
        if sha256 not in let_go and is_sha256(sha256) and not files_of(store.folder, CLIPS, sha256):
            found.append(f"the sound of entry {entry} is missing: restore it from a backup")
    return found


def lost(store: Store) -> list[str]:
    """What a copy of the journal as it is now would lack or hold altered, but for files' own damage; a line each."""
    return list(_each(store, Store.check_seals, missing, _lone_copies))


def drop_copies(store: Store) -> None:
    """Remove every page copy whose original is here: it is made anew when it is next asked for."""
    for path in (store.folder / COPIES).glob("??/*.jpg"):
        if path.is_file() and _has_original(store, path):
            path.unlink(missing_ok=True)


def _photos(store: Store) -> list[Path]:
    return sorted((store.folder / PHOTOS).glob("??/[0-9a-f]*"))


def _troubles(store: Store) -> Iterator[str]:
    yield from _each(store, _entries, missing, _files, _copies, _lone_copies)


def _each(store: Store, *looks: Callable[[Store], Iterable[str]]) -> Iterator[str]:
    broken = store.check_database()
    yield from broken
    if broken:
        return
    yield from store.check_schema()
    for look in looks:
        try:
            yield from look(store)
        except JournalError as error:
            yield str(error)


def _entries(store: Store) -> Iterator[str]:
    references = dict(store.references())

    def of_job(read: Sequence[Read]) -> Iterator[str]:
        job_id = str(read[0][0][1])
        name = f"job {references.pop(job_id, job_id)}"
        try:
            with database_errors(store.path):
                job = replay(entry_from(*each) for each in read)
            if store.line_differs(job_id, job):
                yield f"{name}: its line in the list is not what its entries say: run `journal verify --mend`"
        except JournalError as error:
            yield f"{name}: {error}"
            return
        yield from (f"{name}: {trouble}" for trouble in _references(job.entries))

    yield from store.check_seals(of_job)
    for reference in references.values():
        yield f"job {reference} has no entries any more: restore it from a backup"


def _references(entries: Sequence[Entry]) -> Iterator[str]:
    there = {entry.id for entry in entries}
    for entry in entries:
        target = target_of(entry.body)
        if target is not None and target not in there:
            yield f"entry {entry.id} is about entry {target[:40]}, which is not there: restore it from a backup"


def _has_copy(store: Store, sha256: str) -> bool:
    try:
        page_copy_path(store.folder, sha256)
    except NotFound:
        return False
    return True


def _files(store: Store) -> Iterator[str]:
    for path in sorted([*_photos(store), *all_clips(store.folder)]):
        if not path.is_file():
            yield _no_file(path)
            continue
        try:
            is_whole = sha256_of_file(path) == path.name.split(".")[0]
        except OSError as error:
            yield f"{_name(path)} cannot be read: {(error.strerror or str(error)).lower()}; restore it from a backup"
            continue
        if not is_whole:
            yield f"{_name(path)} is not what it was: restore it from a backup"


def _copies(store: Store) -> Iterator[str]:
    originals = {path.name.split(".")[0]: path for path in _photos(store) if path.is_file()}
    for path in sorted((store.folder / COPIES).glob("??/*.jpg")):
        original = originals.get(path.name.split("-")[0])
        if not path.is_file():
            yield _no_file(path)
        elif original is not None and not alike(original, path):
            yield f"{_name(path)} does not show what its original shows: run `journal verify --mend`"


def _lone_copies(store: Store) -> Iterator[str]:
    """Page copies that are all there is of a photo and are no pictures any more."""
    for path in sorted((store.folder / COPIES).glob("??/*-page.jpg")):
        if path.is_file() and not _has_original(store, path):
            try:
                check_photo(path.read_bytes(), path.name)
            except (BadInput, OSError):
                yield f"{_name(path)} is no picture any more, and its original is elsewhere: restore it from a backup"


def _has_original(store: Store, copy: Path) -> bool:
    sha256 = copy.name.split("-")[0]
    return is_sha256(sha256) and is_original_here(store.folder, sha256)


def _name(path: Path) -> str:
    return f"{path.parent.parent.name}/{path.name}"


def _no_file(path: Path) -> str:
    return f"{_name(path)} is no file: move it out of the journal"
