"""A file that leaves the journal: whole or not at all, never into a journal, never over another file unasked."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from journal.errors import BadInput
from journal.record.files import (
    CLIPS,
    PHOTOS,
    PRIVATE_FILE,
    WRITE_NEW,
    file_errors,
    is_sha256,
    put_in_place,
    sync_folder,
)
from journal.record.keys import KEY_NAME
from journal.record.schema import FILE_NAME


def check_target(target: Path, *, replace: bool) -> None:
    """Refuse a place that nothing may be written to.

    Args:
        target: the file that is to be written.
        replace: whether it may take the place of a file that is there.

    Raises:
        BadInput: it lies in a journal's folder, is a folder, or is there already and may not be replaced; what is no
            regular file (a link, a pipe, a device) never may.
    """
    for folder in target.resolve().parents:
        if _is_journal(folder):
            raise BadInput(f"{target} lies in the journal itself: choose another place, best on another disk")
    if target.is_dir():
        raise BadInput(f"{target} is a folder: name a file in it")
    if os.path.lexists(target) and (target.is_symlink() or not target.is_file()):
        raise BadInput(f"{target} is there already and is no regular file: choose another name")
    if not replace and os.path.lexists(target):
        raise BadInput(_is_there(target))


def _is_journal(folder: Path) -> bool:
    """Whether a folder is a journal's, even one that lost its database; one that only has photos of its own is not."""
    if (folder / FILE_NAME).exists() or (folder / KEY_NAME).exists():
        return True
    kept = (path for room in (PHOTOS, CLIPS) for path in (folder / room).glob("[0-9a-f][0-9a-f]/*.*"))
    return any(is_sha256(path.name.split(".")[0]) for path in kept)


def export(target: Path, data: bytes, *, replace: bool = False) -> None:
    """Write a file that is at hand; errors as `exported`."""
    with exported(target, replace=replace) as file:
        file.write(data)


@contextlib.contextmanager
def exported(target: Path, *, replace: bool = False, mode: int = 0o666) -> Iterator[BinaryIO]:
    """Write a file piece by piece; it is there once the block ends well, and no part of it before or otherwise.

    Where the system can, it has no name until it is whole, so that not even a kill leaves anything of it.

    Args:
        target: the file; its folder is made.
        replace: whether it may take the place of one that is there.
        mode: who may read it, less what the user's mask takes away.

    Raises:
        BadInput: as `check_target`.
        RecordError: when it cannot be written.
    """
    check_target(target, replace=replace)
    with file_errors(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        beside = target.parent / f".{target.name[:100]}.{secrets.token_hex(4)}.part"
        try:
            with os.fdopen(_begin(beside, mode), "w+b") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
                if not beside.exists():
                    _name(file.fileno(), beside)
            _publish(beside, target, replace=replace)
        finally:
            with contextlib.suppress(OSError):
                beside.unlink()
        sync_folder(target.parent)


def _begin(beside: Path, mode: int) -> int:
    """A file without a name in that folder, where the system has such; else one under the name given."""
    if hasattr(os, "O_TMPFILE"):
        with contextlib.suppress(OSError):  # not every file system has them
            return os.open(beside.parent, os.O_TMPFILE | os.O_RDWR, mode)
    return os.open(beside, (WRITE_NEW & ~os.O_WRONLY) | os.O_RDWR, mode)


def _name(handle: int, beside: Path) -> None:
    """Give a file without a name one."""
    # Linux follows this link to the file itself only when a folder's handle is given, see linkat(2).
    folder = os.open(beside.parent, os.O_RDONLY)
    try:
        os.link(f"/proc/self/fd/{handle}", beside, src_dir_fd=folder, follow_symlinks=True)
    finally:
        os.close(folder)


def _publish(beside: Path, target: Path, *, replace: bool) -> None:
    if replace:
        check_target(target, replace=True)  # once more: what is there may have come meanwhile
        beside.replace(target)
        return
    try:
        put_in_place(beside, target)
    except FileExistsError:
        raise BadInput(_is_there(target)) from None


def _is_there(target: Path) -> str:
    return f"{target} is there already: choose another name, or add --replace"


@contextlib.contextmanager
def scratch(folder: Path) -> Iterator[tuple[Path, int]]:
    """A private file for a moment's use: its name and its handle, for reading; the user unlinks the name at will."""
    path = folder / f".{FILE_NAME}.{secrets.token_hex(4)}.part"
    handle = os.open(path, (WRITE_NEW & ~os.O_WRONLY) | os.O_RDWR, PRIVATE_FILE)
    try:
        yield path, handle
    finally:
        os.close(handle)
        with contextlib.suppress(OSError):
            path.unlink()
