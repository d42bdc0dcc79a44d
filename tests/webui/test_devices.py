"""The page of devices: the way in for the next, what gets in now and for how long, and putting out."""

from __future__ import annotations

import contextlib
import html
import io
import re
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest

from journal.facts import JobClosed
from journal.record.spool import Spool
from tests.webui.browser import PHONE, opened, serving, window
from tests.webui.conftest import Shop, make, sign_of, text_of
from tests.webui.test_access import device, give
from tests.webui.test_desk import link_of
from tests.webui.test_handset import put
from webui.grants import ADMITTED_HOURS, DeviceKind, LinkKind
from webui.shop import Secure


def named(lan: Shop, name: str) -> Any:
    """A phone that gave the code and its name with it."""
    phone = device(lan)
    sign = sign_of(text_of(phone.get("/code")))
    code = lan.app.extensions["journal"].door.code
    assert phone.post("/code", data={"csrf_token": sign, "code": code, "name": name}).status_code == 303
    return phone


def test_the_code_is_scanned_and_lets_the_phone_in_to_where_it_is_to_be(
    tmp_path: Path, chromium: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The drawing is read back by an independent reader (zxing-cpp), not by what drew it."""
    zxing = pytest.importorskip("zxingcpp", reason="zxing-cpp is not installed")
    from PIL import Image

    from webui import access

    monkeypatch.setattr(access, "lan_address", lambda: "127.0.0.1")
    lan = make(tmp_path / "journal", lan=True)
    job = lan.open()
    with serving(lan) as address:
        with window(chromium, color_scheme="dark") as page:
            page.goto(f"{address}/devices?job={job}")
            assert "Orchard pump 2" in page.locator("main").inner_text()
            with Image.open(io.BytesIO(page.screenshot(full_page=True))) as screen:
                (read,) = zxing.read_barcodes(screen.convert("L"))
            assert read.text.startswith(page.locator(".address").first.inner_text())
        with opened(chromium, PHONE, known=False) as context:
            phone = context.new_page()
            asked: list[str] = []
            phone.on("request", lambda request: asked.append(request.url))
            phone.goto(read.text)
            phone.get_by_label("What the shop calls this device").fill("Bay 2 phone")
            phone.get_by_role("button", name="Let this device in").click()
            phone.locator("#state").wait_for()
            assert phone.url == f"{address}/job/{job}/handset"
            code = read.text.partition("#")[2]
            assert len(code) == 8 and not any(code in url.partition("#")[0] for url in asked), "in no address asked for"
    assert [each.name for each in lan.app.extensions["journal"].grants.devices()] == ["Bay 2 phone", ""]


def test_the_way_in_is_shown_to_whoever_started_the_journal_and_to_nobody_else(lan: Shop) -> None:
    at = lan.app.extensions["journal"]
    at.secure = Secure(8471, "AA:BB:CC")
    own, phone = text_of(lan.get("/devices")), text_of(named(lan, "").get("/devices"))
    assert at.door.shown in text_of(lan.get("/devices")) and "<svg" in own and "AA BB CC" in own and ":8471/" in own
    assert 'class="qr"' not in phone and at.door.shown not in phone and "Links that are out" not in phone


def test_a_device_is_named_by_itself_or_by_whoever_started_the_journal(lan: Shop) -> None:
    phone, other = named(lan, "  Bay\t2 \u202ephone "), named(lan, "x" * 99)
    grants = lan.app.extensions["journal"].grants
    second, first = (each for each in grants.devices() if each.kind is DeviceKind.CODE)
    assert (first.name, second.name) == ("Bay 2 phone", "x" * 40)
    sign = sign_of(text_of(phone.get("/code")))
    assert phone.post(f"/devices/{second.id}/name", data={"csrf_token": sign, "name": "mine"}).status_code == 403
    assert phone.post(f"/devices/{first.id}/name", data={"csrf_token": sign, "name": "<b>Mine"}).status_code == 303
    assert "&lt;b&gt;Mine" in text_of(other.get("/devices"))
    lan.post(f"/devices/{first.id}/name", name="Bay 3")
    assert "Bay 3" in text_of(lan.get("/devices"))
    assert lan.post("/devices/nobody/name", name="x").status_code == 404


def test_what_is_listed_is_what_gets_in_for_as_long_as_it_does(tmp_path: Path) -> None:
    made = make(tmp_path / "journal", lan=True)
    at = made.app.extensions["journal"]
    phone = named(made, "Bay 2 phone")
    until = (datetime.now(UTC) + timedelta(hours=ADMITTED_HOURS)).strftime("%Y-%m-%d")
    page = text_of(made.get("/devices"))
    assert "Bay 2 phone" in page and f"gets in until {until}" in page
    at.lan = False
    assert phone.get("/").location == "/code" and "Bay 2 phone" not in text_of(made.get("/devices"))
    at.close()


def test_a_phones_link_to_a_closed_job_is_listed_no_more_as_it_opens_nothing(shop: Shop) -> None:
    job = shop.open()
    link = link_of(shop, job, LinkKind.PHONE)
    assert "Phone, for photos: Orchard pump 2" in text_of(shop.get("/devices"))
    shop.enter(job, JobClosed("unknown"))
    assert shop.app.test_client().get(link).status_code == 410
    assert "Phone, for photos" not in text_of(shop.get("/devices"))


def test_putting_a_phone_out_ends_its_microphone(lan: Shop) -> None:
    job, phone = lan.open(), named(lan, "Bay 2 phone")
    assert put(phone, job, 0, b"abcd").json["have"] == 2
    assert "is the microphone of\n      Orchard pump 2 now" in html.unescape(text_of(lan.get("/devices")))
    out = re.search(r'action="(/devices/[^"]+/out)"', text_of(lan.get("/devices")).partition("Bay 2 phone")[2])
    assert out is not None
    page = text_of(lan.post(out[1]))
    assert "Bay 2 phone" not in page and "is the microphone" not in page
    assert put(phone, job, 2, b"ef").status_code == 403
    (stream,) = Spool(lan.folder, job).streams()
    assert stream.ended and stream.have == 2, "what it had sent is heard; nothing is waited for"


def test_a_code_leads_to_no_other_site(lan: Shop) -> None:
    for to in ("//elsewhere.example/x", "https://elsewhere.example", "/\\elsewhere.example"):
        phone = device(lan)
        sign = sign_of(text_of(phone.get("/code")))
        code = lan.app.extensions["journal"].door.code
        assert phone.post("/code", data={"csrf_token": sign, "code": code, "to": to}).location == "/"


def test_a_list_of_devices_made_before_they_had_names_is_taken_over(lan: Shop) -> None:
    import sqlite3

    phone = device(lan)
    assert give(phone, lan.app.extensions["journal"].door.code) == 303
    with sqlite3.connect(lan.folder / "page.db") as db:
        db.execute("ALTER TABLE devices DROP COLUMN name")
    again = make(lan.folder, lan=True)
    assert [each.name for each in again.app.extensions["journal"].grants.devices()].count("") >= 2
    again.app.extensions["journal"].close()


def switched(page: Any, words: str) -> None:
    """A button of the page of devices is pressed, and the page there again."""
    page.get_by_role("button", name=words).click()
    page.locator("main").wait_for()


@contextmanager
def bare(folder: Path) -> Iterator[tuple[str, str]]:
    """The journal as an icon starts it: for this machine only; its address, and the one that lets a browser in."""
    command = [sys.executable, "-m", "journal", "--journal", str(folder), "serve", "--port", "0"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    try:
        assert process.stdout is not None
        found = re.search(r"(http://127\.0\.0\.1:\d+)/enter/[\w-]+", process.stdout.readline())
        assert found is not None
        yield found[1], found[0]
    finally:
        process.kill()
        process.communicate()


def answers(address: str) -> bool:
    """Whether anything listens there."""
    with (
        contextlib.suppress(OSError),
        socket.create_connection((urlsplit(address).hostname, urlsplit(address).port), 5),
    ):
        return True
    return False


def test_the_shops_network_is_let_in_and_kept_out_on_the_page(tmp_path: Path, chromium: Any) -> None:
    """Another address of this machine stands for the network's: 127.0.0.2 (RFC 1122: all of 127/8 leads back here)."""
    if sys.platform != "linux":
        pytest.skip("only Linux has all of 127/8 without setting it up")
    with bare(tmp_path / "journal") as (address, enter), opened(chromium, PHONE, known=False) as context:
        page = context.new_page()
        page.goto(enter)
        page.goto(f"{address}/devices")
        elsewhere = address.replace("127.0.0.1", "127.0.0.2")
        assert not answers(elsewhere) and page.locator(".qr").count() == 0
        for _ in range(2):
            switched(page, "Let devices of the shop's network in")
            code = page.locator(".huge").inner_text()
            secure = page.locator(".address").nth(1).inner_text()
            assert answers(elsewhere) and answers(f"https://127.0.0.2:{urlsplit(secure).port}")
            with opened(chromium, PHONE, known=False) as other:
                phone = other.new_page()
                phone.goto(elsewhere)
                phone.get_by_label("The digits of the code").fill(code)
                phone.get_by_role("button", name="Let this device in").click()
                phone.get_by_role("heading", name="Jobs").wait_for()
                page.reload()
                assert page.locator(".huge").inner_text() != code
                switched(page, "Keep all other devices out")
                assert not answers(elsewhere) and page.locator(".qr").count() == 0
                assert not answers(f"https://127.0.0.2:{urlsplit(secure).port}")
                phone.goto(address)
                assert phone.url.startswith(f"{address}/code"), "what was let in by a code is out"


def test_the_network_is_switched_by_whoever_started_the_journal_and_by_nobody_else(lan: Shop) -> None:
    phone = named(lan, "")
    lan.app.extensions["journal"].network = switch = Switch()
    sign = sign_of(text_of(phone.get("/code")))
    assert phone.post("/devices/network", data={"csrf_token": sign, "act": "shut"}).status_code == 403
    assert "/devices/network" not in text_of(phone.get("/devices"))
    assert "/devices/network" in text_of(lan.get("/devices")) and switch.told == []
    lan.post("/devices/network", act="shut")
    lan.post("/devices/network", act="open")
    assert switch.told == ["shut", "open", "tell"]


class Switch:
    """Stands in for the network: keeps what it was told."""

    def __init__(self) -> None:
        self.told: list[str] = []
        self.open, self.shut, self.tell = (
            lambda word=word: self.told.append(word) for word in ("open", "shut", "tell")
        )


MOBILE = "Mozilla/5.0 (Linux; Android 14) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/120.0.0.0 Mobile Safari/537.36"
"""A phone's browser, as it names itself (from memory)."""


def test_a_phone_that_gave_the_code_lands_where_it_was_to_go_or_on_the_job_in_hand(lan: Shop) -> None:
    earlier, job = lan.open("Chipper 7"), lan.open()

    def lands(first: str, agent: str) -> str:
        phone = device(lan)
        asked = phone.get(first, headers={"User-Agent": agent}).location
        sign = sign_of(text_of(phone.get(asked)))
        to = re.search(r'name="to" value="([^"]*)"', text_of(phone.get(asked)))
        assert to is not None
        form = {"csrf_token": sign, "code": lan.app.extensions["journal"].door.code, "to": html.unescape(to[1])}
        return str(phone.post("/code", data=form, headers={"User-Agent": agent}).location)

    assert lands("/", MOBILE) == f"/job/{job}/handset"
    assert lands("/", "Mozilla/5.0 (X11; Linux x86_64; rv:120.0) Gecko/20100101 Firefox/120.0") == "/"
    assert lands(f"/job/{earlier}/photos?x=1", MOBILE) == f"/job/{earlier}/photos?x=1"
    assert lands(f"/job/{earlier}/handset", "") == f"/job/{earlier}/handset"
    assert "Microphone and camera of Orchard pump 2" in text_of(named(lan, "").get("/"))
    assert "Microphone and camera of" not in text_of(lan.get("/")), "the shop's own browser is none"
    for each in (earlier, job):
        lan.enter(each, JobClosed("unknown"))
    assert lands("/", MOBILE) == "/" and "Microphone and camera of" not in text_of(named(lan, "").get("/"))
