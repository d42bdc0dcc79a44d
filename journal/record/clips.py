"""The sound of utterances, kept as FLAC under its SHA-256 until the shop lets it go."""

from __future__ import annotations

import contextlib
import io
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from journal.errors import BadInput, HearingError, NotFound, RecordError
from journal.record.exports import export
from journal.record.files import CLIPS, file_errors, sha256_of, shelf, write_whole

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from journal.record.store import Store

RATE = 16_000
"""Samples per second of a clip."""
ENDING = ".flac"


def keep_clip(folder: Path, sound: npt.NDArray[np.float32]) -> str:
    """Put an utterance's raw sound on disk.

    Args:
        folder: the journal's folder.
        sound: shape (samples,), mono at `RATE`, full scale at -1 to 1; kept with 16 bits.

    Returns:
        SHA-256 of the FLAC file, 64 hex digits; the same sound gives the same.

    Raises:
        BadInput: when there is no sound in it.
        RecordError: when the disk refuses, or `soundfile` is not installed.
    """
    try:
        import soundfile
    except ImportError:
        raise RecordError(
            "sound cannot be kept: install the speech extra, `pip install cutout-journal[speech]`"
        ) from None
    if sound.ndim != 1 or not sound.size:
        raise BadInput("a clip must be mono sound of at least one sample")
    flac = io.BytesIO()
    soundfile.write(flac, sound.clip(-1.0, 1.0), RATE, format="FLAC", subtype="PCM_16")
    return keep_flac(folder, flac.getvalue())


def keep_flac(folder: Path, flac: bytes) -> str:
    """Put a clip on disk that is FLAC already; returns its SHA-256. `BadInput` when it is none."""
    check_flac(flac)
    sha256 = sha256_of(flac)
    path = shelf(folder, CLIPS, sha256, ENDING)
    if not path.exists():
        write_whole(path, flac)
    return sha256


def check_flac(data: bytes) -> None:
    """Refuse with `BadInput` what is no FLAC file (RFC 9639: it begins with `fLaC`)."""
    if data[:4] != b"fLaC":
        raise BadInput("a clip must be a FLAC file")


def clip_path(folder: Path, sha256: str) -> Path:
    """The clip's file; `NotFound` when its sound is no longer kept, `BadInput` when that is no SHA-256."""
    path = shelf(folder, CLIPS, sha256, ENDING)
    if not path.is_file():
        raise NotFound(f"the sound {sha256[:12]}… is no longer kept in this journal")
    return path


def copy_clip(folder: Path, sha256: str, target: Path, *, replace: bool = False) -> None:
    """Copy a clip's FLAC file; errors as `clip_path` and `journal.record.exports.exported`."""
    export(target, clip_path(folder, sha256).read_bytes(), replace=replace)


def play_clip(folder: Path, sha256: str) -> None:
    """Play a clip and return when it is over; errors as `clip_path`, and `HearingError` where nothing can play it."""
    path = clip_path(folder, sha256)
    try:
        import sounddevice
        import soundfile

        if not path.read_bytes().startswith(b"fLaC"):  # libsndfile would take it for whatever else it may be
            raise HearingError("the clip is no FLAC sound: journal verify tells what became of it")
        sound, rate = soundfile.read(path, dtype="float32")
        sounddevice.play(sound, rate, blocking=True)
    except (ImportError, OSError) as error:  # no library, or no PortAudio on this machine
        raise HearingError(f"sound cannot be played here ({error}): copy the clip to a file with --to") from None
    except sounddevice.PortAudioError as error:
        raise HearingError(f"no loudspeaker to play it on ({error}): copy the clip to a file with --to") from None


def drop_if_unused(store: Store, sha256: str) -> bool:
    """Remove the sound of an utterance that no entry came from; False when one did, and the clip stays."""
    if store.names_clip(sha256):
        return False
    path = shelf(store.folder, CLIPS, sha256, ENDING)
    with file_errors(path):
        path.unlink(missing_ok=True)
    return True


def all_clips(folder: Path) -> Iterator[Path]:
    """Every clip file in the journal."""
    yield from (folder / CLIPS).glob(f"??/*{ENDING}")


def let_go(
    store: Store, *, older_than: timedelta | None = None, keep_bytes: int | None = None, now: datetime
) -> tuple[int, int]:
    """Remove the sound of old utterances; the entries stay as they are.

    Args:
        store: the journal.
        older_than: clips whose latest entry is older than this go.
        keep_bytes: then the oldest go until no more than so many bytes of clips are left.
        now: the present moment, aware.

    Returns:
        How many clips went, and how many bytes.
    """
    used = store.clip_times()
    clips = []
    for path in all_clips(store.folder):
        facts = path.stat()
        at = used.get(path.stem) or datetime.fromtimestamp(facts.st_mtime, now.tzinfo)
        clips.append((at, path, facts.st_size))
    clips.sort(key=lambda clip: (clip[0], clip[1].name))
    left = sum(size for _, _, size in clips)
    going = []
    for at, path, size in clips:
        too_old = older_than is not None and now - at > older_than
        too_many = keep_bytes is not None and left > keep_bytes
        if too_old or too_many:
            going.append((path, size))
            left -= size
    # The note comes first: a crash in between leaves a clip too many, never one that is missing without a reason.
    store.note_let_go([path.stem for path, _ in going], now)
    for path, _ in going:
        with file_errors(path), contextlib.suppress(FileNotFoundError):
            path.unlink()
    return len(going), sum(size for _, size in going)
