"""What is exported is on the disk, all of it, before it has its name."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from journal.record.exports import export


@pytest.mark.parametrize("size", [1, 100_001])
def test_all_of_an_export_is_synced_before_it_is_published(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, size: int
) -> None:
    synced: list[tuple[int, bool]] = []
    fsync, target = os.fsync, tmp_path / "out" / "write-up.html"

    def noted(handle: int) -> None:
        facts = os.fstat(handle)
        synced.append((facts.st_size, target.exists()))
        fsync(handle)

    monkeypatch.setattr(os, "fsync", noted)
    export(target, b"x" * size)
    assert synced[0] == (size, False)
    assert synced[-1][1], "and then its folder, with its name"
    assert target.read_bytes() == b"x" * size and list(target.parent.iterdir()) == [target]
