"""A phone that was let in as the microphone: who may, how much, what is told, and what becomes of a memo."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from flask.testing import FlaskClient
from limits import RateLimitItemPerMinute
from werkzeug.test import TestResponse

from journal.facts import Cut, JobClosed, Question
from journal.record.spool import Spool
from tests.webui.browser import PHONE, serving, window
from tests.webui.conftest import Shop, jpeg, sign_of, text_of
from tests.webui.test_access import device, give
from tests.webui.test_desk import link_of
from webui import photos, quotas
from webui.grants import LinkKind
from webui.listener import Wanted, command_for
from webui.shop import Secure

STREAM = "00112233445566aa"


def let_in(lan: Shop) -> FlaskClient:
    """A phone that gave the code."""
    phone = device(lan)
    assert give(phone, lan.app.extensions["journal"].door.code) == 303
    return phone


def put(
    client: FlaskClient, job: str, at: int, data: bytes, stream: str = STREAM, query: str = "", **how: Any
) -> TestResponse:
    """A piece of sound sent as the page sends it."""
    sign = sign_of(text_of(client.get("/code")))
    headers = {"X-CSRFToken": sign, "Accept": "application/json", **how}
    kind = "application/octet-stream"
    address = f"/job/{job}/handset/sound/{stream}/{at}{query}"
    return client.post(address, data=data, headers=headers, content_type=kind)


def kept(shop: Shop, job: str) -> bytes:
    """All sound of a job's first stream."""
    streams = Spool(shop.folder, job).streams()
    data = b""
    while streams and (more := streams[0].samples(len(data) // 2, 1 << 20)):
        data += more
    return data


def test_a_phone_that_gave_the_code_sends_sound_and_is_told_how_much_is_there(lan: Shop) -> None:
    job, phone = lan.open(), let_in(lan)
    assert put(phone, job, 0, b"abcd").json["have"] == 2
    assert put(phone, job, 0, b"abcd").json["have"] == 2, "again"
    assert put(phone, job, 5, b"kl").json["have"] == 2, "nothing with a hole before it"
    assert put(phone, job, 1, b"cdef").json["have"] == 3
    assert kept(lan, job) == b"abcdef"


UNWELCOME = ("stranger", "link", "put out", "no sign", "other site", "lan ended")
"""Why a phone may not send what one that was let in may."""


def unwelcome(
    lan: Shop, job: str, how: str, sends: Callable[[FlaskClient], bool]
) -> tuple[FlaskClient, dict[str, str]]:
    """A phone that may not send any more, or never might, and its headers; whether it `sends` is asked before."""
    phone = device(lan)
    if how == "link":
        assert phone.get(link_of(lan, job, LinkKind.PHONE)).status_code == 200
    elif how != "stranger":
        phone = let_in(lan)
        assert sends(phone)
    if how == "put out":
        lan.post(f"/devices/{lan.app.extensions['journal'].grants.devices()[0].id}/out")
    if how == "lan ended":
        lan.app.extensions["journal"].lan = False
    headers = {"no sign": {"X-CSRFToken": "made up"}, "other site": {"Sec-Fetch-Site": "cross-site"}}
    return phone, headers.get(how, {})


@pytest.mark.parametrize("how", UNWELCOME)
def test_nobody_else_sends_sound_nor_sees_the_page(lan: Shop, how: str) -> None:
    job = lan.open()
    phone, more = unwelcome(lan, job, how, lambda phone: put(phone, job, 0, b"ab").json["have"] == 1)
    before = kept(lan, job)
    assert put(phone, job, len(before) // 2, b"cd", **more).status_code in (400, 403)
    assert kept(lan, job) == before
    if how not in ("no sign", "other site"):
        for place in ("", "/now"):
            assert phone.get(f"/job/{job}/handset{place}").location == f"/code?to=/job/{job}/handset{place}"


def test_what_is_no_sound_is_refused_in_one_line_and_leaves_nothing(lan: Shop) -> None:
    job, phone = lan.open(), let_in(lan)
    wrong = [put(phone, job, 0, b"abc"), put(phone, job, 0, b""), put(phone, job, 0, b"ab", stream="x" * 16)]
    wrong += [put(phone, job, 0, b"ab", query=f"?age={age}") for age in ("-1", "nan", "inf", "1e9", "a")]
    for answer in wrong:
        assert answer.status_code == 400 and "\n" not in answer.json["refused"]
    assert put(phone, job, 0, bytes(300_000)).status_code == 413
    assert put(phone, "no-such-job", 0, b"ab").status_code == 404
    lan.enter(job, JobClosed("unknown"))
    assert "this job is closed" in put(phone, job, 0, b"ab").json["refused"]
    assert Spool(lan.folder, job).streams() == []


def test_one_device_sends_so_much_sound_and_another_is_not_kept_out_by_it(
    lan: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(quotas, "SOUND_S", (RateLimitItemPerMinute(3),))
    job, phone, other = lan.open(), let_in(lan), let_in(lan)
    assert put(phone, job, 0, bytes(64_000)).json["have"] == 32_000, "two seconds"
    assert put(phone, job, 32_000, b"ab").json["have"] == 32_001, "the third was begun"
    over = put(phone, job, 32_001, b"ab")
    assert over.status_code == 429 and over.json["full"] and "have" not in over.json
    assert "too much sound by one device" in lan.refused()
    assert put(other, job, 0, b"ab", stream="ffeeddccbbaa9988").json["have"] == 1


def test_four_pieces_a_second_and_ten_minutes_at_once_are_within_what_one_device_may_send() -> None:
    minute, hour = (limit.amount for limit in quotas.SOUND_S)
    assert minute > 600 + 4 * 60 and hour > 4 * 3600 + 600


def test_pieces_that_go_well_fill_no_log(lan: Shop) -> None:
    job, phone = lan.open(), let_in(lan)
    for at in range(5):
        put(phone, job, at, b"ab")
    put(phone, job, 0, b"a")
    lines = [(line["page"], line["status"]) for line in lan.log() if line["page"] == "handset.sound"]
    assert lines == [("handset.sound", 400)]


def test_the_page_is_told_whether_somebody_listens_the_question_and_the_answers(lan: Shop) -> None:
    job, phone = lan.open(), let_in(lan)
    spool = Spool(lan.folder, job)
    now = phone.get(f"/job/{job}/handset/now").json
    assert (now["attended"], now["asked"], now["answers"]) == (False, None, [])
    spool.attend()
    spool.say("take", "one, thirty")
    spool.say("ask", "two, thirty or thirteen?")
    lan.enter(job, Question("Cylinder 2: 30 or 13?", (Cut(2, 30.0), Cut(2, 13.0))))
    now = phone.get(f"/job/{job}/handset/now").json
    assert now["attended"] and now["answers"] == [[2, "ask", "two, thirty or thirteen?", 0.0]], (
        "the last, where it began"
    )
    assert now["asked"]["options"] == ["Cylinder 2 cut: 30", "Cylinder 2 cut: 13"] and now["asked"]["none"] == "Neither"
    told = put(phone, job, 0, b"ab", query="?after=1").json
    assert told["answers"] == [[2, "ask", "two, thirty or thirteen?", 0.0]] and told["attended"]
    assert put(phone, job, 1, b"ab", query="?after=2").json["answers"] == []


def test_the_phone_has_the_shops_machine_listen_but_not_away_from_another_job(
    lan: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    job, other, phone = lan.open(), lan.open("Chipper 7"), let_in(lan)
    listener = lan.app.extensions["journal"].listener
    asked: list[Wanted] = []
    monkeypatch.setattr(listener, "start", asked.append)
    assert ask_to_listen(phone, job).status_code == 200
    words = command_for(lan.folder, asked[0])
    assert words[words.index("--from") + 1] == "phone" and words[words.index("--job") + 1] == job
    assert "--voice" not in words and "--device" not in words, "the phone answers by itself"
    monkeypatch.setattr(type(listener), "wanted", property(lambda self: asked[0]))
    refused = ask_to_listen(phone, other)
    assert refused.status_code == 400 and "listens for another job" in refused.json["words"] and len(asked) == 1
    lan.enter(job, JobClosed("unknown"))
    assert ask_to_listen(phone, job).status_code == 400 and len(asked) == 1
    assert ask_to_listen(device(lan), job).status_code == 403


def ask_to_listen(client: FlaskClient, job: str) -> TestResponse:
    """Asked as the page's script does."""
    sign = sign_of(text_of(client.get("/code")))
    return client.post(f"/job/{job}/handset/listen", data={"csrf_token": sign}, headers={"Accept": "application/json"})


def test_only_the_page_with_the_microphone_may_use_it(lan: Shop) -> None:
    job = lan.open()
    for place, allowed in ((f"/job/{job}/handset", "microphone=(self)"), (f"/job/{job}/live", "microphone=()")):
        assert allowed in lan.get(place).headers["Permissions-Policy"]


def test_on_a_plain_page_the_phone_says_in_two_sentences_what_to_accept(lan: Shop) -> None:
    job, phone = lan.open(), let_in(lan)
    lan.app.extensions["journal"].secure = Secure(8471, "AA:BB")
    name = lan.app.config["SESSION_COOKIE_NAME"]
    phone.set_cookie(name, phone.get_cookie(name).value, domain="192.0.2.5")
    page = text_of(phone.get(f"/job/{job}/handset", headers={"Host": "192.0.2.5:8470"}))
    assert f'href="https://192.0.2.5:8471/job/{job}/handset"' in page and 'id="listen"' not in page
    assert "go on only if it is the one" in page and "AA:BB" not in page, "not from the page that is to be trusted"
    for secure in ({"base_url": "https://192.0.2.5:8471"}, {"headers": {"Host": "localhost:8470"}}):
        assert 'id="listen"' in text_of(phone.get(f"/job/{job}/handset", **secure))
    lan.app.extensions["journal"].secure = None
    page = text_of(phone.get(f"/job/{job}/handset", headers={"Host": "192.0.2.5:8470"}))
    assert "lets phones in on its page Devices" in page and 'id="listen"' not in page


def spoken(path: Path, kind: str, rate: int = 44_100) -> bytes:
    """A second of a rising tone as a recorder writes it."""
    soundfile = pytest.importorskip("soundfile", reason="soundfile is not installed")
    t = np.arange(rate) / rate
    soundfile.write(path, 0.5 * np.sin(2 * np.pi * (300 + 200 * t) * t), rate, format=kind)
    return path.read_bytes()


@pytest.mark.parametrize("kind", ["WAV", "FLAC", "OGG", "AIFF", "MP3"])
def test_a_memo_becomes_sound_to_be_heard(lan: Shop, tmp_path: Path, kind: str) -> None:
    job, phone = lan.open(), let_in(lan)
    sign = sign_of(text_of(phone.get("/code")))
    form = {"csrf_token": sign, "memo": (io.BytesIO(spoken(tmp_path / "memo", kind)), f"memo.{kind.lower()}")}
    answer = phone.post(f"/job/{job}/handset", data=form)
    assert answer.location == f"/job/{job}/handset" and "is in, and is heard" in text_of(phone.get(answer.location))
    stream = Spool(lan.folder, job).streams()[0]
    assert stream.ended and abs(stream.have - 16_000) < 2_000
    sound = np.frombuffer(kept(lan, job), "<i2")
    peak = np.argmax(np.abs(np.fft.rfft(sound[4_000:12_000]))) * 16_000 / 8_000
    assert 350 < peak < 750, "the tone itself"


@pytest.mark.parametrize("why", ["no sound", "too long", "full"])
def test_a_memo_that_cannot_be_heard_is_told_on_the_same_page(
    lan: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    from webui import handset

    job, phone = lan.open(), let_in(lan)
    data = b"no sound at all" if why == "no sound" else spoken(tmp_path / "memo", "WAV")
    if why == "too long":
        monkeypatch.setattr(handset, "LONGEST_MEMO_S", 0.5)
    if why == "full":
        monkeypatch.setattr(quotas, "SOUND_S", (RateLimitItemPerMinute(0),))
    form = {"csrf_token": sign_of(text_of(phone.get("/code"))), "memo": (io.BytesIO(data), "../memo.wav")}
    answer = phone.post(f"/job/{job}/handset", data=form)
    assert answer.location == f"/job/{job}/handset"
    page = text_of(phone.get(answer.location))
    assert "Not done:" in page and "memo.wav" in page and Spool(lan.folder, job).streams() == []


def test_in_a_browser_a_memo_of_any_kind_it_can_play_is_converted_there_and_dated_when_it_was_recorded(
    shop: Shop, chromium: Any, tmp_path: Path
) -> None:
    import os
    import time

    recorded = tmp_path / "memo.wav"
    spoken(recorded, "WAV")
    opus = tmp_path / "memo.opus"
    soundfile = pytest.importorskip("soundfile", reason="soundfile is not installed")
    soundfile.write(opus, *soundfile.read(recorded)[:1], 48_000, format="OGG", subtype="OPUS")
    job = shop.open()
    ten_minutes_ago = time.time() - 600
    for path in (recorded, opus):
        os.utime(path, (ten_minutes_ago, ten_minutes_ago))
    with serving(shop) as address, window(chromium, PHONE) as page:
        page.goto(f"{address}/job/{job}/handset")
        for number, path in enumerate((recorded, opus), 1):
            page.locator("#memo-file").set_input_files(path)
            page.get_by_text(f"{path.name} is on its way").wait_for(timeout=15_000)
            for _ in range(100):
                streams = Spool(shop.folder, job).streams()
                if len(streams) == number and all(stream.ended for stream in streams):
                    break
                page.wait_for_timeout(50)
            assert len(streams) == number and all(stream.ended for stream in streams)
            assert all(abs(stream.have - 16_000) < 2_000 for stream in streams)
            assert all(abs(stream.began.timestamp() - (ten_minutes_ago - 1)) < 5 for stream in streams)


def test_photos_come_in_from_a_phone_that_gave_the_code_and_stand_on_its_page(lan: Shop) -> None:
    job, phone = lan.open(), let_in(lan)
    pictures = [(io.BytesIO(jpeg(seed=seed)), f"IMG_{seed}.jpg") for seed in (1, 2)]
    form = {"csrf_token": sign_of(text_of(phone.get("/code"))), "photos": pictures}
    answer = phone.post(f"/job/{job}/handset", data=form, headers={"Accept": "application/json"})
    assert len(lan.job(job).pictures) == 2 and answer.json["count"] == 2
    assert [told for told in answer.json["told"] if told[0] != "good"] == []
    for sent in answer.json["sent"]:
        assert sent["place"] == "not placed yet" and phone.get(sent["src"]).status_code == 200


def test_a_memo_counts_as_long_as_it_is_and_each_piece_is_as_old_as_it_was_before_its_end(
    lan: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from webui import handset

    counted: list[int] = []
    ages: list[tuple[int, float]] = []
    put_in = handset.Spool.put

    def noted(self: Spool, stream: str, at: int, data: bytes, **how: Any) -> Any:
        ages.append((at + len(data) // 2, how["age_s"]))
        return put_in(self, stream, at, data, **how)

    monkeypatch.setattr("journal.record.spool.LONGEST_PIECE_S", 1.0)
    monkeypatch.setattr(handset.Spool, "put", noted)
    job, phone = lan.open(), let_in(lan)
    limits = lan.app.extensions["journal"].quotas
    monkeypatch.setattr(limits, "sound_comes", lambda device, seconds: counted.append(seconds) or True)
    soundfile = pytest.importorskip("soundfile", reason="soundfile is not installed")
    soundfile.write(tmp_path / "memo.wav", 0.1 * np.sin(np.arange(16_000 * 9 // 2)), 16_000)
    form = {"csrf_token": sign_of(text_of(phone.get("/code"))), "memo": (tmp_path / "memo.wav").open("rb")}
    phone.post(f"/job/{job}/handset", data=form)
    assert counted == [5], "seconds, the last of them begun"
    samples = 16_000 * 9 // 2
    assert len(ages) > 1 and ages[-1] == (samples, 0.0)
    assert all(age == pytest.approx((samples - end) / 16_000) for end, age in ages)


@pytest.mark.parametrize(("size", "seconds"), [(2, 1), (32_000, 1), (32_002, 2), (64_000, 2)])
def test_a_piece_counts_by_the_second_that_it_begins(
    lan: Shop, monkeypatch: pytest.MonkeyPatch, size: int, seconds: int
) -> None:
    """Samples are 16 bits, 16,000 a second."""
    counted: list[int] = []
    job, phone = lan.open(), let_in(lan)
    limits = lan.app.extensions["journal"].quotas
    monkeypatch.setattr(limits, "sound_comes", lambda device, seconds: counted.append(seconds) or True)
    assert put(phone, job, 0, bytes(size)).status_code == 200
    assert counted == [seconds]


def test_a_phone_without_a_microphone_says_so_and_the_memo_is_left(shop: Shop, chromium: Any) -> None:
    job = shop.open()
    with serving(shop) as address, window(chromium, PHONE) as page:
        page.goto(f"{address}/job/{job}/handset")
        page.get_by_role("button", name="Start the microphone").click()
        page.get_by_text("record a voice memo below instead").wait_for(timeout=10_000)
        assert page.locator("#state").inner_text() == "NOT LISTENING"


def test_a_question_that_has_just_come_takes_no_touch_and_two_quick_ones_answer_once(shop: Shop, chromium: Any) -> None:
    job = shop.open()
    shop.say(job, "idle cut out test", "baseline thirty")
    shop.enter(job, Question("Cylinder 2: 30 or 38?", (Cut(2, 38.0), Cut(2, 30.0))))
    with serving(shop) as address, window(chromium, PHONE, has_touch=True) as page:
        page.goto(f"{address}/job/{job}/handset")
        button = page.locator("#choices button", has_text="Cylinder 2 cut: 30")
        button.wait_for(timeout=20_000)
        assert button.bounding_box()["height"] >= 48
        shop.enter(job, Question("Cylinder 4: 40 or 14?", (Cut(4, 40.0), Cut(4, 14.0))))
        other = page.locator("#choices button", has_text="Cylinder 4 cut: 40")
        other.wait_for(timeout=20_000)
        assert other.is_disabled(), "it has just moved there"
        page.locator("#choices button:not([disabled])").first.wait_for(timeout=20_000)
        page.evaluate("const b = document.querySelector('#choices button'); b.click(); b.click();")
        button.wait_for(timeout=20_000)
    assert [cut.value for cut in shop.job(job).runs[0].cuts] == [40.0], "one touch, one answer; the other still waits"


@pytest.mark.parametrize("why", ["no camera", "not a secure page"])
def test_a_browser_without_a_camera_says_so_and_that_single_photos_work(
    shop: Shop, chromium: Any, monkeypatch: pytest.MonkeyPatch, why: str
) -> None:
    job = shop.open()
    monkeypatch.setattr(photos, "can_see", lambda: True)
    with serving(shop) as address, window(chromium, PHONE) as page:
        if why == "not a secure page":
            page.add_init_script("delete Navigator.prototype.mediaDevices")
        page.goto(f"{address}/job/{job}/handset")
        page.locator("#stand-watch").click()
        page.locator("#stand-why", has_text="take single photos above instead").wait_for(timeout=30_000)
        words = page.locator("#stand-why").inner_text()
        assert ("secure pages only" in words) == (why == "not a secure page") and words.startswith("no camera: ")
        assert page.locator("#stand-state").inner_text() == "Camera on a stand: off"
        page.locator("#camera").set_input_files({"name": "a.jpg", "mimeType": "image/jpeg", "buffer": jpeg()})
        page.locator("#sent img").wait_for(timeout=30_000)
