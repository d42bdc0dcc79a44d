"""Attacks: each is tried, none gets through, and each is written down once."""

from __future__ import annotations

import io
import string
import struct
import zipfile
import zlib
from datetime import timedelta

import pytest

from journal.facts import Note, PartWanted
from tests.webui.conftest import Shop, jpeg, sign_of, text_of
from tests.webui.test_access import device, give
from tests.webui.test_desk import link_of
from webui.grants import LinkKind

SCRIPT = "<script>alert(1)</script>"
ATTRIBUTE = '"><img src=x onerror=alert(1)>'


def test_script_in_words_unit_and_file_name_is_only_text(shop: Shop) -> None:
    job = shop.open(unit=f"Pump {SCRIPT}", complaint=ATTRIBUTE)
    shop.enter(job, Note(SCRIPT), Note(ATTRIBUTE), PartWanted(ATTRIBUTE, cylinder=3, reason=SCRIPT), heard=ATTRIBUTE)
    shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(jpeg()), "<img src=x onerror=alert(1)>.jpg")])
    sha = shop.job(job).pictures[0].photo.body.sha256
    shop.post(f"/job/{job}/photos/{sha}/place", subject=ATTRIBUTE)
    shop.post(f"/job/{job}/photos/{sha}/mark", shape="ring", x0="1", y0="1", x1="9", y1="9", text=SCRIPT)
    shop.post(f"/job/{job}/write-up/cause", text=SCRIPT)
    entry = shop.job(job).entries[1].id
    places = ["", "/live", "/review", "/photos", f"/photos/{sha}", f"/photos/pair?left={sha}&right={sha}", "/parts",
              "/write-up", "/write-up/cause", "/finish", f"/entry/{entry}"]  # fmt: skip
    pages = [
        text_of(shop.get(address)) for address in ["/", "/?text=%3Cscript%3E", *(f"/job/{job}{p}" for p in places)]
    ]
    pages += [text_of(shop.get(link_of(shop, job))), text_of(shop.get(link_of(shop, job, LinkKind.PHONE)))]
    for page in pages:
        assert "<script>alert" not in page and "<img src=x" not in page
    assert sum("&lt;script&gt;alert(1)" in page for page in pages) >= 8, "the words themselves are shown"


@pytest.mark.parametrize(
    "place",
    [
        "clip/../../../journal.db", "clip/..%2f..%2fjournal.db", "clip/%2e%2e/%2e%2e/page.key", "clip//etc/passwd",
        "photo/../../page.key/page", "photo/..%2f..%2fpage.key/page", "clip/..%5c..%5cpage.key.flac",
        f"clip/{'a' * 64}.flac", f"photo/{'A' * 64}/page", f"photo/{'0' * 64}/original", "photo/%00/page",
    ],
)  # fmt: skip
def test_no_address_of_a_clip_or_photo_leads_out_of_the_job(shop: Shop, place: str) -> None:
    job = shop.open()
    key = (shop.folder / "page.key").read_bytes()
    answer = shop.get(f"/job/{job}/{place}")
    assert answer.status_code == 404 and key not in answer.data and b"SQLite" not in answer.data
    assert [line["status"] for line in shop.log()].count(404) == 1


def test_a_post_from_another_site_does_nothing(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    count = len(shop.job(job).entries)
    sign = sign_of(text_of(shop.get("/code")))
    bad = [
        ({}, {}, "form without this page's sign"),
        ({"csrf_token": "made up"}, {}, "form without this page's sign"),
        ({"csrf_token": sign}, {"Origin": "http://elsewhere.example"}, "post from another site"),
        ({"csrf_token": sign}, {"Origin": "null"}, "post from another site"),
        ({"csrf_token": sign}, {"Sec-Fetch-Site": "cross-site"}, "post from another site"),
    ]
    for form, headers, why in bad:
        before = len(shop.refused())
        answer = shop.client.post(f"/job/{job}/add", data={"words": "baseline thirty", **form}, headers=headers)
        assert answer.status_code in (400, 403)
        assert shop.refused()[before:] == [why], "written down once"
    assert len(shop.job(job).entries) == count
    assert shop.client.post(f"/job/{job}/add", data={"words": "baseline thirty", "csrf_token": sign}).status_code == 303


def test_a_foreign_name_that_resolves_here_gets_nothing(shop: Shop, lan: Shop) -> None:
    for made in (shop, lan):
        assert made.get("/", headers={"Host": "journal.elsewhere.example"}).status_code == 403
        assert made.refused()[-1] == "foreign host name"


def test_another_jobs_photo_does_not_come_through_a_desk_link(shop: Shop) -> None:
    mine, other = shop.open(), shop.open("Chipper 7")
    shop.post(f"/job/{mine}/photos", photos=[(io.BytesIO(jpeg(seed=1)), "a.jpg")])
    shop.post(f"/job/{other}/photos", photos=[(io.BytesIO(jpeg(seed=2)), "b.jpg")])
    own, secret = (shop.job(job).pictures[0].photo.body.sha256 for job in (mine, other))
    link = link_of(shop, mine)
    assert shop.get(f"{link}/photo/{own}/page").status_code == 200
    assert shop.get(f"{link}/photo/{secret}/page").status_code == 404
    assert shop.get(f"/job/{mine}/photo/{secret}/page").status_code == 404
    assert secret not in text_of(shop.get(link)) and "Chipper" not in text_of(shop.get(link))
    assert [line["page"] for line in shop.log() if line["status"] == 404] == ["desk.photo", "files.photo"]


def test_a_desk_link_on_the_network_opens_its_job_and_no_other_page(lan: Shop) -> None:
    job = lan.open()
    clerk = device(lan)
    assert clerk.get(link_of(lan, job)).status_code == 200
    for address in ("/", f"/job/{job}", f"/job/{job}/review", f"/job/{job}/events", f"/job/{job}/pack", "/devices"):
        assert clerk.get(address).location == ("/code" if address == "/" else f"/code?to={address}")
    before = len(lan.refused())
    sign = sign_of(text_of(clerk.get("/code")))
    assert clerk.post(f"/job/{job}/add", data={"csrf_token": sign, "words": "baseline thirty"}).status_code == 403
    assert lan.refused()[before:] == ["no code given"]


def test_no_address_but_the_one_given_out_opens_a_link(shop: Shop) -> None:
    """Base 64 leaves bits over at the end of a signature of 160 bits (RFC 4648, section 3.5): they must not be free."""
    grants = shop.app.extensions["journal"].grants
    letters = string.ascii_uppercase + string.ascii_lowercase + string.digits + "-_"
    good = link_of(shop, shop.open()).removeprefix("/desk/")
    opening = [letter for letter in letters if grants.link(good[:-1] + letter, LinkKind.DESK) is not None]
    assert opening == [good[-1]]


def test_expired_altered_and_withdrawn_links_open_nothing(shop: Shop) -> None:
    job = shop.open(unit="Orchard pump 2")
    grants = shop.app.extensions["journal"].grants
    good = link_of(shop, job)
    token = good.removeprefix("/desk/")
    withdrawn = grants.give(job, LinkKind.DESK, timedelta(days=1))
    grants.withdraw(job, withdrawn.id)
    tried = {
        link_of(shop, job, valid=timedelta(seconds=-1)): (410, "expired link"),
        f"/desk/{grants.token(withdrawn)}": (410, "withdrawn link"),
        f"/desk/{token[:-1]}{'A' if token[-1] != 'A' else 'B'}": (404, "link never given out or altered"),
        f"/desk/x{token}": (404, "link never given out or altered"),
        f"/desk/{token.split('.')[0]}": (404, "link never given out or altered"),
        "/desk/%ff%fe.x": (404, "link never given out or altered"),
    }
    for address, (status, why) in tried.items():
        before = len(shop.refused())
        answer = shop.get(address)
        assert answer.status_code == status and "Orchard" not in text_of(answer), address
        assert shop.refused()[before:] == [why]
        assert shop.post(address, price="4").status_code == status
    assert shop.get(good).status_code == 200


def test_links_cannot_be_guessed_in_a_row(shop: Shop) -> None:
    job = shop.open()
    statuses = [shop.get(f"/desk/guess{n}.AAAAAAAAAAAAAAAAAAAAAAAAAAA").status_code for n in range(200)]
    assert statuses.count(404) <= 25 and set(statuses) == {404, 429}
    assert shop.refused().count("too many wrong links") == 1
    assert shop.get(link_of(shop, job)).status_code == 429, "also a good one, for a minute"


def giant_png(side: int = 14_200) -> bytes:
    """A PNG of over 200 megapixels in a few hundred kilobytes."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows = zlib.compress(b"\0" * (side * ((side + 7) // 8 + 1)), 9)
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0))
    return b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


def test_what_is_no_ordinary_photo_is_refused_in_one_line_and_leaves_nothing(shop: Shop) -> None:
    job = shop.open()
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as pack:
        pack.writestr("x.jpg", jpeg())
    page = b"<html><script>alert(1)</script></html>"
    files = {"huge.png": giant_png(), "pack.jpg": held.getvalue(), "page.jpg": page, "svg.jpg": b"<svg onload='x()'/>"}
    for name, data in files.items():
        answer = shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(data), name)])
        assert f"{name} " in text_of(answer) and "Not done:" in text_of(answer), name
    assert shop.job(job).pictures == ()
    assert not [path for path in (shop.folder / "photos").rglob("*") if path.is_file()]
    assert shop.refused().count("file that is no photo") == len(files)


def test_more_than_a_form_may_hold_is_refused_before_it_is_read(shop: Shop) -> None:
    job = shop.open()
    answer = shop.client.post(f"/job/{job}/add", data={"words": "x" * 400_000})
    assert answer.status_code == 413 and "larger than this page takes" in text_of(answer)
    assert shop.refused()[-1] == "form too large"


def test_a_thousand_wrong_codes_let_nobody_in(lan: Shop) -> None:
    thief = device(lan, "192.0.2.99")
    sign = sign_of(text_of(thief.get("/code")))
    door = lan.app.extensions["journal"].door
    statuses = []
    for n in range(1000):
        assert f"{n:08d}" != door.code
        statuses.append(thief.post("/code", data={"csrf_token": sign, "code": f"{n:08d}"}).status_code)
    assert statuses.count(403) == 5 and statuses.count(429) == 995
    assert thief.post("/code", data={"csrf_token": sign, "code": door.code}).status_code == 429, "nor the right one now"
    assert thief.get("/").location == "/code"
    assert lan.refused() == ["wrong code", "too many wrong codes"], "the row of them is written down once"
    assert give(device(lan, "192.0.2.50"), door.code) == 303, "another device is not kept out by it"


def test_many_devices_guessing_together_draw_a_new_code(lan: Shop) -> None:
    door = lan.app.extensions["journal"].door
    first = door.code
    for n in range(15):
        for _ in range(5):
            door.try_code("0000000" if first != "00000000" else "1", f"device {n}")
    assert door.code != first


def test_the_log_tells_neither_who_nor_about_what(lan: Shop) -> None:
    job = lan.open("Orchard pump 2")
    phone = device(lan, "192.0.2.77")
    phone.get(f"/job/{job}")
    lan.get(f"/job/{job}/review")
    lan.get(link_of(lan, job))
    text = (lan.folder / "page.log").read_text(encoding="utf-8")
    for secret in ("192.0.2.77", "127.0.0.1", job, "Orchard", "Wren", "pump", "/desk/"):
        assert secret not in text
    assert [line["page"] for line in lan.log()] == ["access.enter", "job.overview", "review.review", "desk.view"]


def test_a_fault_of_ours_is_a_plain_page_and_a_line_that_names_where(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    import webui.board

    def broken() -> None:
        raise ZeroDivisionError("about Orchard pump 2")

    monkeypatch.setattr(webui.board, "shop", broken)
    shop.app.testing = False
    answer = shop.get("/")
    assert answer.status_code == 500 and "Traceback" not in text_of(answer) and "ZeroDivision" not in text_of(answer)
    broke = next(line for line in shop.log() if line["event"] == "broke")
    assert broke["error"] == "ZeroDivisionError" and "Orchard" not in str(broke)
