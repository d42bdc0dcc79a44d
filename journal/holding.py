"""Whether somebody who types a line at a time has said "hold on"; kept between commands, it is no fact of any job."""

from __future__ import annotations

from pathlib import Path

from journal.record.files import read_file, write_whole

HOLDING_FILE = "holding"
"""Beside the entries, while it is so; it names the job."""


def is_holding(folder: Path, job: str) -> bool:
    """Whether "hold on" was the last word on this job, with no "carry on" since; not, where that cannot be read."""
    try:
        return read_file(folder / HOLDING_FILE).decode("utf-8") == job
    except (OSError, ValueError):
        return False


def keep_holding(folder: Path, job: str, holding: bool) -> None:
    """Keep whether it is so.

    Raises:
        RecordError: when that cannot be written: the next line would be entered though it should not be.
    """
    if holding:
        write_whole(folder / HOLDING_FILE, job.encode())
    elif is_holding(folder, job):
        (folder / HOLDING_FILE).unlink()
