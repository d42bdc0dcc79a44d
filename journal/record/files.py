"""Files kept under their SHA-256: names that cannot escape the folder, and writing that is whole or not at all."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import secrets
import stat
from collections.abc import Iterator
from itertools import takewhile
from pathlib import Path
from typing import BinaryIO

from journal.errors import BadInput, RecordError

PHOTOS = "photos"
"""Where original photos lie in the journal folder."""
CLIPS = "clips"
"""Where the sound of utterances lies."""
COPIES = "copies"
"""Where page copies and thumbnails lie; they can be made again from the originals."""
SPOOL = "phone"
"""Where sound lies that a phone sent and nobody has heard yet."""

PRIVATE_FOLDER, PRIVATE_FILE = 0o700, 0o600
"""Who may look into a journal on a machine that several people use: its owner."""
WRITE_NEW = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
"""How a file is begun that nobody else may have begun."""

_SHA256 = re.compile(r"[0-9a-f]{64}")
_PIECE = 1 << 20


def is_sha256(text: str) -> bool:
    """Whether a text is a SHA-256 as it is written here: 64 lower-case hex digits."""
    return _SHA256.fullmatch(text) is not None


def check_sha256(text: str) -> str:
    """The text itself, when it is 64 lower-case hex digits; `BadInput` otherwise."""
    if not is_sha256(text):
        raise BadInput(f"{text[:80]!r} is no SHA-256: give 64 hex digits (0 to 9, a to f)")
    return text


def shelf(folder: Path, room: str, sha256: str, ending: str) -> Path:
    """Where a file of that checksum lies: `folder/room/ab/abcd….ending`; no other place can come out."""
    check_sha256(sha256)
    return folder / room / sha256[:2] / (sha256 + ending)


def files_of(folder: Path, room: str, sha256: str) -> list[Path]:
    """Every file that a room keeps under that checksum, whatever its ending."""
    return sorted(shelf(folder, room, sha256, "").parent.glob(f"{check_sha256(sha256)}*"))


def begun_files_of(folder: Path, room: str, sha256: str) -> list[Path]:
    """What is left in a room of files of that checksum that were being written when the power went."""
    return sorted(shelf(folder, room, sha256, "").parent.glob(f".{check_sha256(sha256)}*.part"))


def begun_files(folder: Path) -> list[Path]:
    """Everything in a journal's folder that was being written when the power went, or is being written now."""
    rooms = (path for room in (PHOTOS, CLIPS, COPIES) for path in (folder / room).glob("??/.*.part"))
    return sorted(path for path in (*folder.glob(".*.part"), *rooms) if path.is_file())


def sha256_of(data: bytes) -> str:
    """SHA-256 of some bytes, 64 hex digits."""
    return hashlib.sha256(data).hexdigest()


def sha256_of_file(path: Path) -> str:
    """SHA-256 of a file's bytes, read piece by piece."""
    sha = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(_PIECE):
            sha.update(piece)
    return sha.hexdigest()


def not_a_file(path: Path) -> str:
    """What has a file's name and is none, in words; empty for a file, a link to one, and where there is nothing."""
    if not os.path.lexists(path) or path.is_file():
        return ""
    if path.is_dir():
        return "a folder"
    return "a link to what is not there" if path.is_symlink() and not path.exists() else "no regular file"


def read_file(path: Path) -> bytes:
    """All of a small file; what only looks like one, such as a pipe, is not waited for.

    Raises:
        OSError: what the file system says against it, or that it is no regular file.
    """
    with open(path, "rb", opener=_without_waiting) as file:
        if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
            raise OSError(errno.EINVAL, "no regular file", str(path))
        return file.read()


def _without_waiting(name: str, flags: int) -> int:
    return os.open(name, flags | getattr(os, "O_NONBLOCK", 0))


def write_whole(path: Path, data: bytes, *, lasting: bool = True) -> None:
    """Write a file so that it is there complete or not at all, whatever happens meanwhile.

    Args:
        path: where; its folder is made.
        data: all of it.
        lasting: True to have it on the disk itself before returning (for what cannot be made again).

    Raises:
        RecordError: when the disk is full or the folder cannot be written; no part of the file is left behind.
    """
    with write_whole_with(path, lasting=lasting) as file:
        file.write(data)


@contextlib.contextmanager
def write_whole_with(path: Path, *, lasting: bool = True) -> Iterator[BinaryIO]:
    """The same for what is written piece by piece: the file is there once the block ends well, or not at all."""
    with file_errors(path):
        make_folder(path.parent)
        beside = _beside(path)
        try:
            with os.fdopen(os.open(beside, WRITE_NEW, PRIVATE_FILE), "wb") as file:
                yield file
                if lasting:
                    file.flush()
                    os.fsync(file.fileno())
            beside.replace(path)
        except BaseException:
            with contextlib.suppress(OSError):
                beside.unlink()
            raise
        if lasting:
            sync_folder(path.parent)


def write_once(path: Path, data: bytes, *, instead_of: bytes | None = None) -> bytes:
    """Write a small file unless it is there; of several programs that try at once, all get what the first one wrote.

    Args:
        path: where; its folder is made.
        data: all of it.
        instead_of: what a file that is of no use holds; only one that holds exactly this is taken away first, never
            what another program has put there since it was looked at.

    Returns:
        What the file holds now.

    Raises:
        OSError: what the file system says against it; no part of the file is left behind.
    """
    make_folder(path.parent)
    if instead_of is not None:
        _take_away(path, instead_of)
    beside = _beside(path)
    try:
        with os.fdopen(os.open(beside, WRITE_NEW, PRIVATE_FILE), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        put_in_place(beside, path)
    except FileExistsError:
        return read_file(path)
    finally:
        beside.unlink(missing_ok=True)
    sync_folder(path.parent)
    return data


def _beside(path: Path) -> Path:
    return path.parent / f".{path.name}.{secrets.token_hex(4)}.part"


def _take_away(path: Path, held: bytes) -> None:
    taken = _beside(path)
    try:
        path.rename(taken)
    except FileNotFoundError:  # another program has taken it away
        return
    if taken.read_bytes() != held:  # another program has written since
        with contextlib.suppress(FileExistsError):
            put_in_place(taken, path)
    taken.unlink(missing_ok=True)


def put_in_place(beside: Path, path: Path) -> None:
    """Give a finished file its name, unless another file has it.

    Raises:
        FileExistsError: another file has it; it stays as it is.
    """
    try:
        os.link(beside, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without links, as on many USB sticks
        if path.exists():
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path)) from None
        beside.rename(path)


def make_folder(folder: Path) -> None:
    """Make a folder where it is missing, and those above it, to last: each is itself only a name in the one above.

    What is made is its owner's alone.

    Raises:
        OSError: what the file system says against it.
    """
    made = list(takewhile(lambda one: not one.exists(), (folder, *folder.parents)))
    for one in reversed(made):
        one.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
    folder.mkdir(exist_ok=True)  # says so where a file has its name
    for one in made:
        sync_folder(one.parent)


_NO_WAY_TO_ASK = {errno.EACCES, errno.EPERM, errno.EINVAL, errno.ENOTSUP}
"""What a folder that may be written but not listed answers, and a file system that syncs no folders."""


def sync_folder(folder: Path) -> None:
    """Put a folder's list of names on the disk, where the system has a way to ask for it."""
    if not hasattr(os, "O_DIRECTORY"):  # Windows writes names through by itself and cannot open a folder
        return
    try:
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as error:
        if error.errno not in _NO_WAY_TO_ASK:
            raise


@contextlib.contextmanager
def file_errors(path: Path) -> Iterator[None]:
    """Turn what the file system refuses into one line that says what to do."""
    try:
        yield
    except OSError as error:
        reason = "the disk is full" if error.errno in _FULL else (error.strerror or str(error)).lower()
        raise RecordError(f"{path.name} cannot be written in {path.parent}: {reason}; {_remedy(error)}") from error


_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))  # Windows knows no quota error


def _remedy(error: OSError) -> str:
    if error.errno in _FULL:
        return "free some space, then do it again"
    if error.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return "make the folder writable, or choose another with --journal"
    return "check the disk, then do it again"
