"""What the listening process tells the page can be read by it."""

from __future__ import annotations

import contextlib
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from journal import live
from journal.cli import main
from journal.errors import HearingError
from journal.facts import Engine, JobOpened
from journal.hearing.types import RATE, Sound
from journal.live import LIVE_FILE, LivePage, check_alone
from journal.record.store import Store
from journal.session import open_job
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


BEATS = """
import sys, time
from pathlib import Path
from journal.live import LivePage
with LivePage(Path(sys.argv[1]), sys.argv[2]) as page:
    if sys.argv[3] == "recording":
        page.recording()
    print("on", flush=True)
    if sys.argv[3] != "ended":
        time.sleep(120)
print("off", flush=True)
time.sleep(120)
"""


@contextlib.contextmanager
def another(folder: Path, job: str, what: str = "microphone") -> Iterator[subprocess.Popen[str]]:
    """Another process that listens, or did."""
    words = [sys.executable, "-c", BEATS, str(folder), job, what]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        for _ in range(2 if what == "ended" else 1):
            process.stdout.readline()
        try:
            yield process
        finally:
            process.kill()


def test_a_job_is_listened_for_once(tmp_path: Path) -> None:
    with another(tmp_path, "a job") as process:
        with pytest.raises(HearingError, match="listens for this job already: end that first"):
            check_alone(tmp_path, "a job")
        check_alone(tmp_path, "another job")
        process.kill()
        process.wait()
        check_alone(tmp_path, "a job")


@pytest.mark.parametrize("what", ["recording", "ended"])
def test_a_recording_that_is_heard_and_one_that_has_ended_keep_no_microphone_out(tmp_path: Path, what: str) -> None:
    with another(tmp_path, "a job", what):
        check_alone(tmp_path, "a job")


@pytest.mark.parametrize("text", ["", "[]", '{"job": "a job"}', '{"job": "a job", "state": "listening", "pid": 1}'])
def test_what_an_earlier_one_left_keeps_no_microphone_out(tmp_path: Path, text: str) -> None:
    (tmp_path / LIVE_FILE).write_text(text, encoding="utf-8")
    check_alone(tmp_path, "a job")
    with LivePage(tmp_path, "a job"):
        check_alone(tmp_path, "a job")


def test_a_second_microphone_is_one_line_and_enters_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two of them had entered every reading twice, which then counted as read twice."""
    with Store.open(tmp_path) as store:
        job = open_job(store, JobOpened("Pump", Engine(6), "misses"), "Ash")
        with another(tmp_path, job), pytest.raises(SystemExit) as end:
            main(["--journal", str(tmp_path), "listen", "--from", "-"])
        assert end.value.code == 1 and len(store.entries(job)) == 1
    assert capsys.readouterr().err.startswith("journal: another `journal listen`, or the page, listens for this job")
