"""One job in one file to carry or send, and back into a journal by union of entries.

A pack is a ZIP file (stored or deflated, no encryption) that any unzip program opens. It holds, in lower case:

    manifest.json           what is in the pack (below); written last, so a pack cut short has none
    entries.jsonl           the job's entries, one JSON object a line (JSON Lines, UTF-8), by time, then identifier
    photos/SHA256.ENDING    original photos, byte for byte as the camera wrote them, or
    copies/SHA256-page.jpg  their page copies without location, in a pack made with `originals=False`
    clips/SHA256.flac       the sound entries were made from, 16 kHz mono FLAC
    signatures.jsonl        who signed which entry, one JSON object a line; none when nothing is signed
    write-up.html and other files at the top, for reading only: they are not taken in

`SHA256` is the file's own checksum (for a page copy the original's), 64 hex digits: what an entry calls its `clip` or
its photo's `sha256`. The manifest is a JSON object: `layout` (1), `job` (identifier), `reference`, `unit`, `entries`
(how many), and `files`, an object that gives for each other file in the pack its `sha256` and `bytes`.

An entry's object: `id` and `job` (UUIDv7), `at_utc` (ISO 8601, UTC, milliseconds), `offset_minutes` (local time minus
UTC), `technician`, `source`, `heard` (words), `clip`, `certainty` (0 to 1), and `body` with its `kind` and the fields
of that kind as `journal.facts.bodies` names them, those at their default left out.

A signature's object: `id` (the entry's), `key` (the public key of the journal that the entry was made in, 32 bytes in
hex) and `signature` (Ed25519, RFC 8032, 64 bytes in hex). What is signed is `cutout journal entry`, a line feed, and
the 32 bytes of the SHA-256 of the entry's values in the order above as a JSON array without spaces, keys sorted, UTF-8.

Checksums find damage and careless changes. Signatures tell in which journal an entry was made; whose hand that was in,
and whether what it says is so, they do not tell.
"""

from __future__ import annotations

import json
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from journal.errors import BadInput, NotFound
from journal.facts import Photo
from journal.facts.codec import entry_to_json
from journal.record import unpack as unpacking
from journal.record.clips import clip_path
from journal.record.exports import exported
from journal.record.files import CLIPS, COPIES, PHOTOS, sha256_of
from journal.record.photos import original_path, page_copy_path
from journal.record.store import Store
from journal.record.unpack import ENTRIES, LAYOUT, MANIFEST, SIGNATURES, is_top_name


@dataclass(frozen=True)
class Packed:
    """What went into a pack."""

    path: Path
    """The file."""
    entries: int
    """How many entries."""
    photos: int
    """How many photos, as originals or as page copies."""
    clips: int
    """How many clips."""
    missing: tuple[str, ...]
    """SHA-256 of photos and clips that are no longer in the journal and so not in the pack."""


def pack(
    store: Store,
    job_id: str,
    out: Path,
    extra: Mapping[str, bytes] | None = None,
    *,
    originals: bool = True,
    replace: bool = False,
) -> Packed:
    """Write one job to a file; the same job gives the same bytes.

    Args:
        store: the journal.
        job_id: the job.
        out: the file.
        extra: further files to read, e.g. the write-up, by name (letters, digits, dots and dashes, no folders).
        originals: False to send page copies instead of originals, which may hold where and with what they were taken.
        replace: whether it may take the place of a file that is there.

    Raises:
        NotFound: when there is no such job.
        BadInput: when an extra file's name will not do, the file lies in a journal's folder or is there already, or the
            job is more than `unpack` takes.
        RecordError: when the file cannot be written; no part of it is left behind.
    """
    line = store.line(job_id)
    entries = store.entries(job_id)
    files: dict[str, bytes | Path] = {ENTRIES: "".join(_line(entry_to_json(entry)) for entry in entries).encode()}
    if signed := store.signatures(job_id):
        files[SIGNATURES] = "".join(
            _line({"id": entry.id, "key": by.key.hex(), "signature": by.signature.hex()})
            for entry in entries
            if (by := signed.get(entry.id)) is not None
        ).encode()
    missing = []
    for sha256 in sorted({entry.body.sha256 for entry in entries if isinstance(entry.body, Photo)}):
        try:
            path = original_path(store.folder, sha256) if originals else page_copy_path(store.folder, sha256)
            files[f"{PHOTOS if originals else COPIES}/{path.name}"] = path
        except NotFound:
            missing.append(sha256)
    for sha256 in sorted({entry.clip for entry in entries if entry.clip}):
        try:
            files[f"{CLIPS}/{sha256}.flac"] = clip_path(store.folder, sha256)
        except NotFound:
            missing.append(sha256)
    for name, data in sorted((extra or {}).items()):
        if not is_top_name(name):
            raise BadInput(f"file name {name!r} in a pack: use letters, digits, dots and dashes only")
        files[name] = data
    _check_taken(files, line.reference)
    about = {"layout": LAYOUT, "job": job_id, "reference": line.reference, "unit": line.unit, "entries": len(entries)}
    with exported(out, replace=replace) as file:
        _write(file, files, about)
    counts = [sum(name.startswith(room) for name in files) for room in (f"{PHOTOS}/", f"{COPIES}/", f"{CLIPS}/")]
    return Packed(out, len(entries), counts[0] + counts[1], counts[2], tuple(missing))


def _check_taken(files: Mapping[str, bytes | Path], reference: str) -> None:
    """Refuse what no journal would take in again."""
    sizes = {name: len(it) if isinstance(it, bytes) else it.stat().st_size for name, it in files.items()}
    listed = any(sizes.get(name, 0) > most for name, most in unpacking.MOST_BYTES_LISTED.items())
    if listed or len(sizes) >= unpacking.MOST_FILES or sum(sizes.values()) > unpacking.MOST_BYTES:
        raise BadInput(f"job {reference} is more than a pack may hold: carry the journal with `journal backup` instead")


def _write(out: BinaryIO, files: Mapping[str, bytes | Path], about: dict[str, Any]) -> None:
    with zipfile.ZipFile(out, "w") as target:
        listed = {}
        for name, content in files.items():
            data = content if isinstance(content, bytes) else content.read_bytes()
            listed[name] = {"sha256": sha256_of(data), "bytes": len(data)}
            # Photos and sound are compressed already; text is not.
            squeeze = name.endswith((".jsonl", ".html", ".txt", ".json"))
            target.writestr(_info(name, squeeze), data)
        manifest = json.dumps({**about, "files": listed}, indent=1, ensure_ascii=False).encode()
        target.writestr(_info(MANIFEST, True), manifest)


def _info(name: str, squeeze: bool) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name)  # of 1980, so that the same job gives the same bytes
    info.compress_type = zipfile.ZIP_DEFLATED if squeeze else zipfile.ZIP_STORED
    info.external_attr = 0o644 << 16
    return info


def _line(record: dict[str, Any]) -> str:
    return json.dumps(record, ensure_ascii=False, separators=(",", ":")) + "\n"
