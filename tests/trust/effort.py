"""How hard the tests by machine try: a short form for every run, a long one for `python3 tests --long`."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Any

from hypothesis import HealthCheck, settings


def chosen(short: int, long: int) -> int:
    """The number of tries to make now."""
    return long if os.environ.get("JOURNAL_TESTS_LONG") else short


def tries(short: int, long: int) -> Callable[[Any], Any]:
    """Settings for a property test: so many examples, however long each takes.

    The short form tries the same examples each time, so that a green run stays green; the long one explores.
    """
    explores = bool(os.environ.get("JOURNAL_TESTS_LONG"))
    return settings(
        max_examples=chosen(short, long),
        deadline=None,
        derandomize=not explores,
        database=None,
        suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow, HealthCheck.data_too_large],
    )
