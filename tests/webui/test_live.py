"""The live view: what was heard, the run filling in, and events that come as entries do."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from journal.facts import Cut, PartAnswer, PartState, PartWanted, PressureLevel, RunKind, RunStarted, to_milliseconds
from journal.facts.codec import time_to_text
from tests.webui.conftest import IDLE_RUN, Shop, text_of
from webui import watch
from webui.heard import Hears, heard_for, heard_in
from webui.watch import MOST_STREAMS


def names(stream: Iterator[str], wanted: int, seconds: float = 5.0) -> list[str]:
    """The names of the next events of a stream; fewer when they do not come in time."""
    found: list[str] = []

    def read() -> None:
        for event in stream:
            found.extend(line.removeprefix("event: ") for line in event.split("\n") if line.startswith("event: "))
            if len(found) >= wanted:
                return

    reader = threading.Thread(target=read, daemon=True)
    reader.start()
    reader.join(seconds)
    return found


def now_text(seconds_ago: float = 0.0) -> str:
    """That moment as a session writes it."""
    return time_to_text(to_milliseconds(datetime.now(UTC) - timedelta(seconds=seconds_ago)))


def test_the_run_fills_in_with_what_is_missing(shop: Shop) -> None:
    job = shop.open()
    shop.say(job, *IDLE_RUN[:4])
    page = text_of(shop.get(f"/job/{job}/live/now"))
    assert ">37.5<" in page and ">37.6<" in page and "Not cut yet: 3, 4, 5, 6" in page
    assert "Sum of the shares" not in page
    shop.say(job, *IDLE_RUN[4:])
    page = text_of(shop.get(f"/job/{job}/live/now"))
    assert "standing-dead" in page and "Sum of the shares" in page


def test_what_a_session_hears_is_shown_even_when_it_was_let_go(shop: Shop) -> None:
    job = shop.open()
    heard = {"job": job, "heard": "pass me the big spanner", "made": "not for the journal", "verdict": "let go",
             "level_db": -31.4, "level_at_utc": now_text(), "listening": True}  # fmt: skip
    (shop.folder / "live.json").write_text(json.dumps(heard), encoding="utf-8")
    page = text_of(shop.get(f"/job/{job}/live/now"))
    assert "pass me the big spanner" in page and "Let go:" in page and "-31 dB" in page and ">listening<" in page
    other = shop.open("Chipper 7")
    assert "spanner" not in text_of(shop.get(f"/job/{other}/live/now")), "another job's words stay with it"


@pytest.mark.parametrize(
    ("level", "seconds_ago", "shown"),
    [
        (-31.4, 0.0, "-31 dB, good"),
        (-62, 0.5, "-62 dB, quiet"),
        (-1.2, 1.0, "-1 dB, too loud"),
        (-31.4, 3.0, "no sound level now"),
        (-31.4, -3600.0, "no sound level now"),
        (float("nan"), 0.0, "no sound level now"),
        (float("-inf"), 0.0, "no sound level now"),
        (True, 0.0, "no sound level now"),
        ("loud", 0.0, "no sound level now"),
        (None, 0.0, "no sound level now"),
    ],
)
def test_the_input_level_is_shown_in_words_too_and_only_while_it_is_fresh(
    shop: Shop, level: object, seconds_ago: float, shown: str
) -> None:
    job = shop.open()
    state = {"job": job, "listening": True, "level_db": level, "level_at_utc": now_text(seconds_ago)}
    (shop.folder / "live.json").write_text(json.dumps(state), encoding="utf-8")
    page = text_of(shop.get(f"/job/{job}/live/now"))
    assert f'<span id="level-words">{shown}</span>' in page and "Input level" in page


def test_a_level_without_its_time_is_not_shown(shop: Shop) -> None:
    job = shop.open()
    for at in (None, "", "yesterday", 12, "2026-13-01T00:00:00.000Z"):
        state = {"job": job, "level_db": -20.0, "level_at_utc": at}
        (shop.folder / "live.json").write_text(json.dumps(state), encoding="utf-8")
        assert "no sound level now" in text_of(shop.get(f"/job/{job}/live/now"))


def test_a_status_file_that_makes_no_sense_shows_nothing(shop: Shop) -> None:
    job = shop.open()
    for text in ("", "{", "[]", "3", '{"level_db": "loud", "heard": null}', "\x00\xff"):
        (shop.folder / "live.json").write_text(text, encoding="utf-8")
        assert shop.get(f"/job/{job}/live").status_code == 200
    (shop.folder / "live.json").unlink()
    assert heard_in(shop.folder).heard == ""


def test_what_is_held_out_and_not_put_back_is_said(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6), pressure=PressureLevel.HIGH))
    page = text_of(shop.get(f"/job/{job}/live/now"))
    assert page.count("held out</span>") == 3 and "cylinders and injection pressure</p>" in page


def test_an_entry_by_anyone_becomes_an_event_within_a_second(shop: Shop) -> None:
    job, other = shop.open(), shop.open("Chipper 7")
    watcher = shop.app.extensions["journal"].watcher
    with shop.app.app_context():
        stream = watcher.stream(job, shop.app.extensions["journal"].store.last_seq())
    assert names(stream, 1) == ["changed"], "a page that was away catches up at once"
    began = time.monotonic()
    writer = threading.Timer(0.3, lambda: shop.enter(job, Cut(2, 37.0)))
    writer.start()
    assert names(stream, 1) == ["changed"]
    assert time.monotonic() - began < 5, "it came, and not by the heartbeat"
    writer.join()
    shop.enter(other, Cut(2, 37.0))
    assert names(stream, 1, seconds=1.0) == [], "another job's entry is no event here"


def test_what_a_session_hears_becomes_an_event(shop: Shop) -> None:
    job = shop.open()
    stream = shop.app.extensions["journal"].watcher.stream(job, 10**9)
    assert names(stream, 1) == ["changed"]
    (shop.folder / "live.json").write_text(json.dumps({"job": job, "heard": "baseline thirty", "level_db": -20.0}))
    assert names(stream, 1) == ["heard"]


def test_streams_end_when_the_server_stops_and_are_limited_in_number(shop: Shop) -> None:
    job = shop.open()
    watcher = shop.app.extensions["journal"].watcher
    streams = [watcher.stream(job, 0) for _ in range(MOST_STREAMS)]
    for stream in streams:
        next(stream)
    assert shop.get(f"/job/{job}/events").status_code == 503
    watcher.close()
    assert all(list(stream) is not None for stream in streams), "each of them ends"
    assert shop.get(f"/job/{job}/events").status_code == 503


def test_a_page_that_is_closed_makes_room_for_one_other(shop: Shop) -> None:
    job = shop.open()
    watcher = shop.app.extensions["journal"].watcher
    streams = [watcher.stream(job, 0) for _ in range(MOST_STREAMS)]
    for stream in streams:
        next(stream)
    for _ in range(2):
        assert watcher.stream(job, 0) is None
        streams.pop().close()
        another = watcher.stream(job, 0)
        next(another)
        streams.append(another)
    watcher.close()
    assert all(list(stream) is not None for stream in streams)


def test_the_desks_answer_stands_on_the_live_page(shop: Shop) -> None:
    from journal.facts import Source
    from journal.record.store import Store
    from journal.session import Session

    job = shop.open()
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3))[0]
    with Store.open(shop.folder) as store:
        Session(store, job, "parts desk", Source.DESK).enter(PartAnswer(part.id, PartState.PRICED, price="84.50 EUR"))
    assert "84.50 EUR" in text_of(shop.get(f"/job/{job}/live/now"))


def test_where_nothing_ever_listened_no_reason_is_given_and_nothing_was_heard(tmp_path: Path) -> None:
    never = heard_in(tmp_path)
    assert never.hears() == (Hears.NO, "") and never.level_now() is None and never.asks_cylinder is None
    assert heard_for("job", never, "") == (never, Hears.NO, "")
    assert heard_for("job", never, "it died") == (never, Hears.NO, "it died")
    assert {never.job, never.heard, never.made, never.verdict, never.state, never.why, never.trouble, never.asks} == {
        ""
    }


def test_a_stream_on_which_nothing_happens_sleeps_until_its_sign_of_life(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watch, "HEARTBEAT_S", 0.3)
    monkeypatch.setattr(watch, "LOOK_EVERY_S", 60.0)
    job, asked, waits = shop.open(), [0], list[float]()

    def may_see() -> bool:
        asked[0] += 1
        return asked[0] < 4

    watcher = watch.Watcher(shop.folder)
    sleep = watcher._changed.wait
    monkeypatch.setattr(watcher._changed, "wait", lambda seconds: waits.append(seconds) or sleep(seconds))
    stream = watcher.stream(job, 7, may_see)
    assert stream is not None and next(stream) == "retry: 1000\nid: 7\nevent: changed\ndata: 7\n\n"
    began = time.monotonic()
    assert list(stream) == [": here\n\n"] * 2, "at the third who it is for may see no more"
    assert 0.9 <= time.monotonic() - began < 9
    assert len(waits) < 9 and all(seconds <= 0.3 for seconds in waits) and max(waits) > 0.2, "no busy waiting"
    watcher.close()
    assert watcher.stream(job, 0) is None
