"""Two journals that a pack goes between."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from journal.record.store import Store


@pytest.fixture
def here(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "here") as store:
        yield store


@pytest.fixture
def there(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "there") as store:
        yield store
