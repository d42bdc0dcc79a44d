"""Fixtures every room's tests may ask for, and `--long`, which lets the tests by machine run their full numbers."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from journal.facts import Arrangement, Engine, Injection

ROOT = Path(__file__).resolve().parent.parent


LONG = "JOURNAL_TESTS_LONG"
"""Set in the environment when the long forms are to run; `tests/trust/effort.py` reads it."""


def pytest_addoption(parser: pytest.Parser) -> None:
    """Adds `--long`."""
    parser.addoption("--long", action="store_true", help="run the long forms of the tests by machine (hours)")


def pytest_configure(config: pytest.Config) -> None:
    """Tells test modules, before they are read, how much to do."""
    config.addinivalue_line("markers", "long: runs only with --long")
    if config.getoption("--long"):
        os.environ[LONG] = "1"


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leaves tests marked `long` out unless they are asked for; those that are may take as long as they need."""
    if config.getoption("--long"):
        for item in items:
            item.add_marker(pytest.mark.timeout(0))
        return
    left_out = [item for item in items if item.get_closest_marker("long")]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if item not in left_out]


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
