"""Who is in stays in for its time and no longer, is listed, and can be put out; a shared machine lets nobody in."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from journal.facts.codec import time_to_text
from tests.webui.conftest import Shop, sign_of, text_of
from tests.webui.own import own_browser
from tests.webui.test_access import device, give
from webui.grants import ADMITTED_HOURS, Grants


def admitted_ago(folder: Path, ago: timedelta) -> None:
    """Have everything that is in been let in that long ago."""
    with closing(sqlite3.connect(folder / "page.db")) as db, db:
        db.execute("UPDATE devices SET admitted_at = ?", [time_to_text(datetime.now(UTC) - ago)])


def listed(shop: Shop) -> int:
    """How many devices the page lists, as a browser let in just now sees it; itself left out."""
    return text_of(own_browser(shop.app).get("/devices")).count(" let in at ") - 1


def test_an_admission_ends_with_its_time_however_much_it_is_used(lan: Shop) -> None:
    phone = device(lan)
    give(phone, lan.app.extensions["journal"].door.code)
    for minutes in (1, 60 * ADMITTED_HOURS - 1):
        admitted_ago(lan.folder, timedelta(minutes=minutes))
        assert phone.get("/").status_code == 200 and lan.get("/").status_code == 200
    assert listed(lan) == 2
    admitted_ago(lan.folder, timedelta(hours=ADMITTED_HOURS, minutes=1))
    assert phone.get("/").location == "/code" and lan.get("/").location == "/code"
    assert listed(lan) == 0


def test_an_admission_by_a_clock_that_was_set_back_since_does_not_last_for_years(lan: Shop) -> None:
    phone = device(lan)
    give(phone, lan.app.extensions["journal"].door.code)
    admitted_ago(lan.folder, timedelta(days=-400))
    assert phone.get("/").location == "/code"


def test_whatever_gets_in_is_listed_and_can_be_put_out(lan: Shop) -> None:
    devices = [device(lan, f"192.0.2.{n}") for n in (7, 8, 9)]
    for phone in devices:
        give(phone, lan.app.extensions["journal"].door.code)
    devices.append(own_browser(lan.app))
    page = text_of(lan.get("/devices"))
    assert page.count(" let in at ") == 5 and page.count("<strong>Browser of this machine") == 2
    mine = re.search(r'\(this one\).*?action="/devices/([^/]+)/out"', page, re.DOTALL)
    assert mine is not None
    for other in re.findall(r'action="(/devices/([^/]+)/out)"', page):
        if other[1] != mine[1]:
            lan.post(other[0])
    assert all(phone.get("/").location == "/code" for phone in devices)
    assert lan.get("/").status_code == 200
    lan.post(f"/devices/{mine[1]}/out")
    assert lan.get("/").location == "/code"


def test_a_device_that_was_let_in_sees_no_code_and_puts_out_only_itself(lan: Shop) -> None:
    door = lan.app.extensions["journal"].door
    phone, other = device(lan), device(lan, "192.0.2.8")
    give(phone, door.code)
    give(other, door.code)
    assert door.shown in text_of(lan.get("/devices"))
    page = text_of(phone.get("/devices"))
    assert door.shown not in page and door.code not in page
    outs = re.findall(r'action="(/devices/[^"]+/out)"', text_of(lan.get("/devices")))
    assert len(outs) == 3 and re.findall(r'action="(/devices/[^"]+/out)"', page) == [o for o in outs if o in page]
    assert page.count('<button class="grave">Put it out') == 1
    sign = sign_of(page)
    answers = [phone.post(address, data={"csrf_token": sign}).status_code for address in outs]
    assert sorted(answers) == [303, 403, 403]
    assert phone.get("/").location == "/code" and other.get("/").status_code == 200
    assert "device put out by another" in lan.refused()


def test_devices_let_in_before_kinds_were_told_apart_are_devices(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "page.db")) as db, db:
        db.execute("CREATE TABLE devices (id TEXT PRIMARY KEY, admitted_at TEXT, withdrawn INTEGER DEFAULT 0)")
        db.execute("INSERT INTO devices VALUES ('old', ?, 0)", [time_to_text(datetime.now(UTC))])
    assert [str(found.kind) for found in Grants(tmp_path, b"k" * 32).devices()] == ["code"]


def test_two_journals_on_one_machine_leave_each_others_browser_in(shop: Shop, tmp_path: Path) -> None:
    from tests.webui.conftest import make

    other = make(tmp_path / "another journal")
    names = {made.app.config["SESSION_COOKIE_NAME"] for made in (shop, other)}
    assert len(names) == 2, "a browser keeps one cookie of a name for all ports of a machine"


def test_wrong_codes_from_many_addresses_keep_nobody_out_and_flood_no_terminal(lan: Shop) -> None:
    door = lan.app.extensions["journal"].door
    before, tried = len(lan.lines), 0
    for n in range(120):
        thief = device(lan, f"198.51.100.{n}")
        tried += [give(thief, "00000000000") for _ in range(5)].count(403)
        if n in (3, 30, 119):
            assert give(device(lan, f"192.0.2.{n}"), door.shown) == 303, "whoever knows the code gets in"
    assert tried == 600
    assert len(lan.lines[before:]) <= 2 + 3, "two lines for the attack, and one for each code drawn"
    assert len(door.code) == 12, "too long to be guessed by many together"


def test_the_code_is_short_again_once_it_is_quiet(lan: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    door = lan.app.extensions["journal"].door
    for n in range(61):
        door.try_code("1", f"device {n}")
    assert len(door.code) == 12
    now = time.time()
    monkeypatch.setattr(time, "time", lambda: now + 3700)
    assert door.try_code(door.code, "another") and len(door.code) == 8


def test_what_the_log_remembers_of_attacks_has_an_end(lan: Shop) -> None:
    from webui.log import MOST_SEEN

    log = lan.app.extensions["journal"].log
    assert all(log.is_news("wrong code", f"device {n}") for n in range(MOST_SEEN + 50))
    assert not log.is_news("wrong code", f"device {MOST_SEEN}")
    assert len(log._seen) <= MOST_SEEN + 1
