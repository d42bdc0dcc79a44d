"""What the listening process tells the page can be read by it."""

from __future__ import annotations

import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from journal import live
from journal.hearing.types import RATE, Sound
from journal.live import LIVE_FILE, LivePage
from webui.heard import Hears, heard_in


def tone(peak: float) -> Sound:
    t = np.arange(RATE // 10) / RATE
    return np.asarray(peak * np.sin(2 * np.pi * 100 * t), dtype=np.float32)


def test_a_full_scale_sine_is_three_decibels_below_full_scale(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A sine's mean power is half its peak's: 10 log10(1/2) = -3.01 dB; by definition."""
    monkeypatch.setattr(live, "_LEVEL_EVERY_S", 0.0)
    blocks = [tone(1.0), tone(0.1)]
    passed = list(LivePage(tmp_path, "a job").metered(blocks))
    assert all(a is b for a, b in zip(blocks, passed, strict=True)), "sound goes through as it is"
    now = heard_in(tmp_path)
    assert now.level_now() == pytest.approx(-23.0, abs=0.1)
    assert now.job == "a job"
    assert now.hears()[0] is Hears.YES


def test_silence_has_no_level(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "_LEVEL_EVERY_S", 0.0)
    list(LivePage(tmp_path, "a job").metered([np.zeros(160, dtype=np.float32)]))
    assert heard_in(tmp_path).level_now() is None


def test_the_level_is_told_four_times_a_second_at_most(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter(np.arange(0, 100, 0.1))
    monkeypatch.setattr(time, "monotonic", lambda: float(next(clock)))
    page = LivePage(tmp_path, "a job")
    told = 0
    for _ in page.metered([tone(0.5)] * 20):
        told += (tmp_path / LIVE_FILE).exists()
        (tmp_path / LIVE_FILE).unlink(missing_ok=True)
    assert 3 <= told <= 8


def test_what_was_heard_stays_while_the_level_moves(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(live, "_LEVEL_EVERY_S", 0.0)
    page = LivePage(tmp_path, "a job")
    page.heard(datetime.now(UTC), "four thirty eight", "cylinder four cut 38", "take")
    list(page.metered([tone(0.5)]))
    now = heard_in(tmp_path)
    assert (now.heard, now.made, now.verdict) == ("four thirty eight", "cylinder four cut 38", "take")
    assert now.level_now() is not None


def test_a_folder_that_is_gone_stops_nothing_and_one_that_came_back_is_told_all(tmp_path: Path) -> None:
    folder = tmp_path / "gone"
    page = LivePage(folder, "a job")
    page.heard(datetime.now(UTC), "four", "", "let go")
    assert not folder.exists()
    folder.mkdir()
    assert list(page.metered([tone(0.5)])) != []
    page.heard(datetime.now(UTC), "five", "", "let go")
    assert (heard_in(folder).heard, heard_in(folder).verdict) == ("five", "let go")
