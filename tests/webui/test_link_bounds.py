"""What a link lets its holder do has a measure and an end, and is its own job's only."""

from __future__ import annotations

import io
import re
from datetime import timedelta

import pytest
from flask.testing import FlaskClient

from journal.facts import JobClosed, JobReopened, PartAnswer, PartState, PartWanted, Source, Withdrawal
from tests.webui.conftest import Shop, jpeg, sign_of, text_of
from tests.webui.test_desk import answered, link_of
from webui.answers import DESK_SAYS, SETTLED
from webui.grants import LinkKind
from webui.quotas import ANSWERS, PHOTOS


def stranger(shop: Shop) -> FlaskClient:
    """A browser that has a link and nothing else."""
    return shop.app.test_client()


def send(client: FlaskClient, address: str, *pictures: bytes) -> str:
    """Photos sent as the phone's page sends them; the page that follows."""
    sign = sign_of(text_of(client.get("/code")))
    photos = [(io.BytesIO(picture), f"IMG_{n}.jpg") for n, picture in enumerate(pictures)]
    return text_of(client.post(address, data={"csrf_token": sign, "photos": photos}, follow_redirects=True))


def test_a_phone_link_takes_so_many_photos_a_minute(shop: Shop) -> None:
    job, most = shop.open(), PHOTOS[0].amount
    link, other = link_of(shop, job, LinkKind.PHONE), link_of(shop, job, LinkKind.PHONE)
    phone = stranger(shop)
    # Bytes after the end of a JPEG are no part of the picture, and make it another file.
    pictures = [jpeg(64, 48) + str(n).encode() for n in range(most + 5)]
    for at in range(0, most - 10, 10):
        send(phone, link, *pictures[at : at + 10])
    assert len(shop.job(job).pictures) == most - 10
    page = send(phone, link, *pictures[most - 10 :])
    assert "too many photos by this link now" in page
    assert len(shop.job(job).pictures) == most
    assert "too many photos by one link" in shop.refused()
    send(stranger(shop), other, pictures[-1])
    assert len(shop.job(job).pictures) == most + 1, "another link is not kept out by it"


def test_phone_links_are_listed_and_withdrawn_on_the_photos_page(shop: Shop) -> None:
    job = shop.open()
    assert "A phone may send photos" not in text_of(shop.get(f"/job/{job}/photos"))
    shown = text_of(shop.post(f"/job/{job}/phone"))
    address = re.search(r'class="address">http://localhost(/in/[^<]+)<', shown)
    assert address is not None
    phone = stranger(shop)
    assert phone.get(address[1]).status_code == 200
    page = text_of(shop.get(f"/job/{job}/photos"))
    assert page.count("A phone may send photos") == 1
    withdraw = re.search(rf'action="(/job/{job}/links/[^"]+/withdraw)"', page)
    assert withdraw is not None
    after = text_of(shop.post(withdraw[1], back="photos"))
    assert "A phone may send photos" not in after and "Add photos" in after
    assert phone.get(address[1]).status_code == 410
    assert send(phone, address[1], jpeg()) and shop.job(job).pictures == ()


def test_every_link_that_is_out_is_listed_with_the_devices_and_withdrawn_there(shop: Shop) -> None:
    job, other = shop.open(), shop.open("Chipper 7")
    links = [link_of(shop, job), link_of(shop, other, LinkKind.PHONE)]
    link_of(shop, job, valid=timedelta(seconds=-1))
    page = text_of(shop.get("/devices"))
    assert "Parts desk: Orchard pump 2" in page and "Phone, for photos: Chipper 7" in page
    withdraws = re.findall(r'action="(/job/[^"]+/withdraw)"', page)
    assert len(withdraws) == 2
    for address in withdraws:
        page = text_of(shop.post(address, back="devices"))
    assert "Links that are out" in page and "/withdraw" not in page
    assert [stranger(shop).get(link).status_code for link in links] == [410, 410]


def test_a_phone_link_ends_with_the_job_for_good(shop: Shop) -> None:
    job = shop.open()
    link = link_of(shop, job, LinkKind.PHONE)
    shop.post(f"/job/{job}/close", cause="unknown")
    phone = stranger(shop)
    assert phone.get(link).status_code == 410
    send(phone, link, jpeg())
    assert shop.job(job).pictures == ()
    assert shop.post(f"/job/{job}/phone").status_code == 400, "nor is another one made"
    shop.post(f"/job/{job}/reopen")
    assert phone.get(link).status_code == 410, "opened again, the job has other links"
    assert phone.get(link_of(shop, job, LinkKind.PHONE)).status_code == 200


def test_a_phone_link_opens_no_job_whose_closing_came_in_with_an_earlier_time(shop: Shop) -> None:
    job = shop.open()
    link = link_of(shop, job, LinkKind.PHONE)
    shop.enter(job, JobClosed("unknown"))
    closed = shop.job(job).closed
    assert closed is not None and closed.entry.at_utc.month == 3, "before the link was made"
    assert stranger(shop).get(link).status_code == 410


def test_a_phone_link_outlives_a_closing_that_was_taken_back(shop: Shop) -> None:
    job = shop.open()
    link = link_of(shop, job, LinkKind.PHONE)
    shop.post(f"/job/{job}/close", cause="unknown")
    closing = next(entry for entry in shop.job(job).entries if isinstance(entry.body, JobClosed))
    shop.enter(job, Withdrawal(closing.id))
    assert stranger(shop).get(link).status_code == 200


def test_a_desk_link_is_still_read_after_closing_and_takes_no_answer(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3))[0]
    link, clerk = link_of(shop, job), stranger(shop)
    assert answered(shop, link, part.id, clerk, number="B-3").status_code == 200
    shop.enter(job, JobClosed("valve-train", 3))
    page = text_of(clerk.get(link))
    assert "This job is closed" in page and "B-3" in page and f"far-{part.id}" not in page
    assert "eady to order" not in page
    answer = answered(shop, link, part.id, clerk, far="ordered")
    assert answer.status_code == 400 and "this job is closed" in text_of(answer).lower()
    assert len(shop.job(job).parts[0].answers) == 1
    shop.enter(job, JobReopened())
    assert answered(shop, link, part.id, clerk, far="ordered", anyway="yes").status_code == 200


@pytest.mark.parametrize("state", SETTLED)
def test_the_desk_neither_says_what_only_the_shop_knows_nor_changes_it(
    tested: tuple[Shop, str], state: PartState
) -> None:
    shop, job = tested
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3))[0]
    link, clerk = link_of(shop, job), stranger(shop)
    page = text_of(clerk.get(link))
    offered = re.findall(rf'name="far-{part.id}" value="([^"]*)"', page)
    assert offered == [str(far) for far in DESK_SAYS] and str(state) not in offered
    assert answered(shop, link, part.id, clerk, far=str(state)).status_code == 400
    assert shop.job(job).parts[0].answers == () and str(shop.job(job).state) != "repaired, to verify"
    shop.enter(job, PartAnswer(part.id, state, "B-3"))
    assert f"far-{part.id}" not in text_of(clerk.get(link))
    answer = answered(shop, link, part.id, clerk, price="4")
    assert answer.status_code == 400 and f"the shop says that this part is {state}" in text_of(answer).lower()
    assert shop.job(job).parts[0].answers[-1].body.state is state


def test_the_desk_answers_and_orders(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3))[0]
    link, clerk = link_of(shop, job), stranger(shop)
    answered(shop, link, part.id, clerk, number="VB-3")
    for far, state in (("ordered", PartState.ORDERED), ("arrived", PartState.ARRIVED), ("", PartState.ANSWERED)):
        assert answered(shop, link, part.id, clerk, far=far, anyway="yes").status_code == 200
        answer = shop.job(job).parts[0].answers[-1]
        assert answer.body.state is state and answer.entry.source is Source.DESK


def test_the_desk_answers_so_often_a_minute(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3))[0]
    link, clerk = link_of(shop, job), stranger(shop)
    sign = sign_of(text_of(clerk.get(link)))
    forms = [{"csrf_token": sign, f"price-{part.id}": f"{n} EUR"} for n in range(61)]
    statuses = [clerk.post(link, data=form).status_code for form in forms[:60]]
    most = ANSWERS[0].amount
    assert statuses == [303] * most + [429] * (60 - most)
    assert len(shop.job(job).parts[0].answers) == most
    assert shop.refused().count("too many answers by one link") == 1, "a row of them is written down once"
    assert clerk.post(link_of(shop, job), data=forms[60]).status_code == 303


def test_a_link_is_not_withdrawn_by_way_of_another_job(shop: Shop) -> None:
    mine, other = shop.open(), shop.open("Chipper 7")
    grants = shop.app.extensions["journal"].grants
    for kind in LinkKind:
        address = link_of(shop, mine, kind)
        link = grants.links(mine, kind)[0]
        assert shop.post(f"/job/{other}/links/{link.id}/withdraw").status_code == 404
        assert stranger(shop).get(address).status_code == 200
        assert not grants.links(mine, kind)[0].withdrawn


def test_another_jobs_sound_does_not_come_by_this_jobs_address(shop: Shop) -> None:
    import numpy as np

    from journal.facts import Note
    from journal.record.clips import keep_clip

    mine, other = shop.open(), shop.open("Chipper 7")
    sounds = [keep_clip(shop.folder, np.sin(np.arange(3000) / n).astype(np.float32) * 0.1) for n in (9, 10)]
    for job, clip in zip((mine, other), sounds, strict=True):
        shop.enter(job, Note("knocks"), heard="note knocks", clip=clip)
    assert shop.get(f"/job/{mine}/clip/{sounds[0]}.flac").status_code == 200
    assert shop.get(f"/job/{mine}/clip/{sounds[1]}.flac").status_code == 404
    assert shop.get(f"/job/{other}/clip/{sounds[1]}.flac").status_code == 200


def test_what_is_known_of_a_part_stays_when_the_shop_says_how_far_it_is(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3))[0]
    link = link_of(shop, job)
    known = {"number": "VB-30017", "price": "84.50 EUR", "availability": "2 in the shop", "date": "2026-03-05"}
    answered(shop, link, part.id, stranger(shop), note="ask for Lee", **known)
    answered(shop, f"/job/{job}/parts/answers", part.id, far="ordered", anyway="yes")
    assert shop.job(job).parts[0].answers[-1].body == PartAnswer(
        part.id, PartState.ORDERED, **known, note="ask for Lee"
    )
    assert "VB-30017" in text_of(shop.get(f"/job/{job}/parts"))


def test_the_desk_sees_no_gate_once_the_cylinder_is_mended(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.enter(job, PartWanted("injector", cylinder=3))
    link, clerk = link_of(shop, job), stranger(shop)
    assert "Not ready to order" in text_of(clerk.get(link))
    shop.post(f"/job/{job}/repaired", text="new injector", cylinder="3")
    shop.say(
        job, "idle cut out test after the repair", "baseline twenty five",
        *(f"cylinder {n} cut thirty" for n in ("one", "two", "three", "four", "five", "six")),
    )  # fmt: skip
    page = text_of(clerk.get(link))
    assert "Not ready to order" not in page and "Ready to order" not in page
    assert "Likeliest cause" in page, "what it was wanted for stays"
