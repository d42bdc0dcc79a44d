"""A pack read with distrust: every name, size and checksum is checked before anything enters the journal."""

from __future__ import annotations

import contextlib
import hashlib
import io
import re
import shutil
import zipfile
import zlib
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from journal.errors import BadInput, NotFound, RecordError
from journal.facts import Entry, Photo
from journal.facts.codec import entry_from_json
from journal.record.brought import Brought, sum_up
from journal.record.clips import check_flac, keep_flac
from journal.record.files import CLIPS, COPIES, PHOTOS, files_of, sha256_of
from journal.record.intake import AHEAD
from journal.record.keys import signed_by
from journal.record.photos import check_photo, is_original_here, keep_original, keep_page_copy, other_copy
from journal.record.replay import replay
from journal.record.rows import parsed
from journal.record.seals import Signature, digest, message
from journal.record.store import Store

LAYOUT = 1
"""Number of the pack's layout as `journal.record.pack` describes it."""
MANIFEST, ENTRIES, SIGNATURES = "manifest.json", "entries.jsonl", "signatures.jsonl"

MOST_FILES = 20_000
"""Most files in a pack."""
MOST_BYTES = 4_000_000_000
"""Most bytes a pack may unfold to."""
MOST_BYTES_A_FILE = 256_000_000
"""Most bytes one file of it may unfold to."""
MOST_BYTES_A_CLIP = 16_000_000
"""The same of a clip: eight minutes of sound, not compressed at all."""
MOST_BYTES_LISTED = {MANIFEST: 8_000_000, ENTRIES: 64_000_000, SIGNATURES: 64_000_000}
"""The same of what is read as JSON, which takes many times its size in memory: 100,000 entries are half of it."""
MOST_BYTES_A_LINE = 4_000_000
"""Most bytes of one entry or signature."""
MOST_FOLDED = 4
"""Photos and sound are compressed already: one that unfolds to more than so many times its size is none."""
ROOM_LEFT = 50_000_000
"""Bytes that must be free on the disk once a pack is taken in, so that the next reading finds room."""

_ROOMS = re.compile(
    rf"({PHOTOS}/[0-9a-f]{{64}}\.(jpg|png|webp|heic|avif)|{COPIES}/[0-9a-f]{{64}}-page\.jpg|{CLIPS}/[0-9a-f]{{64}}\.flac)"
)
_TOP = re.compile(r"[a-z0-9][a-z0-9-]{0,60}(\.[a-z0-9]{1,8})?")


_PIECE = 1 << 20

_UNREADABLE = (zipfile.BadZipFile, zlib.error, EOFError, OSError, NotImplementedError, RuntimeError, ValueError)
"""What reading a ZIP may raise; `ValueError` for names that are no text."""


@dataclass(frozen=True)
class Unpacked:
    """What a pack brought."""

    jobs: tuple[str, ...]
    """Identifiers of its jobs."""
    entries: tuple[Entry, ...]
    """Entries that were not here yet."""
    photos: int
    """How many photos it held."""
    clips: int
    """How many clips it held."""
    brought: Brought
    """What was new of it, summed up."""


def unpack(store: Store, path: Path, ask: Callable[[Brought], object] = lambda brought: None) -> Unpacked:
    """Bring a packed job into the journal by union of entries; twice is the same as once.

    Args:
        store: the journal.
        path: the pack.
        ask: is shown what it would bring, all of it checked; what it raises leaves everything as it was.

    Raises:
        NotFound: when there is no such file.
        BadInput: when it is no pack, is damaged, was changed, or contradicts what is here; nothing has entered.
        RecordError: when the disk refuses, or has no room for what it unfolds to.
    """
    if not path.is_file():
        raise NotFound(f"there is no pack {path}: check its name")
    # All of it is read and checked before any of it is kept, and held against the same list when it is.
    with _opened(path) as source:
        manifest = _manifest(source, path.name)
        entries = _entries(source, manifest, path.name)
        signatures = _signatures(source, manifest, entries, path.name)
        kept = {name: None for name in manifest["files"] if _ROOMS.fullmatch(name)}
        _check_named(kept, entries, path.name)
        _check_room(store.folder, [source.getinfo(name).file_size for name in (*kept, ENTRIES)], path.name)
        others = set()
        for name in manifest["files"]:
            if name in kept:
                data = _read(source, name, manifest, path.name)
                _check(name, data)
                if _room(name) == COPIES and other_copy(store.folder, _checksum(name), data):
                    others.add(_checksum(name))
            else:
                _look_through(source, name, manifest, path.name)
    store.check_merge(entries)
    job, unit = manifest["job"], str(manifest.get("unit", ""))
    here, latest = store.entries_if_any(job), store.clock() + AHEAD
    vouched = store.signatures(job) if here else {}
    brought = sum_up(job, unit, here, entries, signatures, store.public_key(), latest, others, vouched)
    ask(brought)
    with _opened(path) as source:
        for name in kept:
            data = _read(source, name, manifest, path.name)
            _keep(store.folder, name, data, anew=_checksum(name) in others)
    packed = {entry.id for entry in entries}
    new = tuple(entry for entry in store.merge(entries, carried=True, signatures=signatures) if entry.id in packed)
    _note(store, kept, new)
    clips = sum(_room(name) == CLIPS for name in kept)
    return Unpacked((job,), new, len(kept) - clips, clips, brought)


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[zipfile.ZipFile]:
    try:
        with path.open("rb") as file, zipfile.ZipFile(file) as source:
            yield source
    except _UNREADABLE as error:
        raise BadInput(f"{path.name} is no pack, or it is damaged ({error}): have it sent again") from None


def _note(store: Store, kept: Collection[str], new: Sequence[Entry]) -> None:
    """Note what of the pack's files is here, and what it came without: that is nothing lost here."""
    photos = {_checksum(name) for name in kept if _room(name) != CLIPS}
    photos |= {entry.body.sha256 for entry in new if isinstance(entry.body, Photo)}
    here = {sha256 for sha256 in photos if is_original_here(store.folder, sha256)}
    store.note_without_original(here, gone=False)
    store.note_without_original(photos - here, gone=True)
    store.note_let_go(
        {entry.clip for entry in new if entry.clip and not files_of(store.folder, CLIPS, entry.clip)}, store.clock()
    )


def is_top_name(name: str) -> bool:
    """Whether a file may lie at the top of a pack under that name."""
    return _TOP.fullmatch(name) is not None and name not in (MANIFEST, ENTRIES, SIGNATURES)


def _manifest(source: zipfile.ZipFile, pack: str) -> dict[str, Any]:
    infos = source.infolist()
    names = [info.filename for info in infos]
    if MANIFEST not in names or ENTRIES not in names:
        raise BadInput(f"{pack} is no pack: it has no {MANIFEST} or no {ENTRIES}")
    if len(names) > MOST_FILES or sum(info.file_size for info in infos) > MOST_BYTES:
        raise BadInput(f"{pack} would unfold to more than a pack may hold: nothing was taken in")
    if len(set(names)) != len(names):
        raise BadInput(f"{pack} holds a file twice: nothing was taken in")
    for info in infos:
        good = info.filename in MOST_BYTES_LISTED or _ROOMS.fullmatch(info.filename) or is_top_name(info.filename)
        if info.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise BadInput(f"{pack} is compressed as no pack is, or it is damaged: have it sent again")
        most = MOST_BYTES_A_CLIP if _room(info.filename) == CLIPS else MOST_BYTES_A_FILE
        if info.file_size > MOST_BYTES_LISTED.get(info.filename, info.file_size):
            raise BadInput(f"{pack} holds a {info.filename} longer than any job's: nothing was taken in")
        if not good or info.file_size > most:
            raise BadInput(f"{pack} holds {info.filename[:80]!r}, which no pack does: nothing was taken in")
        if _ROOMS.fullmatch(info.filename) and info.file_size > MOST_FOLDED * info.compress_size + 10_000:
            raise BadInput(f"{pack} would unfold {info.filename[:80]!r} to far more than a picture or sound can be: "
                           "nothing was taken in")  # fmt: skip
    manifest = _json(_inflate(source, MANIFEST), pack)
    if not isinstance(manifest, dict) or not isinstance(manifest.get("files"), dict):
        raise BadInput(f"{pack} has a damaged {MANIFEST}: have it sent again")
    if manifest.get("layout") != LAYOUT:
        raise BadInput(f"{pack} was packed by a newer version of the program: bring this one up to date first")
    sizes = {info.filename: info.file_size for info in infos if info.filename != MANIFEST}
    if sizes != {name: _size(listed) for name, listed in manifest["files"].items()}:
        raise BadInput(f"{pack} does not hold the files it lists: have it sent again")
    return manifest


def _entries(source: zipfile.ZipFile, manifest: dict[str, Any], pack: str) -> list[Entry]:
    text = _read(source, ENTRIES, manifest, pack)
    try:
        entries = [entry_from_json(_json(line, pack)) for line in _lines(text, pack)]
        job = replay(entries)
    except BadInput as error:
        raise BadInput(f"{pack} holds no whole job: {error}") from None
    if job.id != manifest.get("job") or len(job.entries) != manifest.get("entries") or len(entries) != len(job.entries):
        raise BadInput(f"{pack} does not hold the job it names: have it sent again")
    return entries


def _signatures(
    source: zipfile.ZipFile, manifest: dict[str, Any], entries: Sequence[Entry], pack: str
) -> dict[str, Signature]:
    """Who signed which entry; refused unless each signature fits."""
    if SIGNATURES not in manifest["files"]:
        return {}
    unsigned = {entry.id: entry for entry in entries}
    found = {}
    for line in _lines(_read(source, SIGNATURES, manifest, pack), pack):
        try:
            record = _json(line, pack)
            by = Signature(bytes.fromhex(record["key"]), bytes.fromhex(record["signature"]))
            entry = unsigned.pop(record["id"])
        except (KeyError, TypeError, ValueError):
            raise BadInput(f"{pack} has a damaged {SIGNATURES}: have it sent again; nothing was taken in") from None
        if not signed_by(by.key, by.signature, message(digest(entry))):
            raise BadInput(f"{pack}: entry {entry.id} was changed after it was signed; nothing was taken in")
        found[entry.id] = by
    return found


def _check_named(kept: Collection[str], entries: Sequence[Entry], pack: str) -> None:
    """Refuse photos and sound that no entry of the pack names."""
    photos = {entry.body.sha256 for entry in entries if isinstance(entry.body, Photo)}
    clips = {entry.clip for entry in entries}
    for name in kept:
        if _checksum(name) not in (clips if _room(name) == CLIPS else photos):
            raise BadInput(f"{pack} holds {name}, which none of its entries names: nothing was taken in")


def _check_room(folder: Path, sizes: Sequence[int], pack: str) -> None:
    """Refuse what would fill the disk."""
    free, needed = shutil.disk_usage(folder).free, sum(sizes)
    if needed + ROOM_LEFT > free:
        raise RecordError(
            f"{pack} unfolds to {needed / 1e6:.0f} MB and {free / 1e6:.0f} MB are free: nothing was taken in; "
            "free some space, then do it again"
        )


def _read(source: zipfile.ZipFile, name: str, manifest: dict[str, Any], pack: str) -> bytes:
    """A file of the pack, refused unless it is what the manifest and its own name say."""
    data = _inflate(source, name)
    _compare(name, len(data), sha256_of(data), manifest, pack)
    if _room(name) in (PHOTOS, CLIPS) and sha256_of(data) != _checksum(name):
        raise BadInput(f"{pack} holds {name} under another's checksum: nothing was taken in")
    return data


def _look_through(source: zipfile.ZipFile, name: str, manifest: dict[str, Any], pack: str) -> None:
    """Refuse a file that is not taken in unless it is what the manifest says; it is never held whole."""
    sha, size = hashlib.sha256(), 0
    for piece in _pieces(source, name):
        sha.update(piece)
        size += len(piece)
    _compare(name, size, sha.hexdigest(), manifest, pack)


def _compare(name: str, size: int, sha256: str, manifest: dict[str, Any], pack: str) -> None:
    listed = manifest["files"][name]
    if not isinstance(listed, dict) or sha256 != listed.get("sha256") or size != listed.get("bytes"):
        raise BadInput(f"{pack} was changed or damaged at {name}: have it sent again; nothing was taken in")


def _inflate(source: zipfile.ZipFile, name: str) -> bytes:
    return b"".join(_pieces(source, name))


def _pieces(source: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    # The size a ZIP states may be a lie: no more is unfolded than that, whatever it says.
    try:
        left = source.getinfo(name).file_size
    except KeyError:
        raise zipfile.BadZipFile(f"{name} is gone") from None
    with source.open(name) as file:
        while piece := file.read(min(left, _PIECE)):
            left -= len(piece)
            yield piece
    if left:
        raise zipfile.BadZipFile(f"{name} is not as long as it says")


def _lines(text: bytes, pack: str) -> Iterator[bytes]:
    """Its lines one by one, so that the first that is wrong ends it; a list of millions of them would fill memory."""
    for line in io.BytesIO(text):
        if len(line.rstrip(b"\r\n")) > MOST_BYTES_A_LINE:
            raise BadInput(f"{pack} holds a line longer than any entry's: nothing was taken in")
        yield line


def _json(data: bytes, pack: str) -> Any:
    try:
        return parsed(data)
    except (ValueError, RecursionError):
        raise BadInput(f"{pack} is damaged: have it sent again") from None


def _size(listed: object) -> object:
    return listed.get("bytes") if isinstance(listed, dict) else None


def _checksum(name: str) -> str:
    """The checksum that a photo, a copy or a clip is named by."""
    return name.split("/")[1][:64]


def _room(name: str) -> str:
    """The folder a file of a pack lies in; empty at the top."""
    return name.rpartition("/")[0]


def _check(name: str, data: bytes) -> None:
    if _room(name) in (PHOTOS, COPIES):
        check_photo(data, name)
    elif _room(name) == CLIPS:
        check_flac(data)


def _keep(folder: Path, name: str, data: bytes, *, anew: bool) -> None:
    if _room(name) == PHOTOS:
        keep_original(folder, data, name)
    elif _room(name) == COPIES:
        keep_page_copy(folder, _checksum(name), data, anew=anew)
    else:
        keep_flac(folder, data)
