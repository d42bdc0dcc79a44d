"""The phone as the camera: where the next photo goes is so at any moment, and nothing leads away from the page."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import pytest

from journal.facts import PhotoCue
from tests.webui.browser import PHONE, opened, serving, window
from tests.webui.conftest import Shop, jpeg, make, sign_of, text_of
from tests.webui.test_access import device
from tests.webui.test_desk import link_of
from webui import access, quotas
from webui.grants import LinkKind

SOON = 4_000
"""Milliseconds in which what happens must be on the page; it asks every second, on an idle machine."""


def phone_of(shop: Shop) -> tuple[str, str, Any]:
    """A job, the address of a phone's link to it, and a browser that has nothing but that."""
    job = shop.open()
    return job, link_of(shop, job, LinkKind.PHONE), shop.app.test_client()


def posted(client: Any, address: str, asked: str = "text/html", **form: Any) -> Any:
    """A form sent as the page sends it, not followed."""
    sign = sign_of(text_of(client.get("/code")))
    return client.post(address, data={"csrf_token": sign, **form}, headers={"Accept": asked})


def test_an_open_page_follows_the_spoken_cue(shop: Shop, chromium: Any) -> None:
    job = shop.open()
    shop.say(job, "idle cut out test")
    link = link_of(shop, job, LinkKind.PHONE)
    with serving(shop) as address, window(chromium, PHONE, known=False) as page:
        page.goto(address + link)
        assert page.locator("#landing").inner_text() == "cut-out run 1"
        shop.say(job, "photo overhead cylinder three")
        page.locator("#landing", has_text="overhead, cylinder 3").wait_for(timeout=SOON)
        assert page.locator("#cue button[aria-pressed=true]").inner_text().endswith("3")
        assert page.get_by_label("What the next photo shows").input_value() == "overhead"


def test_big_buttons_say_where_the_next_photos_go_and_the_spoken_word_after_them_counts(
    shop: Shop, chromium: Any, tmp_path: Path
) -> None:
    job = shop.open()
    link = link_of(shop, job, LinkKind.PHONE)
    for seed in (1, 2, 3):
        (tmp_path / f"{seed}.jpg").write_bytes(jpeg(seed=seed))
    with serving(shop) as address, window(chromium, PHONE, known=False, has_touch=True) as page:
        page.goto(address + link)
        for button in page.locator(".cylinders button").all():
            box = button.bounding_box()
            assert box["height"] >= 48 and box["width"] >= 48
        page.get_by_role("button", name="Cylinder 4").tap()
        page.get_by_text("choose first what the photo shows").wait_for(timeout=SOON)
        assert not any(isinstance(entry.body, PhotoCue) for entry in shop.job(job).entries), "nothing guessed"
        page.get_by_label("What the next photo shows").select_option("overhead")
        page.locator("#landing", has_text="overhead").wait_for(timeout=SOON)
        page.get_by_role("button", name="Cylinder 4").tap()
        page.locator("#landing", has_text="overhead, cylinder 4").wait_for(timeout=SOON)
        page.evaluate("window.sameAsBefore = true")
        page.locator("#kept").set_input_files([tmp_path / "1.jpg", tmp_path / "2.jpg"])
        page.locator("#sent img").nth(1).wait_for(timeout=15_000)
        assert page.locator("#sent").inner_text().count("overhead, cylinder 4") == 2
        shop.say(job, "photo of blow by")
        page.locator("#landing", has_text="blow-by").wait_for(timeout=SOON)
        page.locator("#camera").set_input_files(tmp_path / "3.jpg")
        page.locator("#sent img").nth(2).wait_for(timeout=15_000)
        page.locator("#sent img").first.evaluate("image => image.decode()")
        assert page.evaluate("document.activeElement.id") == "camera", "back to the camera"
        assert page.evaluate("window.sameAsBefore"), "without leaving the page"
    places = [(p.photo.body.subject, p.photo.body.cylinder) for p in shop.job(job).pictures]
    assert places == [("overhead", 4), ("overhead", 4), ("blow-by", None)]


def test_what_is_no_photo_or_too_large_is_told_on_the_same_page_and_loses_no_other(
    shop: Shop, chromium: Any, tmp_path: Path
) -> None:
    job = shop.open()
    link = link_of(shop, job, LinkKind.PHONE)
    (tmp_path / "notes.jpg").write_bytes(b"not a photo")
    (tmp_path / "good.jpg").write_bytes(jpeg())
    with serving(shop) as address, window(chromium, PHONE, known=False) as page:
        page.goto(address + link)
        page.locator("#kept").set_input_files([tmp_path / "notes.jpg", tmp_path / "good.jpg"])
        page.get_by_text("notes.jpg is not a photo").wait_for(timeout=15_000)
        page.locator("#sent img").wait_for(timeout=15_000)
        assert page.url == address + link and len(shop.job(job).pictures) == 1


def test_a_photo_over_the_limit_is_told_before_it_is_sent(
    shop: Shop, chromium: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from webui import camera

    monkeypatch.setattr(camera, "MOST_BYTES", 1_000_000)
    job = shop.open()
    (tmp_path / "huge.jpg").write_bytes(jpeg() + bytes(1_000_000))
    with serving(shop) as address, window(chromium, PHONE, known=False) as page:
        sent = []
        page.on("request", lambda request: sent.append(request.method))
        page.goto(address + link_of(shop, job, LinkKind.PHONE))
        page.locator("#camera").set_input_files(tmp_path / "huge.jpg")
        page.get_by_text("huge.jpg is larger than 1 MB: send a smaller copy").wait_for(timeout=SOON)
        assert "POST" not in sent


@pytest.mark.parametrize("asked", ["text/html", "application/json"])
def test_a_form_that_is_too_large_is_told_on_the_page_it_came_from(
    shop: Shop, monkeypatch: pytest.MonkeyPatch, asked: str
) -> None:
    monkeypatch.setattr(access, "PHOTO_FORM_BYTES", 10_000)
    job, link, phone = phone_of(shop)
    for client, address in ((phone, link), (shop.client, f"/job/{job}/photos")):
        answer = posted(client, address, asked, photos=[(io.BytesIO(jpeg(2000, 1500)), "a.jpg")])
        if asked == "text/html":
            assert answer.status_code == 303 and answer.location == address
            assert "send fewer, or a smaller one" in text_of(client.get(address))
        else:
            assert answer.status_code == 413 and answer.json["told"][0][0] == "danger"
        assert shop.refused()[-1] == "form too large"
    assert shop.job(job).pictures == ()


def test_without_scripts_photos_and_places_lead_back_to_the_page(shop: Shop) -> None:
    job, link, phone = phone_of(shop)
    answer = posted(phone, f"{link}/cue", subject="overhead", cylinder="3")
    assert answer.status_code == 303 and answer.location == link
    assert "the next photos go to overhead, cylinder 3" in text_of(phone.get(link))
    pictures = [(io.BytesIO(jpeg(seed=seed)), f"{seed}.jpg") for seed in (1, 2)]
    assert posted(phone, link, photos=pictures).location == link
    page = text_of(phone.get(link))
    assert page.count("/photo/") == 2 and page.count("<span>overhead, cylinder 3</span>") == 2
    assert posted(phone, link).location == link
    assert "no photo was sent: choose one first" in text_of(phone.get(link))
    for form in ({"subject": "overhead", "cylinder": "9"}, {"subject": "", "cylinder": "3"}):
        assert posted(phone, f"{link}/cue", **form).location == link
        assert "Not done:" in text_of(phone.get(link))
    assert len([e for e in shop.job(job).entries if isinstance(e.body, PhotoCue)]) == 1


def test_a_phone_sees_again_what_it_sent_and_nothing_else(shop: Shop) -> None:
    job, link, phone = phone_of(shop)
    posted(phone, link, photos=[(io.BytesIO(jpeg(seed=1)), "a.jpg")])
    shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(jpeg(seed=2)), "b.jpg")])
    mine, other = (picture.photo.body.sha256 for picture in shop.job(job).pictures)
    assert phone.get(f"{link}/photo/{mine}").mimetype == "image/jpeg"
    assert phone.get(f"{link}/photo/{other}").status_code == 404
    stranger = shop.app.test_client()
    assert stranger.get(f"{link}/photo/{mine}").status_code == 404, "another browser with the same link"
    grants = shop.app.extensions["journal"].grants
    grants.withdraw(job, grants.links(job, LinkKind.PHONE)[0].id)
    assert phone.get(f"{link}/photo/{mine}").status_code == 410
    assert phone.get(f"{link}/now").status_code == 410 and posted(phone, f"{link}/cue").status_code == 410


def test_a_link_says_so_often_where_photos_go_and_no_more(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    from limits import RateLimitItemPerMinute

    monkeypatch.setattr(quotas, "CUES", (RateLimitItemPerMinute(2),))
    _, link, phone = phone_of(shop)
    told = [posted(phone, f"{link}/cue", "application/json", subject="lash", cylinder=str(n)).json for n in (1, 2, 3)]
    assert [state["cylinder"] for state in told] == [1, 2, 2] and told[2]["told"][0][0] == "danger"
    assert "too many places by one link" in shop.refused()


def test_photos_chosen_while_the_network_is_away_come_when_it_is_back(
    shop: Shop, chromium: Any, tmp_path: Path
) -> None:
    job = shop.open()
    for seed in (1, 2):
        (tmp_path / f"{seed}.jpg").write_bytes(jpeg(seed=seed))
    # Not in a `window`: its console complains of the network, as it should.
    with serving(shop) as address, opened(chromium, PHONE, known=False) as context:
        page = context.new_page()
        page.goto(address + link_of(shop, job, LinkKind.PHONE))
        away = "**/in/*"
        page.route(away, lambda route: route.abort() if route.request.method == "POST" else route.continue_())
        page.locator("#kept").set_input_files([tmp_path / "1.jpg", tmp_path / "2.jpg"])
        page.get_by_text("2 photos are kept on this phone until the network is back").wait_for(timeout=SOON)
        assert shop.job(job).pictures == ()
        page.unroute(away)
        page.locator("#sent img").nth(1).wait_for(timeout=15_000)
    assert len(shop.job(job).pictures) == 2


def test_what_an_open_page_asks_again_and_again_fills_no_log(shop: Shop) -> None:
    _, link, phone = phone_of(shop)
    for _ in range(5):
        assert phone.get(f"{link}/now").json["landing"] == ""
    phone.get("/in/made-up/now")
    pages = [(line["page"], line["status"]) for line in shop.log() if line["page"] == "phone.now"]
    assert pages == [("phone.now", 404)]


def test_a_device_elsewhere_needs_the_link(tmp_path: Path) -> None:
    lan = make(tmp_path / "journal", lan=True)
    job = lan.open()
    link = link_of(lan, job, LinkKind.PHONE)
    away = device(lan)
    assert away.get(f"{link}/now").status_code == 200 and away.get(f"{link[:-3]}xyz/now").status_code == 404
    lan.app.extensions["journal"].close()
