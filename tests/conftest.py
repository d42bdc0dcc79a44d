"""Fixtures every room's tests may ask for."""

from __future__ import annotations

from pathlib import Path

import pytest

from journal.facts import Arrangement, Engine, Injection

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture
def root() -> Path:
    """The project's folder."""
    return ROOT


@pytest.fixture
def six() -> Engine:
    """An inline six with its firing order."""
    return Engine(6, (1, 5, 3, 6, 2, 4), injection=Injection.HYDRAULIC)


@pytest.fixture
def vee_eight() -> Engine:
    """A vee-eight whose injectors share drivers in pairs."""
    return Engine(
        8,
        (1, 8, 4, 3, 6, 5, 7, 2),
        Arrangement.VEE,
        Injection.COMMON_RAIL,
        banks=((1, 3, 5, 7), (2, 4, 6, 8)),
        drivers=((1, 4), (6, 7), (2, 3), (5, 8)),
    )


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty journal folder that commands run in this test find by themselves."""
    where = tmp_path / "journal folder"
    monkeypatch.setenv("JOURNAL_FOLDER", str(where))
    return where
