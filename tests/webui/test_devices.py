"""The page of devices: the way in for the next, what gets in now and for how long, and putting out."""

from __future__ import annotations

import html
import io
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

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
