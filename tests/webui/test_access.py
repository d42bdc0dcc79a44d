"""Who may see the pages: this machine, devices that gave the code, nobody else."""

from __future__ import annotations

import errno
import os
import re
import sqlite3
import stat
import sys
import threading
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from journal.errors import BadInput, RecordError
from journal.facts import to_milliseconds
from journal.facts.codec import time_to_text
from tests.webui.conftest import Shop, make, sign_of, text_of
from webui import grants, watch
from webui.grants import Grants
from webui.keys import signing_key
from webui.log import Log

AWAY = {"REMOTE_ADDR": "192.0.2.77"}
"""A device of the network (an address kept for examples, RFC 5737)."""


def device(shop: Shop, address: str = "192.0.2.77") -> FlaskClient:
    """A browser on another device."""
    client = shop.app.test_client()
    client.environ_base["REMOTE_ADDR"] = address
    return client


def give(client: FlaskClient, code: str) -> int:
    """Give a code as the form does; the answer's status."""
    sign = sign_of(text_of(client.get("/code")))
    return client.post("/code", data={"csrf_token": sign, "code": code}).status_code


def test_a_device_of_the_network_gives_the_code_once(lan: Shop) -> None:
    phone = device(lan)
    assert phone.get("/").location == "/code"
    code = lan.app.extensions["journal"].door.shown
    assert give(phone, code) == 303
    assert phone.get("/").status_code == 200
    assert lan.lines and code not in lan.lines[-1], "the next device gets another code"
    tablet = device(lan, "192.0.2.78")
    assert give(tablet, code) == 403, "a code lets one device in"
    assert tablet.get("/").location == "/code"


def test_the_address_shown_at_the_start_lets_one_browser_of_this_machine_in_once(shop: Shop) -> None:
    stranger, second = shop.app.test_client(), shop.app.test_client()
    assert stranger.get("/").location == "/code", "a shared machine: being on it is not enough"
    entrance = shop.app.extensions["journal"].entrance
    entrance.at("http://127.0.0.1:8470")
    path = entrance.path
    assert stranger.get(path).location == "/"
    assert stranger.get("/").status_code == 200
    assert stranger.get(path).location == "/", "whoever is in already is not turned away"
    assert second.get(path).status_code == 403, "used up"
    assert second.get("/enter/made-up").status_code == 403
    assert second.get("/").location == "/code"
    assert shop.lines == [f"For another browser of this machine: http://127.0.0.1:8470{entrance.path}"]
    assert second.get(entrance.path).location == "/"


def test_that_address_lets_nobody_in_from_the_network(lan: Shop) -> None:
    phone = device(lan)
    path = lan.app.extensions["journal"].entrance.path
    assert phone.get(path).status_code == 403 and phone.get("/").location == "/code"
    own = lan.app.test_client()
    assert own.get(path).location == "/", "it was not used up by that"
    own.environ_base["REMOTE_ADDR"] = "192.0.2.77"
    assert own.get("/").location == "/code", "nor does its cookie, carried elsewhere"


def test_without_lan_no_device_gets_in_whatever_it_knows(shop: Shop) -> None:
    phone = device(shop)
    assert give(phone, shop.app.extensions["journal"].door.shown) == 303
    assert phone.get("/").location == "/code"


def test_a_device_put_out_is_out(lan: Shop) -> None:
    phone = device(lan)
    give(phone, lan.app.extensions["journal"].door.code)
    inside = lan.app.extensions["journal"].grants.devices()
    lan.post(f"/devices/{inside[0].id}/out")
    assert phone.get("/").location == "/code"


def test_an_admission_dated_a_little_ahead_counts_and_one_well_ahead_would_never_end(lan: Shop) -> None:
    """As by a clock that was set back since."""
    at = lan.app.extensions["journal"].grants
    for seconds, gets_in in ((30, True), (90, False)):
        device_id = at.admit()
        moment = time_to_text(to_milliseconds(datetime.now(UTC) + timedelta(seconds=seconds)))
        with sqlite3.connect(lan.folder / grants.FILE_NAME) as db:
            db.execute("UPDATE devices SET admitted_at = ? WHERE id = ?", [moment, device_id])
        assert (at.admitted(device_id) is not None) == gets_in
        assert any(one.id == device_id for one in at.devices()) == gets_in


def test_whoever_is_not_in_is_sent_to_the_code_and_what_they_send_is_refused(lan: Shop) -> None:
    phone = device(lan)
    asked = phone.get("/units")
    assert (asked.status_code, asked.location) == (303, "/code?to=/units")
    sign = sign_of(text_of(phone.get("/code")))
    assert phone.post("/who", data={"csrf_token": sign, "technician": "x"}).status_code == 403
    assert phone.get("/nowhere-at-all").status_code == 403


def ends(stream: Iterator[bytes], seconds: float) -> bool:
    """Whether a stream ends by itself in that time."""
    reader = threading.Thread(target=lambda: list(stream), daemon=True)
    reader.start()
    reader.join(seconds)
    return not reader.is_alive()


def test_the_open_live_page_of_a_device_put_out_hears_no_more(lan: Shop) -> None:
    job = lan.open()
    phone = device(lan)
    give(phone, lan.app.extensions["journal"].door.code)
    streams = [iter(client.get(f"/job/{job}/events").response) for client in (phone, lan.client)]
    assert all(b"changed" in next(stream) for stream in streams)
    lan.post(f"/devices/{lan.app.extensions['journal'].grants.devices()[0].id}/out")
    # By the server's sign of life, after ten seconds, it would end in any case.
    assert ends(streams[0], 5), "the stream goes on"
    lan.say(job, "baseline thirty")
    assert b"changed" in next(streams[1]), "whoever is in goes on"


def test_the_open_live_page_of_a_device_whose_time_is_over_hears_no_more(
    lan: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watch, "HEARTBEAT_S", 0.2)
    job = lan.open()
    phone = device(lan)
    give(phone, lan.app.extensions["journal"].door.code)
    stream = iter(phone.get(f"/job/{job}/events").response)
    assert b"changed" in next(stream)
    monkeypatch.setattr(grants, "ADMITTED_HOURS", 0)
    assert ends(stream, 20)


def test_a_cookie_ends_with_its_time(lan: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    import itsdangerous.timed

    phone = device(lan)
    give(phone, lan.app.extensions["journal"].door.code)
    now = itsdangerous.timed.time.time()
    monkeypatch.setattr(itsdangerous.timed.time, "time", lambda: now + 11.9 * 3600)
    assert phone.get("/").status_code == 200
    monkeypatch.setattr(itsdangerous.timed.time, "time", lambda: now + 40 * 3600)
    assert phone.get("/").location == "/code"


def test_the_page_says_plainly_that_the_network_can_see_it(lan: Shop) -> None:
    assert "can be reached from the shop's network" in text_of(lan.get("/devices"))


def test_the_signing_key_is_the_owners_alone_and_lasts(tmp_path: Path) -> None:
    key = signing_key(tmp_path)
    assert len(key) == 32 and signing_key(tmp_path) == key
    if sys.platform != "win32":
        assert stat.S_IMODE((tmp_path / "page.key").stat().st_mode) == 0o600
    (tmp_path / "page.key").write_bytes(b"short")
    with pytest.raises(RecordError, match="delete it"):
        signing_key(tmp_path)


def test_a_full_disk_is_said_to_be_full_when_the_signing_key_is_made(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patched:
        patched.setattr(os, "fsync", full)
        with pytest.raises(RecordError) as told:
            signing_key(tmp_path)
    assert str(told.value) == (
        f"page.key cannot be written in {tmp_path}: the disk is full; free some space, then do it again"
    )
    assert not list(tmp_path.iterdir()) and len(signing_key(tmp_path)) == 32


@pytest.mark.skipif(os.name != "posix", reason="Windows has no such modes: a user's folder is private")
def test_the_pages_list_of_devices_and_its_log_are_the_owners_alone_from_the_start(tmp_path: Path) -> None:
    before = os.umask(0o002)  # whose files are everybody's to read unless told otherwise
    try:
        for _ in range(2):
            Grants(tmp_path, bytes(32)).admit()
            log = Log(tmp_path)
            log.write("x", much="x" * 700_000)
            log.write("x", much="x" * 700_000)
            log.close()
            modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in tmp_path.glob("page.*")}
            assert modes and set(modes.values()) == {0o600} and {"page.db", "page.log", "page.log.1"} <= set(modes)
            for name in ("page.db", "page.log"):
                (tmp_path / name).chmod(0o644)  # as an earlier version left them
    finally:
        os.umask(before)


def test_an_address_of_the_network_without_lan_is_refused(tmp_path: Path) -> None:
    from webui.server import serve

    with pytest.raises(BadInput, match="--lan"):
        serve(tmp_path, "0.0.0.0", 0)


def test_every_answer_carries_the_headers(lan: Shop) -> None:
    job = lan.open()
    for address in ("/", f"/job/{job}", "/code", "/nothing", f"/job/{job}/write-up.pdf", "/static/page.css"):
        headers = lan.get(address).headers
        policy = headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy and "unsafe" not in policy and "http" not in policy
        assert headers["X-Content-Type-Options"] == "nosniff" and headers["Referrer-Policy"] == "same-origin"
        assert headers["X-Frame-Options"] == "DENY" and "frame-ancestors 'none'" in policy


def test_no_page_holds_inline_script_or_style_or_asks_anyone_else(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    for place in ("", "/live", "/review", "/photos", "/parts", "/write-up", "/finish"):
        page = text_of(shop.get(f"/job/{job}{place}"))
        assert not re.search(r"<style|\sstyle=|\son[a-z]+=|javascript:", page), place
        assert re.findall(r"<script(?![^>]*\ssrc=)", page) == []
        outside = re.findall(r'(?:src|href|action)="(?:https?:)?//[^"]*"', page)
        assert outside == [], place


def test_cookies_are_closed_to_scripts_and_other_sites(lan: Shop) -> None:
    phone = device(lan)
    sign = sign_of(text_of(phone.get("/code")))
    answer = phone.post("/code", data={"csrf_token": sign, "code": lan.app.extensions["journal"].door.code})
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Lax" in cookie and "Expires=" in cookie


def test_the_theme_is_kept_and_leads_back_to_this_site_only(shop: Shop) -> None:
    sign = sign_of(text_of(shop.get("/code")))
    answer = shop.client.post("/looks", data={"csrf_token": sign, "theme": "dark", "back": "/phrases"})
    assert answer.location == "/phrases" and 'data-theme="dark"' in text_of(shop.get("/"))
    for back in ("//elsewhere.example/x", "https://elsewhere.example", "/\\elsewhere.example", "\\\\elsewhere.example"):
        assert shop.client.post("/looks", data={"csrf_token": sign, "theme": "x", "back": back}).location == "/"
    assert "data-theme" not in text_of(shop.get("/"))


def test_a_second_server_on_the_same_journal_keeps_its_devices(lan: Shop) -> None:
    phone = device(lan)
    give(phone, lan.app.extensions["journal"].door.code)
    again = make(lan.folder, lan=True)
    name = lan.app.config["SESSION_COOKIE_NAME"]
    cookie = phone.get_cookie(name)
    assert cookie is not None
    other = device(again)
    other.set_cookie(name, cookie.value)
    assert other.get("/").status_code == 200
