"""No photo, recording or pack whatever breaks the journal: each is taken in whole, or refused in one line."""

from __future__ import annotations

import hashlib
import io
import json
import random
import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from journal.analysis import diagnose
from journal.errors import JournalError
from journal.facts import Cut, Engine, JobOpened, Note, Photo
from journal.hearing.sources import read_file
from journal.output.lines import findings_text, job_text
from journal.record.clips import keep_clip
from journal.record.pack import pack
from journal.record.photos import take_in
from journal.record.store import Store
from journal.record.unpack import unpack
from journal.record.verify import verify
from journal.session import Session, open_job
from tests.trust.effort import tries
from tests.trust.spoilt import accidents, after, spoil

soundfile = pytest.importorskip("soundfile", reason="the speech extra is not installed")

RATE = 16_000


def one_line(error: JournalError) -> bool:
    """Whether an error is the one plain line that a user may see."""
    text = str(error)
    return bool(text.strip()) and "\n" not in text and "Traceback" not in text


def pictures() -> list[bytes]:
    """Small good pictures in the formats taken in."""
    shades = np.random.default_rng(1).integers(0, 255, (40, 60, 3), dtype=np.uint8)
    image = Image.fromarray(shades)
    exif = Image.Exif()
    exif[0x0112] = 6
    exif.get_ifd(0x8769)[0x9003] = "2026:11:02 09:24:10"
    pillow_heif.register_heif_opener()
    kinds: list[tuple[str, dict[str, Any]]] = [
        ("JPEG", {"exif": exif}),
        ("PNG", {}),
        ("WEBP", {}),
        ("JPEG", {"progressive": True}),
        ("MPO", {"save_all": True, "append_images": [image]}),
        ("HEIF", {"exif": exif}),
        ("AVIF", {}),
    ]
    found = []
    for kind, options in kinds:
        file = io.BytesIO()
        image.save(file, kind, **options)
        found.append(file.getvalue())
    return found


def recordings() -> list[bytes]:
    """Short good recordings in several formats."""
    sound = 0.1 * np.sin(np.arange(4000) / 10)
    found = []
    for kind, shape, rate in (
        ("WAV", sound, RATE),
        ("FLAC", sound, RATE),
        ("OGG", sound, 44_100),
        ("WAV", np.stack([sound, -sound], axis=1), 8000),
        ("AIFF", sound, 22_050),
        ("MP3", sound, RATE),
    ):
        file = io.BytesIO()
        soundfile.write(file, shape, rate, format=kind)
        found.append(file.getvalue())
    return found


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with Store.open(tmp_path_factory.mktemp("any files") / "journal") as opened:
        yield opened


PICTURES, RECORDINGS = pictures(), recordings()


@given(accident=accidents(PICTURES))
@tries(150, 20_000)
def test_any_photo_is_taken_in_or_refused_in_one_line(accident: tuple[int, int] | bytes, store: Store) -> None:
    try:
        taken = take_in(store.folder, after(accident, PICTURES), "photo.jpg")
    except JournalError as error:
        assert one_line(error)
    else:
        assert taken.width > 0
        assert taken.height > 0


@given(accident=accidents(RECORDINGS))
@tries(150, 2_000)
def test_any_recording_is_read_or_refused_in_one_line(accident: tuple[int, int] | bytes, tmp_path: Path) -> None:
    file = tmp_path / "recording.wav"
    file.write_bytes(after(accident, RECORDINGS))
    try:
        sound = read_file(file)
    except JournalError as error:
        assert one_line(error)
    else:
        assert sound.ndim == 1
        assert sound.dtype == np.float32


@pytest.fixture(scope="module")
def good_pack(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A packed job with readings, a photo and a clip."""
    folder = tmp_path_factory.mktemp("packed")
    with Store.open(folder / "journal") as store:
        session = Session(store, open_job(store, JobOpened("Test bench", Engine(6)), "Ash"))
        clip = keep_clip(store.folder, np.sin(np.arange(4000) / 10).astype(np.float32) * 0.1)
        session.enter(Cut(4, 38.0), heard="four thirty eight", clip=clip)
        session.enter(Note("oil on the fourth"))
        taken = take_in(store.folder, pictures()[0], "photo.jpg")
        session.enter(Photo(taken.sha256, "photo.jpg", "overhead", 4))
        pack(store, session.job_id, folder / "job.pack", {"write-up.html": b"<p>readings</p>"})
    return (folder / "job.pack").read_bytes()


IDENTIFIER = re.compile(rb"\b([0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{2})[0-9a-f]{10}\b")
"""An entry's or a job's identifier, up to the last digits, which are chance (RFC 9562, UUIDv7)."""


def rewritten(good: bytes, chance: random.Random) -> bytes:
    """A pack whose inside was changed, with its checksums made to agree again; mostly of a job not seen before."""
    with zipfile.ZipFile(io.BytesIO(good)) as source:
        files = {name: source.read(name) for name in source.namelist()}
    if chance.random() < 0.9:
        # What is known under its identifier already is refused for that alone.
        tail = f"{chance.getrandbits(40):010x}".encode()
        for name in ("manifest.json", "entries.jsonl"):
            files[name] = IDENTIFIER.sub(lambda found: found[1] + tail, files[name])
    if chance.random() < 0.9:
        del files["signatures.jsonl"]  # they no longer fit
    manifest = json.loads(files.pop("manifest.json"))
    rows = [json.loads(row) for row in files["entries.jsonl"].splitlines()]
    for _ in range(chance.randint(0, 3)):
        _change(chance.choice(rows), chance)
    if chance.random() < 0.2:
        rows.append(rows[0])
    files["entries.jsonl"] = "".join(json.dumps(row) + "\n" for row in rows).encode()
    if chance.random() < 0.2:
        name = chance.choice(["../outside", "/tmp/outside", "photos/../../outside", "clips/" + "0" * 64 + ".flac"])
        files[name] = b"outside"
    if chance.random() < 0.2:
        name = chance.choice(sorted(files))
        files[name] = spoil(files[name], chance)
    if chance.random() < 0.2:
        _change(manifest, chance)
    if isinstance(manifest.get("files"), dict):
        manifest["files"] = {n: {"sha256": hashlib.sha256(d).hexdigest(), "bytes": len(d)} for n, d in files.items()}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as target:
        for name, content in files.items():
            target.writestr(name, content)
        target.writestr("manifest.json", json.dumps(manifest))
    return out.getvalue()


def _change(record: dict[str, Any], chance: random.Random) -> None:
    """Make one value of a JSON object something else, anywhere inside it."""
    key = chance.choice(sorted(record))
    if isinstance(record[key], dict) and record[key] and chance.random() < 0.7:
        _change(record[key], chance)
    elif chance.random() < 0.2:
        del record[key]
    else:
        odd: list[Any] = [None, "", "x" * 300, -1, 1e308, 10**30, [], {}, True, "2026-13-01T00:00:00Z", "\u0000", ["a"]]
        record[key] = chance.choice(odd)
    if not record:
        record["kind"] = "note"


TAKEN: list[int] = []
"""How many entries each pack brought that was taken in."""


@given(seed=st.integers(0, 2**32), inside=st.booleans())
@tries(120, 20_000)
def test_any_pack_is_taken_in_whole_or_refused_with_nothing_saved(
    seed: int, inside: bool, good_pack: bytes, store: Store, tmp_path: Path
) -> None:
    chance = random.Random(seed)
    file = tmp_path / "some.pack"
    file.write_bytes(rewritten(good_pack, chance) if inside else spoil(good_pack, chance))
    before = store.last_seq()
    try:
        brought = unpack(store, file)
    except JournalError as error:
        assert one_line(error)
        assert store.last_seq() == before
    else:
        TAKEN.append(len(brought.entries))
        for job in brought.jobs:
            assert job_text(store.job(job))
            assert findings_text(diagnose(store.job(job)))


def test_the_journal_is_sound_after_all_of_that(store: Store) -> None:
    assert verify(store) == []
    assert sum(count > 0 for count in TAKEN) > 1, "packs that were changed and still good were among them"
    print(f"{len(TAKEN)} packs taken in, {sum(TAKEN)} entries")


def test_nothing_was_put_outside_the_journal(tmp_path: Path) -> None:
    assert not list(tmp_path.parent.glob("**/outside"))
    assert not Path("/tmp/outside").exists()


def test_a_good_pack_is_taken_in(good_pack: bytes, tmp_path: Path) -> None:
    (tmp_path / "good.pack").write_bytes(good_pack)
    with Store.open(tmp_path / "journal") as fresh:
        brought = unpack(fresh, tmp_path / "good.pack")
        assert len(brought.entries) == 4
        assert (brought.photos, brought.clips) == (1, 1)
        assert verify(fresh) == []
