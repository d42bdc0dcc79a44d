"""Bounds, statuses and small promises of the page that nothing else would notice broken."""

from __future__ import annotations

import io
import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from journal.analysis import diagnose
from journal.errors import BadInput
from journal.facts import (
    Arrangement,
    Check,
    Engine,
    Entry,
    JobOpened,
    Note,
    Photo,
    PhotoCue,
    PhotoMark,
    Subject,
    new_id,
    to_milliseconds,
)
from journal.live import LIVE_FILE
from journal.record.photos import MOST_BYTES, take_in
from journal.record.replay import replay
from journal.record.store import Store
from tests.webui.conftest import Shop, jpeg, make, sign_of, text_of
from webui import board, connections, links, log, photos, review, server, watch
from webui.access import PHOTO_FORM_BYTES
from webui.acting import meant
from webui.door import Door
from webui.grants import LinkKind
from webui.heard import heard_in
from webui.layout import STEP, places
from webui.say import day, offset_of


def test_what_the_application_bounds_is_bounded_as_it_says(shop: Shop) -> None:
    config = shop.app.config
    assert config["MAX_CONTENT_LENGTH"] == config["MAX_FORM_MEMORY_SIZE"] == 256 * 1024
    assert config["MAX_FORM_PARTS"] == 400
    assert config["WTF_CSRF_TIME_LIMIT"] == 12 * 3600
    assert config["PERMANENT_SESSION_LIFETIME"] == timedelta(hours=12)
    assert not config["COMPRESS_STREAMS"], "an event that is compressed waits for the next"
    assert MOST_BYTES < PHOTO_FORM_BYTES <= MOST_BYTES + 2_000_000, "the largest photo fits in a form"
    assert (board.AT_ONCE, review.AT_ONCE, photos.AT_ONCE) == (30, 80, 20)
    assert (links.DESK_DAYS, links.PHONE_HOURS) == ((1, 7, 30), 2)
    assert (connections.AN_ADDRESS, connections.IN_ALL) == (64, 640)
    assert (watch.LOOK_EVERY_S, watch.HEARTBEAT_S, watch.MOST_STREAMS) == (0.25, 10.0, 40)


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(shop: Shop) -> None:
    sign = sign_of(text_of(shop.client.get("/code")))
    answer = shop.client.post("/who", data={"csrf_token": sign, "technician": "x" * 90})
    assert answer.status_code == 303
    own = f"{shop.app.config['SESSION_COOKIE_NAME']}="
    (cookie,) = [line for line in answer.headers.getlist("Set-Cookie") if line.startswith(own)]
    assert "HttpOnly" in cookie and "SameSite=Lax" in cookie
    with shop.client.session_transaction() as kept:
        assert kept["technician"] == "x" * 80


def test_the_theme_is_kept_for_a_year_out_of_reach_of_scripts(shop: Shop) -> None:
    sign = sign_of(text_of(shop.client.get("/code")))
    answer = shop.client.post("/looks", data={"csrf_token": sign, "theme": "dark"})
    (cookie,) = [line for line in answer.headers.getlist("Set-Cookie") if line.startswith("theme=")]
    assert answer.status_code == 303
    assert "Max-Age=31536000" in cookie and "HttpOnly" in cookie and "SameSite=Lax" in cookie


@pytest.mark.parametrize(
    ("how", "status", "words"),
    [
        ("nowhere", 404, "There is nothing at this address"),
        ("delete", 405, "This address does not take that"),
        ("no sign", 400, "out of date or not from this page"),
        ("too large", 413, "larger than this page takes"),
        ("link taken back", 410, "This link has ended or was taken back"),
        ("link made up", 404, "There is nothing at this address"),
    ],
)
def test_what_cannot_be_done_is_said_with_its_own_status(shop: Shop, how: str, status: int, words: str) -> None:
    client, job = shop.client, shop.open()
    grants = shop.app.extensions["journal"].grants
    link = grants.give(job, LinkKind.DESK, timedelta(days=1))
    grants.withdraw(job, link.id)
    sign = sign_of(text_of(client.get("/code")))
    answer = {
        "nowhere": lambda: client.get("/nowhere"),
        "delete": lambda: client.delete("/code"),
        "no sign": lambda: client.post(f"/job/{job}/repaired", data={"text": "x"}),
        "too large": lambda: client.post(f"/job/{job}/repaired", data={"csrf_token": sign, "text": "x" * 300_000}),
        "link taken back": lambda: client.get(f"/desk/{grants.token(link)}"),
        "link made up": lambda: client.get(f"/desk/{grants.token(link)}x"),
    }[how]()
    assert answer.status_code == status
    assert words in text_of(answer)


def test_a_mark_lies_on_the_photo_up_to_its_very_edges(shop: Shop) -> None:
    job = shop.open()
    shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(jpeg()), "C:\\\\pictures\\\\" + "a" * 90 + ".jpg")])
    (picture,) = shop.job(job).pictures
    assert picture.photo.body.name == "a" * 76 + ".jpg", "the last eighty characters of its own name"
    address = f"/job/{job}/photos/{picture.photo.body.sha256}/mark"
    corner = {"shape": "ring", "x0": "0", "y0": "0", "x1": "100", "y1": "50"}
    assert shop.post(address, **corner).status_code == 200
    ((mark,),) = [[fact.body for fact in picture.marks] for picture in shop.job(job).pictures]
    assert isinstance(mark, PhotoMark) and (mark.x0, mark.y0, mark.x1, mark.y1) == (0.0, 0.0, 1.0, 0.5)
    for off in ({"x1": "100.5"}, {"x0": "-0.5"}, {"y0": ""}):
        answer = shop.post(address, **(corner | off))
        assert answer.status_code == 400 and "percentages from 0 to 100" in text_of(answer)


@pytest.mark.parametrize(
    ("engine", "rows"),
    [
        (Engine(3, (1, 3, 2)), [[1, 2, 3]]),
        (Engine(6, (), Arrangement.VEE), [[1, 2, 3], [4, 5, 6]]),
        (Engine(8, (), Arrangement.VEE, banks=((7, 5, 3, 1), (2, 4, 6, 8))), [[1, 3, 5, 7], [2, 4, 6, 8]]),
    ],
)
def test_cylinders_are_drawn_bank_by_bank_one_step_apart(engine: Engine, rows: list[list[int]]) -> None:
    drawn = places(engine)
    levels = sorted({place.y for place in drawn})
    assert [[p.cylinder for p in drawn if p.y == y] for y in levels] == rows
    for y in levels:
        across = [p.x for p in drawn if p.y == y]
        assert across == [across[0] + STEP * n for n in range(len(across))]
    assert min(p.x for p in drawn) == min(p.y for p in drawn) > 20, "no bore is cut off at the edge"
    order = list(engine.firing_order)
    assert [p.fires for p in drawn] == [order.index(p.cylinder) + 1 if order else 0 for p in drawn]


def test_pages_of_the_list_begin_at_one_and_go_on(shop: Shop) -> None:
    for number in range(32):
        shop.open(f"pump {number}")

    def listed(query: str) -> list[str]:
        return re.findall(r"pump \d+", text_of(shop.get(f"/{query}")))

    first, second = listed(""), listed("?page=2")
    assert len(set(first)) == 30 and len(set(second)) == 2 and not set(first) & set(second)
    assert listed("?page=0") == listed("?page=-3") == listed("?page=1") == first
    assert listed("?page=3") == []


@pytest.mark.parametrize(
    ("host", "alone", "shared"),
    [
        ("localhost", 200, 200),
        ("127.0.0.1", 200, 200),
        ("[::1]", 200, 200),
        ("bench.local", 403, 200),
        ("BENCH", 403, 200),
        ("192.0.2.7", 403, 200),
        ("bench.example", 403, 403),
        ("localhost.example", 403, 403),
    ],
)
def test_only_this_machines_own_names_reach_the_page(
    shop: Shop, lan: Shop, monkeypatch: pytest.MonkeyPatch, host: str, alone: int, shared: int
) -> None:
    monkeypatch.setattr("socket.gethostname", lambda: "Bench")
    for where, status in ((shop, alone), (lan, shared)):
        assert where.client.get("/code", headers={"Host": host}).status_code == status


@pytest.mark.parametrize("words", ["blow-by light. cylinder three wiring sound", "", "see you at half past four"])
def test_words_that_say_no_one_thing_are_entered_by_none(shop: Shop, words: str) -> None:
    with shop.app.test_request_context():
        job = shop.open()
        with pytest.raises(BadInput) as refused:
            meant(job, words)
        assert "\n" not in str(refused.value)
        assert ("more than one thing" in str(refused.value)) is words.startswith("blow-by")
        assert meant(job, "cylinder three wiring sound") == Check(Subject.WIRING, "sound", 3)


def test_a_jobs_time_is_that_of_the_place_where_it_was_opened() -> None:
    at = datetime(2026, 3, 2, 8, tzinfo=UTC)
    opening = Entry(new_id(at), "job", at, JobOpened("pump", Engine(6)), offset_minutes=60)
    later = at + timedelta(seconds=5)
    elsewhere = Entry(new_id(later), "job", later, Note("carried away"), offset_minutes=-300)
    job = replay([opening, elsewhere])
    assert offset_of(job) == 60
    assert day(at, offset_of(job)) == "2026-03-02 09:00"
    assert day(at) == "2026-03-02 08:00"


@pytest.mark.parametrize(
    ("told", "heard"),
    [
        ({"made": "a", "heard": "b", "verdict": "take", "job": "c"}, ("a", "b", "take", "c")),
        ({"made": None, "heard": 0, "verdict": ""}, ("", "", "", "")),
        ({}, ("", "", "", "")),
        ([], ("", "", "", "")),
    ],
)
def test_what_the_listener_told_is_read_as_words_whatever_it_is(
    tmp_path: Path, told: object, heard: tuple[str, ...]
) -> None:
    (tmp_path / LIVE_FILE).write_text(json.dumps(told), encoding="utf-8")
    now = heard_in(tmp_path)
    assert (now.made, now.heard, now.verdict, now.job) == heard
    assert (now.state, now.asks_cylinder, now.level_now()) == ("", None, None)


def test_where_a_photo_would_land_is_said_before_it_comes(shop: Shop) -> None:
    job = shop.open()
    shop.say(job, "photo overhead cylinder three")
    assert photos.landing(shop.job(job)) == "overhead, cylinder 3"


def test_a_cue_that_is_dated_ahead_says_where_a_photo_lands_all_the_same(shop: Shop) -> None:
    job = shop.open()
    now = datetime.now(UTC)
    with Store.open(shop.folder) as store:
        for seconds, body in ((10, PhotoCue("blow-by")), (50, PhotoCue("overhead", 3)), (55, Note("after"))):
            at = to_milliseconds(now + timedelta(seconds=seconds))
            store.append(Entry(new_id(at), job, at, body, technician="Wren"))
    assert photos.landing(shop.job(job)) == "overhead, cylinder 3"


def test_whoever_is_in_follows_the_printed_address_again_without_using_it_up(shop: Shop) -> None:
    entrance = shop.app.extensions["journal"].entrance
    path = entrance.path
    again = shop.get(path)
    assert (again.status_code, again.location) == (303, "/")
    assert entrance.path == path, "it is still good for another browser"
    other = shop.app.test_client()
    assert (other.get(path).status_code, other.get("/").status_code) == (303, 200)


def test_guessed_addresses_are_one_line_of_the_log(shop: Shop) -> None:
    stranger = shop.app.test_client()
    assert {stranger.get(f"/enter/guess{n}").status_code for n in range(30)} == {403}
    assert shop.refused() == ["address to enter used up or made up"]


def test_after_sixty_wrong_codes_of_all_devices_the_code_is_longer_and_it_is_said_once() -> None:
    told: list[str] = []
    door = Door(told.append)
    for number in range(60):
        assert door.try_code("1", f"device {number}") is False
    assert len(door.code) == 8 and told == []
    assert door.try_code("1", "one more") is False
    assert len(told) == 2
    for number in range(60, 80):
        assert door.try_code("1", f"device {number}") is False
    assert told == ["Many wrong codes are being tried, so the code is a longer one for a while.",
                    f"Code for the next device: {door.code[:4]} {door.code[4:8]} {door.code[8:]}"]  # fmt: skip
    assert len(door.code) == 12 and door.try_code(door.code, "who knows it") is True
    assert len(door.code) == 12, "the next one too, while it lasts"


def test_a_device_has_five_wrong_codes_a_minute_and_twenty_links() -> None:
    door = Door(lambda line: None)
    assert [door.try_code("1", "one") for _ in range(6)] == [False] * 5 + [None]
    assert door.try_code(door.code, "one") is None, "not even the right one, for a while"
    assert door.try_code(door.code, "another") is True
    for _ in range(20):
        assert door.may_try_link("one")
        door.wrong_link("one")
    assert not door.may_try_link("one") and door.may_try_link("another")


@pytest.mark.parametrize(
    ("host", "lan", "shown"),
    [
        ("localhost:8470", True, "http://192.0.2.9:8470/x"),
        ("127.0.0.1:8470", True, "http://192.0.2.9:8470/x"),
        ("[::1]:8470", True, "http://192.0.2.9:8470/x"),
        ("[::1]", True, "http://192.0.2.9/x"),
        ("localhost", True, "http://192.0.2.9/x"),
        ("192.0.2.5:81", True, "http://192.0.2.5:81/x"),
        ("[2001:db8::5]:81", True, "http://[2001:db8::5]:81/x"),
        ("[2001:db8::5]", True, "http://[2001:db8::5]/x"),
        ("localhost:8470", False, "http://localhost:8470/x"),
    ],
)
def test_a_link_for_another_device_has_an_address_that_it_can_reach(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, host: str, lan: bool, shown: str
) -> None:
    monkeypatch.setattr(links, "lan_address", lambda: "192.0.2.9")
    shop = make(tmp_path / "journal", lan=lan)
    with shop.app.test_request_context("/", base_url=f"http://{host}"):
        assert links._address("/x") == shown
    shop.app.extensions["journal"].close()


def test_settings_of_the_c_librarys_memory_have_the_numbers_of_its_header() -> None:
    header = Path("/usr/include/malloc.h")
    if not header.exists():
        pytest.skip("the C library's headers are not installed")
    said = dict(re.findall(r"#define (M_\w+)\s+(-\d+)", header.read_text(encoding="utf-8")))
    assert int(said["M_ARENA_MAX"]) == server.M_ARENA_MAX
    assert int(said["M_MMAP_THRESHOLD"]) == server.M_MMAP_THRESHOLD


def test_photos_without_a_place_come_first_and_each_place_is_a_group(shop: Shop) -> None:
    job = shop.open()
    for seed, (subject, cylinder) in enumerate((("overhead", 3), ("", None), ("blow-by", None), ("overhead", None))):
        sha = take_in(shop.folder, jpeg(seed=seed), "a.jpg").sha256
        shop.enter(job, Photo(sha, f"{seed}.jpg", subject, cylinder))
    page = text_of(shop.get(f"/job/{job}/photos"))
    heads = [head for head in re.findall(r"<h2>(.*?)</h2>", page) if head != "Cautions"]
    assert heads == ["Not placed yet", "Whole engine", "Cylinder 3"]


def test_a_link_is_open_from_when_it_is_given(shop: Shop) -> None:
    at = shop.app.extensions["journal"].grants
    link = at.give(shop.open(), LinkKind.DESK, timedelta(days=1))
    assert link.open_now() and [one.id for one in at.open_links()] == [link.id]


def test_a_row_of_refusals_is_news_again_after_a_while(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    kept, now = shop.app.extensions["journal"].log, [1000.0]
    monkeypatch.setattr(log.time, "monotonic", lambda: now[0])
    assert [kept.is_news("wrong code", "one"), kept.is_news("wrong code", "one")] == [True, False]
    assert kept.is_news("wrong code", "another") and kept.is_news("wrong link", "one")
    now[0] += log.QUIET_S - 1
    assert not kept.is_news("wrong code", "one")
    now[0] += 1
    assert kept.is_news("wrong code", "one")


def test_the_likeliest_cause_stands_where_a_job_is_closed(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    likeliest = diagnose(shop.job(job)).cylinders[0].causes[0]
    page = text_of(shop.get(f"/job/{job}/finish"))
    assert f"Likeliest by the evidence: {likeliest.name}, cylinder 3" in page
