"""The listener as a process of its own: its state is known, it is started again when it dies, and it ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from journal import live
from journal.hearing.types import RATE
from journal.live import LivePage
from tests.webui.browser import serving, window
from tests.webui.conftest import Shop, text_of
from webui import listener as listeners
from webui import listening
from webui.heard import Heard, Hears, heard_for, heard_in
from webui.listener import STEADY_S, Listener, Wanted, command_for

KNOWN_MS = 2_000
"""Within so long what became of the listener must stand on the page."""


def stand_in(how: str) -> Callable[[Path, Wanted], list[str]]:
    return lambda folder, wanted: [sys.executable, "-m", "tests.webui.listeners", how, str(folder), wanted.job]


@pytest.fixture
def well(shop: Shop, root: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    """A shop whose listeners are well, from whatever folder the tests are run."""
    monkeypatch.setenv("PYTHONPATH", str(root))
    extension = shop.app.extensions["journal"]
    extension.listener = Listener(shop.folder, stand_in("well"))
    yield shop
    extension.listener.stop()


def soon(it_is: Callable[[], bool], seconds: float = 20.0) -> bool:
    end = time.monotonic() + seconds
    while not it_is():
        if time.monotonic() > end:
            return False
        time.sleep(0.05)
    return True


def process_of(shop: Shop) -> Any:
    return shop.app.extensions["journal"].listener._process


def hears(shop: Shop) -> Hears:
    return heard_in(shop.folder).hears()[0]


def test_listen_starts_it_and_stop_ends_it(well: Shop) -> None:
    job = well.open()
    assert ">not listening<" in text_of(well.get(f"/job/{job}/live/now"))
    well.post(f"/job/{job}/listen", act="listen", microphone="", voice="tones")
    assert soon(lambda: hears(well) is Hears.YES)
    assert ">listening<" in text_of(well.get(f"/job/{job}/live/now"))
    process = process_of(well)
    well.post(f"/job/{job}/listen", act="stop")
    assert process.returncode == 0, "it was let end by itself"
    assert ">not listening<" in text_of(well.get(f"/job/{job}/live/now"))


def test_a_listener_for_another_job_does_not_hear_for_this_one(well: Shop) -> None:
    job, other = well.open(), well.open("Chipper 7")
    well.post(f"/job/{job}/listen", act="listen", voice="tones")
    assert soon(lambda: hears(well) is Hears.YES)
    page = text_of(well.get(f"/job/{other}/live/now"))
    assert ">not listening<" in page and "what is said goes to another job" in page
    first = process_of(well)
    well.post(f"/job/{other}/listen", act="listen", voice="tones")
    assert first.returncode == 0 and soon(lambda: heard_in(well.folder).job == other)


def test_closing_the_job_ends_it(well: Shop) -> None:
    job = well.open()
    well.post(f"/job/{job}/listen", act="listen", voice="tones")
    assert soon(lambda: hears(well) is Hears.YES)
    process = process_of(well)
    well.post(f"/job/{job}/close", cause="unknown")
    assert process.returncode == 0
    assert well.post(f"/job/{job}/listen", act="listen", voice="tones").status_code == 400


@pytest.mark.skipif(os.name != "posix", reason="there are no such signals here")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGSTOP], ids=["killed", "stopped"])
def test_a_killed_or_stopped_listener_is_told_within_two_seconds_and_started_again(
    well: Shop, chromium: Any, how: signal.Signals, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(listeners, "WAITS_S", (4.0,) * 4)
    job = well.open()
    with serving(well) as address, window(chromium) as page:
        page.goto(f"{address}/job/{job}/live")
        assert page.locator("#hears-words").inner_text() == "NOT LISTENING"
        page.get_by_role("button", name="Listen", exact=True).click()
        page.locator("#hears.is-listening").wait_for()
        first = process_of(well)
        os.kill(first.pid, how)
        page.locator("#hears.is-not-listening").wait_for(timeout=KNOWN_MS)
        box = page.locator("#hears").bounding_box()
        assert box["width"] > 0.95 * page.evaluate("innerWidth"), "across the screen"
        page.locator("#hears.is-listening").wait_for(timeout=30_000)
        assert process_of(well).pid != first.pid and first.poll() is not None


def test_a_microphone_that_gives_no_sound_is_told(well: Shop) -> None:
    job = well.open()
    well.app.extensions["journal"].listener = Listener(well.folder, stand_in("deaf"))
    well.post(f"/job/{job}/listen", act="listen", voice="tones")
    assert soon(lambda: hears(well) is Hears.YES) and soon(lambda: hears(well) is Hears.NO)
    page = text_of(well.get(f"/job/{job}/live/now"))
    assert ">not listening<" in page and "no sound comes from the microphone" in page
    assert process_of(well).poll() is None, "it lives, and hears when sound comes"


def test_one_that_dies_again_and_again_is_given_up_with_its_reason(well: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listeners, "WAITS_S", (0.0, 0.0))
    job, started = well.open(), []
    dies = stand_in("dies")

    def counted(folder: Path, wanted: Wanted) -> list[str]:
        started.append(wanted.job)
        return dies(folder, wanted)

    ours = well.app.extensions["journal"].listener = Listener(well.folder, counted)
    well.post(f"/job/{job}/listen", act="listen", voice="tones")
    assert soon(lambda: ours.wanted is None)
    assert started == [job] * 3
    page = text_of(well.get(f"/job/{job}/live/now"))
    assert "no microphone found; plug one in; it was started 3 times, press Listen to try again" in page


def test_one_that_cannot_be_started_is_told(well: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listeners, "WAITS_S", ())
    ours = Listener(well.folder, lambda folder, wanted: [str(folder / "nothing")])
    ours.start(Wanted("a job"))
    assert ours.wanted is None and ours.why.startswith("the listener cannot be started (No such file")


def test_it_ends_with_the_page_that_started_it(well: Shop) -> None:
    job = well.open()
    well.post(f"/job/{job}/listen", act="listen", voice="tones")
    assert soon(lambda: hears(well) is Hears.YES)
    process = process_of(well)
    process.stdin.close()
    assert process.wait(20) == 0


def test_a_way_to_answer_that_is_not_offered_starts_nothing(well: Shop) -> None:
    job = well.open()
    assert well.post(f"/job/{job}/listen", act="listen", voice="sung").status_code == 400
    assert well.app.extensions["journal"].listener.wanted is None


def test_the_command_names_only_what_was_chosen(tmp_path: Path) -> None:
    plain = command_for(tmp_path, Wanted("a job"))
    assert plain[1:] == ["-m", "journal", "--journal", str(tmp_path), "listen", "--watched", "--job", "a job",
                         "--voice", "spoken"]  # fmt: skip
    chosen = command_for(tmp_path, Wanted("a job", "usb", "tones", "Wren"))
    assert chosen[-4:] == ["--device", "usb", "--technician", "Wren"]
    assert "--lead" not in chosen and "--lead" in command_for(tmp_path, Wanted("a job", lead=True))


def test_the_switch_has_the_journal_lead_and_the_page_shows_what_it_asks_for(
    well: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(live, "_LEVEL_EVERY_S", 0.0)
    job, started = well.open(), []
    stands_in = stand_in("well")

    def noted(folder: Path, wanted: Wanted) -> list[str]:
        started.append(wanted.lead)
        return stands_in(folder, wanted)

    well.app.extensions["journal"].listener = Listener(well.folder, noted)
    well.say(job, "idle cut out test", "baseline thirty", "cylinder one cut thirty seven point five")
    well.post(f"/job/{job}/listen", act="listen", voice="tones")
    well.post(f"/job/{job}/listen", act="listen", voice="tones", lead="yes")
    assert started == [False, True], "started anew, to lead"
    well.post(f"/job/{job}/listen", act="stop")
    page = LivePage(well.folder, job)
    sound = np.full(RATE, 0.05, dtype=np.float32)
    with page:
        page.leads(5, "Five.")
        list(page.metered([sound]))
        shown = text_of(well.get(f"/job/{job}/live/now"))
    tiles = shown.split('<li class="tile')[1:]
    assert "Asked for: Five." in shown
    assert [n for n, tile in enumerate(tiles, 1) if tile.split('"')[0].endswith("next")] == [5]
    after = text_of(well.get(f"/job/{job}/live/now"))
    assert "Asked for" not in after, "what it had asked for is not asked for any more"
    assert after.split('<li class="tile')[2].startswith(' next"')


def test_an_end_is_told_whatever_the_listener_last_said(tmp_path: Path) -> None:
    ended = Heard(job="a job", state="ended", why="disk full", written_at=time.time(), sound_at=time.time())
    assert heard_for("a job", ended, "")[1:] == (Hears.NO, "disk full")
    assert heard_for("a job", ended, "it was ended from outside")[1:] == (Hears.NO, "it was ended from outside")
    assert heard_for("another", ended, "")[1:] == (Hears.NO, "")
    assert Heard(job="a job", state="hearing a recording", written_at=time.time()).hears()[0] is Hears.RECORDING
    assert Heard(job="a job", state="starting", written_at=time.time()).hears()[0] is Hears.NOT_YET
    assert Heard(job="a job", state="starting", written_at=time.time() - 130).hears()[0] is Hears.NO


def test_it_waits_longer_before_each_start_and_one_that_was_well_for_a_while_begins_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = Listener(tmp_path, stand_in("well"))
    monkeypatch.setattr(made, "_launch", lambda wanted: None)
    made._wanted = Wanted("job")
    for waits in (0.5, 2.0, 5.0, 10.0):
        made._started_at = 1000.0
        made._died("it fell over", 1000.0 + STEADY_S)
        assert (made._start_at, made.why) == (1000.0 + STEADY_S + waits, "it fell over")
    made._died("it fell over", 1000.0 + STEADY_S + 0.1)
    assert made._start_at == 1000.0 + STEADY_S + 0.1 + 0.5 and made.wanted is not None, "that was a first one again"
    for _ in range(4):
        made._died("it fell over", 1000.0)
    assert made.wanted is None
    assert made.why == "it fell over; it was started 5 times, press Listen to try again"
    made.stop()
    assert made.why == "it fell over; it was started 5 times, press Listen to try again", "nothing was wanted"


def test_one_that_cannot_be_started_is_asked_for_again_no_sooner_than_it_waits(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    starts: list[Wanted] = []
    made = Listener(tmp_path, stand_in("well"))
    monkeypatch.setattr(made, "_launch", starts.append)
    made._wanted, made._start_at = Wanted("job"), time.monotonic() + 60
    made._look()
    assert starts == []
    made._start_at = time.monotonic()
    made._look()
    assert starts == [Wanted("job")]


def test_microphones_are_listed_once_for_the_pages_that_ask_within_some_seconds(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked, now = list[float](), [1000.0]
    monkeypatch.setattr(listening, "_known", (-listening._KNOWN_S, []))
    monkeypatch.setattr(listening.time, "monotonic", lambda: now[0])
    monkeypatch.setattr(listening, "_listed", lambda: asked.append(now[0]) or [{"number": "1", "name": "Desk"}])
    for at in (1000.0, 1004.9, 1005.0, 1009.9, 1011.0):
        now[0] = at
        assert shop.get("/microphones").json == {"microphones": [{"number": "1", "name": "Desk"}], "chosen": ""}
    assert asked == [1000.0, 1005.0, 1011.0]


def test_a_list_of_microphones_is_what_the_command_prints_and_none_where_it_hangs_or_is_not_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    patience: list[float] = []

    def ran(told: str | OSError | None) -> Callable[..., Any]:
        def run(command: list[str], **how: Any) -> Any:
            patience.append(how["timeout"])
            assert command[1:] == ["-m", "journal", "listen", "--microphones"]
            if told is None:
                raise subprocess.TimeoutExpired(command, how["timeout"])
            if isinstance(told, OSError):
                raise told
            return subprocess.CompletedProcess(command, 0, told, "")

        return run

    for told, listed in (
        ("Microphones:\n0 Built-in, stereo\n12 Head set\nnone\n", [("0", "Built-in, stereo"), ("12", "Head set")]),
        ("7\n", []),
        ("", []),
        (None, []),
        (OSError("no python"), []),
    ):
        monkeypatch.setattr(listening.subprocess, "run", ran(told))
        assert [(each["number"], each["name"]) for each in listening._listed()] == listed
    assert set(patience) == {60}, "a page is not kept waiting for ever, nor given up while a slow machine starts"
