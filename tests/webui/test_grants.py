"""Links, devices and quotas at their very bounds, without a page in front of them."""

from __future__ import annotations

import socket
import sqlite3
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from journal.facts.codec import time_to_text
from webui import grants
from webui.door import Door, Entrance
from webui.grants import DeviceKind, Grants, Link, LinkKind
from webui.quotas import Quotas
from webui.running import ADDRESS_FILE, address_of_running, forget_address, keep_address

NOW = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
MS = timedelta(milliseconds=1)


class Clock(datetime):
    """A clock that stands still."""

    @classmethod
    def now(cls, tz: object = None) -> datetime:  # type: ignore[override]
        return NOW


@pytest.fixture
def given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Grants:
    monkeypatch.setattr(grants, "datetime", Clock)
    return Grants(tmp_path, bytes(32))


def date(given: Grants, table: str, column: str, id_: str, at: datetime) -> None:
    with sqlite3.connect(given._path) as db:
        db.execute(f"UPDATE {table} SET {column} = ? WHERE id = ?", [time_to_text(at), id_])


@pytest.mark.parametrize(
    ("at", "is_in"),
    [
        (NOW, True),
        (NOW - timedelta(hours=12) + MS, True),
        (NOW - timedelta(hours=12), False),
        (NOW + timedelta(minutes=1), True),
        (NOW + timedelta(minutes=1) + MS, False),
    ],
)
def test_a_device_is_in_for_twelve_hours_to_the_moment_and_listed_as_long(
    given: Grants, at: datetime, is_in: bool
) -> None:
    device = given.admit(DeviceKind.CODE, "tablet")
    date(given, "devices", "admitted_at", device, at)
    assert given.admitted(device) == (DeviceKind.CODE if is_in else None)
    assert [(each.id, each.name, each.until) for each in given.devices()] == (
        [(device, "tablet", at + timedelta(hours=12))] if is_in else []
    )


def test_devices_are_listed_newest_first_named_and_put_out_one_by_one(given: Grants) -> None:
    first, second = given.admit(DeviceKind.OWN), given.admit(name="phone")
    date(given, "devices", "admitted_at", first, NOW - timedelta(hours=1))
    assert [(d.id, d.kind) for d in given.devices()] == [(second, DeviceKind.CODE), (first, DeviceKind.OWN)]
    assert given.call(first, "office") and not given.call("made up", "x")
    assert [d.name for d in given.devices()] == ["phone", "office"]
    assert given.put_out(second) and not given.put_out("made up")
    assert given.admitted(second) is None and given.admitted(first) is DeviceKind.OWN
    assert given.admitted("made up") is None
    assert [d.id for d in given.devices()] == [first]


def test_a_link_opens_up_to_its_end_and_never_after_it_was_taken_back(given: Grants) -> None:
    link = given.give("job", LinkKind.DESK, timedelta(days=1))
    assert (link.made_at, link.expires_at) == (NOW, NOW + timedelta(days=1))
    for now, opens in ((NOW, True), (link.expires_at - MS, True), (link.expires_at, False)):
        assert link.open_at(now) is opens
    assert link.open_now() and given.open_links() == [link]
    assert not given.withdraw("another job", link.id) and not given.withdraw("job", "made up")
    assert given.withdraw("job", link.id)
    found = given.link(given.token(link), LinkKind.DESK)
    assert found is not None and found.withdrawn and not found.open_now()
    assert given.open_links() == [] and given.links("job", LinkKind.DESK) == [found]


def test_links_are_listed_newest_first_of_their_kind_while_they_open_something(given: Grants) -> None:
    desk, phone = given.give("job", LinkKind.DESK, timedelta(days=1)), given.give("job", LinkKind.PHONE, 2 * MS)
    other = given.give("other", LinkKind.DESK, timedelta(days=1))
    for link, age in ((desk, 2), (phone, 1), (other, 3)):
        date(given, "links", "made_at", link.id, NOW - timedelta(hours=age))
    assert [link.id for link in given.open_links()] == [phone.id, desk.id, other.id]
    assert [link.id for link in given.links("job", LinkKind.DESK)] == [desk.id]
    date(given, "links", "expires_at", phone.id, NOW)
    assert [link.id for link in given.open_links()] == [desk.id, other.id]


def test_only_the_address_that_was_given_out_opens(given: Grants, tmp_path: Path) -> None:
    link = given.give("job", LinkKind.DESK, timedelta(days=1))
    token = given.token(link)
    assert given.link(token, LinkKind.DESK) == link
    assert given.link(token, LinkKind.PHONE) is None
    for altered in (token[:-1], token + "A", "", "é" + token, token[1:], *{token[:-1] + c for c in "AEIM"} - {token}):
        assert given.link(altered, LinkKind.DESK) is None
    assert Grants(tmp_path, bytes(31) + b"x").link(token, LinkKind.DESK) is None, "another journal's key"
    never = Link("never", "job", LinkKind.DESK, NOW, NOW)
    assert given.link(given.token(never), LinkKind.DESK) is None


@pytest.mark.parametrize(
    ("comes", "a_minute"),
    [
        (lambda quotas, who: quotas.photo_comes(who), 40),
        (lambda quotas, who: quotas.answer_comes(who), 20),
        (lambda quotas, who: quotas.cue_comes(who), 60),
        (lambda quotas, who: quotas.sound_comes(who, 10), 120),
        (lambda quotas, who: quotas.bytes_come(who, 10_000_000), 20),
        (lambda quotas, who: quotas.bytes_come(who, 1), 200),
    ],
    ids=["photos", "answers", "cues", "ten seconds of sound", "ten megabytes", "a byte counts as a million"],
)
def test_so_much_comes_by_one_link_a_minute(comes, a_minute: int) -> None:
    quotas = Quotas()
    assert [comes(quotas, "one") for _ in range(a_minute + 1)] == [True] * a_minute + [False]
    assert comes(quotas, "another"), "each has its own"


@pytest.mark.parametrize(
    ("comes", "an_hour"),
    [
        (lambda quotas, who: quotas.photo_comes(who), 200),
        (lambda quotas, who: quotas.answer_comes(who), 200),
        (lambda quotas, who: quotas.cue_comes(who), 600),
        (lambda quotas, who: quotas.sound_comes(who, 50), 400),
        (lambda quotas, who: quotas.bytes_come(who, 5_000_000), 200),
    ],
    ids=["photos", "answers", "cues", "fifty seconds of sound", "five megabytes"],
)
def test_so_much_comes_by_one_link_an_hour(comes, an_hour: int, monkeypatch: pytest.MonkeyPatch) -> None:
    now, quotas = [1_800_000_000.0], Quotas()
    monkeypatch.setattr(time, "time", lambda: now[0])
    for _ in range(an_hour):
        assert comes(quotas, "one")
        now[0] += 3_500 / an_hour
    assert not comes(quotas, "one") and comes(quotas, "another")
    now[0] += 3_600
    assert comes(quotas, "one")


def test_so_many_wrong_codes_an_hour_by_one_device_and_by_all_before_the_code_is_longer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    now, told = [1_800_000_000.0], list[str]()
    monkeypatch.setattr(time, "time", lambda: now[0])
    door = Door(told.append)
    for device, tried in (("a", 20), ("b", 20), ("c", 20)):
        for _ in range(tried):
            assert door.try_code("1", device) is False
            now[0] += 15
        assert door.try_code("1", device) is None
    assert len(door.code) == 8 and told == []
    assert door.try_code("1", "d") is False
    assert len(door.code) == 12 and len(told) == 2 and told[0].startswith("Many wrong codes are being tried")
    code = door.code
    assert door.try_code("1", "e") is False and door.code == code and len(told) == 2, "told once"
    now[0] += 3_600
    assert door.try_code(code, "d") is True and len(door.code) == 8


def test_so_many_links_that_open_nothing_a_minute() -> None:
    door = Door(lambda text: None)
    for _ in range(20):
        assert door.may_try_link("a")
        door.wrong_link("a")
    assert not door.may_try_link("a") and door.may_try_link("b")


def test_what_is_refused_counts_for_nothing() -> None:
    quotas = Quotas()
    assert quotas.bytes_come("one", 199_000_000)
    assert not quotas.bytes_come("one", 2_000_000)
    assert quotas.bytes_come("one", 1_000_000)


def test_the_code_is_shown_in_fours_and_taken_however_it_is_typed() -> None:
    told: list[str] = []
    door = Door(told.append)
    code = door.code
    assert len(code) == 8 and code.isdigit() and door.shown == f"{code[:4]} {code[4:]}"
    assert door.try_code(f" {code[:3]}-{code[3:]} ", "a") is True
    assert told == [f"Code for the next device: {door.shown}"] and door.code != code
    assert door.try_code(code, "a") is False, "a code is good for one device"


def test_five_wrong_codes_a_minute_and_then_none_is_looked_at() -> None:
    door = Door(lambda text: None)
    assert [door.try_code("1", "a") for _ in range(6)] == [False] * 5 + [None]
    assert door.try_code(door.code, "a") is None and door.try_code(door.code, "b") is True


def test_the_address_to_enter_is_good_once_and_the_next_is_told_where_the_server_stands() -> None:
    told: list[str] = []
    entrance = Entrance(told.append)
    kept: list[str] = []
    entrance.keep = kept.append
    secret = entrance.secret
    assert not entrance.use("wrong") and told == [] and entrance.secret == secret
    assert entrance.use(secret) and not entrance.use(secret)
    assert told == [], "no server yet"
    assert entrance.at("http://127.0.0.1:1") == f"http://127.0.0.1:1/enter/{entrance.secret}" == kept[-1]
    assert entrance.use(entrance.secret)
    assert told == [f"For another browser of this machine: http://127.0.0.1:1/enter/{entrance.secret}"]
    assert kept[-1].endswith(entrance.secret)


def test_a_page_that_is_served_is_found_by_its_address_and_one_that_is_not_is_not(tmp_path: Path) -> None:
    assert address_of_running(tmp_path) == ""
    with socket.create_server(("127.0.0.1", 0)) as served:
        address = f"http://127.0.0.1:{served.getsockname()[1]}/enter/x"
        keep_address(tmp_path, address)
        answering = threading.Thread(target=served.accept, daemon=True)
        answering.start()
        assert address_of_running(tmp_path) == address
        answering.join()
    assert address_of_running(tmp_path) == "", "nobody listens there any more"
    assert (tmp_path / ADDRESS_FILE).stat().st_mode & 0o777 == 0o600
    for nonsense in ("", "no address", "http://127.0.0.1:99999/"):
        (tmp_path / ADDRESS_FILE).write_text(nonsense, encoding="utf-8")
        assert address_of_running(tmp_path) == ""
    forget_address(tmp_path)
    forget_address(tmp_path)
    assert not (tmp_path / ADDRESS_FILE).exists()
    keep_address(tmp_path / "gone", "x")
