"""The parts desk and the phone: one job by a link, and nothing else."""

from __future__ import annotations

import io
import re
from datetime import timedelta

from journal.facts import PartState, PartWanted, PhotoCue, Source
from tests.webui.conftest import Shop, jpeg, sign_of, text_of
from webui.grants import LinkKind


def link_of(shop: Shop, job: str, kind: LinkKind = LinkKind.DESK, valid: timedelta = timedelta(days=1)) -> str:
    """The address of a new link."""
    grants = shop.app.extensions["journal"].grants
    return f"/{'desk' if kind is LinkKind.DESK else 'in'}/{grants.token(grants.give(job, kind, valid))}"


def test_the_desk_sees_what_is_wanted_why_and_on_what_evidence(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.enter(job, PartWanted("injector", cylinder=3, reason="no rise when cut"))
    page = text_of(shop.get(link_of(shop, job)))
    assert "1 × injector, cylinder 3" in page and "no rise when cut" in page
    assert "Likeliest cause" in page and "Not ready to order" in page
    assert f"/job/{job}" not in page, "the view leads nowhere else"


def test_a_part_is_not_ready_to_order_because_another_one_is(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.say(job, "cylinder three broken bridge", "wiring sound", "air test cylinder three holds", "blow-by light")
    shop.enter(job, PartWanted("valve bridge", cylinder=3))
    page = text_of(shop.get(link_of(shop, job)))
    assert "Ready to order:" in page and "Not ready to order" not in page
    shop.enter(job, PartWanted("injector", cylinder=3))
    page = text_of(shop.get(link_of(shop, job)))
    assert page.count("Ready to order:") == 1 and page.count("Not ready to order injector") == 1


def test_the_desks_answer_is_an_entry_that_the_technician_sees(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3))[0]
    link = link_of(shop, job)
    shop.post(
        f"{link}/{part.id}", state="priced", number="VB-30017", price="84.50 EUR", availability="2 in the shop",
        date="2026-03-05", note="with the clips",
    )  # fmt: skip
    answer = shop.job(job).parts[0].answers[-1]
    assert answer.entry.source is Source.DESK and answer.entry.technician == "parts desk"
    assert (answer.body.state, answer.body.number, answer.body.date) == (PartState.PRICED, "VB-30017", "2026-03-05")
    assert "VB-30017" in text_of(shop.get(f"/job/{job}/live")) and "VB-30017" in text_of(shop.get(f"/job/{job}/parts"))
    assert shop.job(job).technicians == ("Wren",)


def test_an_answer_that_makes_no_sense_is_no_entry(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3))[0]
    link = link_of(shop, job)
    assert shop.post(f"{link}/{part.id}", state="gone").status_code == 400
    assert shop.post(f"{link}/{part.id}", state="priced", date="next week").status_code == 400
    assert shop.post(f"{link}/{part.id}", state="priced", note="x" * 500).status_code == 400
    assert shop.post(f"{link}/{shop.job(job).entries[0].id}", state="priced").status_code == 404
    assert shop.job(job).parts[0].answers == ()


def test_the_technician_makes_and_withdraws_links_on_the_parts_page(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    page = text_of(shop.post(f"/job/{job}/links", days="7"))
    address = re.search(r'value="http://localhost(/desk/[^"]+)"', page)
    assert address is not None and shop.get(address.group(1)).status_code == 200
    withdraw = re.search(rf'action="(/job/{job}/links/[^"]+/withdraw)"', page)
    assert withdraw is not None
    shop.post(withdraw.group(1))
    assert shop.get(address.group(1)).status_code == 410
    assert shop.post(f"/job/{job}/links", days="4000").status_code == 400


def test_a_part_is_wanted_and_its_state_said_on_the_page(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.post(f"/job/{job}/parts", description="valve bridge", quantity="2", cylinder="3", reason="broken")
    part = shop.job(job).parts[0]
    assert (part.wanted.body.quantity, part.wanted.body.cylinder) == (2, 3)
    shop.post(f"/job/{job}/parts/{part.wanted.entry.id}", state="ordered")
    assert shop.job(job).parts[0].answers[-1].body.state is PartState.ORDERED
    assert shop.post(f"/job/{job}/parts", description="", quantity="1").status_code == 400
    assert shop.post(f"/job/{job}/parts", description="bridge", quantity="-1").status_code == 400


def test_the_qr_code_opens_a_page_that_takes_photos_into_this_job_only(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.enter(job, PhotoCue("overhead", 3))
    page = text_of(shop.post(f"/job/{job}/phone"))
    address = re.search(r'class="address">http://localhost(/in/[^<]+)<', page)
    assert address is not None and "<svg" in page
    phone = shop.app.test_client()
    asked = text_of(phone.get(address.group(1)))
    assert 'Goes to: <strong id="landing">overhead, cylinder 3</strong>' in asked and 'capture="environment"' in asked
    sent = phone.post(
        address.group(1),
        data={"csrf_token": sign_of(asked), "photos": [(io.BytesIO(jpeg()), "IMG_1.jpg"), (io.BytesIO(b""), "")]},
        follow_redirects=True,
    )
    assert "1 photo</span> in this job" in text_of(sent)
    body = shop.job(job).pictures[0].photo.body
    assert (body.subject, body.cylinder) == ("overhead", 3)


def test_a_phone_link_is_no_desk_link_and_the_other_way_round(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    desk, phone = link_of(shop, job), link_of(shop, job, LinkKind.PHONE)
    assert shop.get(desk.replace("/desk/", "/in/")).status_code == 404
    assert shop.get(phone.replace("/in/", "/desk/")).status_code == 404
