"""The parts desk and the phone: one job by a link, and nothing else."""

from __future__ import annotations

import html
import io
import re
from datetime import timedelta
from pathlib import Path

import pytest
from flask.testing import FlaskClient
from PIL import Image, ImageChops
from werkzeug.test import TestResponse

from journal.facts import JobOpened, PartAnswer, PartState, PartWanted, Photo, PhotoCue, Source, Withdrawal
from journal.record.job import JobState
from journal.record.store import Store
from journal.session import open_job
from tests.output.test_writeup import said_in_pdf
from tests.record.pictures import file_of, phone_exif, scene
from tests.webui.conftest import IDLE_RUN, SIX, START, Shop, jpeg, sign_of, text_of
from webui.grants import LinkKind


def link_of(shop: Shop, job: str, kind: LinkKind = LinkKind.DESK, valid: timedelta = timedelta(days=1)) -> str:
    """The address of a new link."""
    grants = shop.app.extensions["journal"].grants
    return f"/{'desk' if kind is LinkKind.DESK else 'in'}/{grants.token(grants.give(job, kind, valid))}"


def answered(shop: Shop, address: str, part: str, client: FlaskClient | None = None, **fields: str) -> TestResponse:
    """Fill in a part's fields in the form that saves all of them, at the desk or on the job's own page."""
    return shop.post(address, client, **{f"{name}-{part}": text for name, text in fields.items()})


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
    assert "Ready to order:</strong>" in page and "Not ready to order" not in page
    shop.enter(job, PartWanted("injector", cylinder=3))
    page = text_of(shop.get(link_of(shop, job)))
    assert page.count("Ready to order:</strong>") == 1 and page.count("Not ready to order injector") == 1


def test_the_desks_answer_is_an_entry_that_the_technician_sees(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3))[0]
    link = link_of(shop, job)
    answered(
        shop, link, part.id, number="VB-30017", price="84.50 EUR", availability="2 in the shop", date="2026-03-05",
        note="with the clips",
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
    assert answered(shop, link, part.id, far="gone").status_code == 400
    assert answered(shop, link, part.id, price="4", date="next week").status_code == 400
    assert answered(shop, link, part.id, price="4", note="x" * 500).status_code == 400
    assert "nothing was changed" in text_of(answered(shop, link, shop.job(job).entries[0].id, price="4"))
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
    answered(shop, f"/job/{job}/parts/answers", part.wanted.entry.id, far="ordered", anyway="yes")
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


PLATE = {"make": "Beispielwerk", "model": "D6-H", "serial": "H6-004417", "hours": "6120", "work_order": "W-2217"}


def ordering(shop: Shop) -> tuple[str, list[str], str]:
    """A job with a plate and two parts wanted; it, the parts, and the desk's link."""
    with Store.open(shop.folder) as store:
        job = open_job(store, JobOpened("Orchard pump 2", SIX, "misses at idle", **PLATE), "Wren", at=START)
    shop.say(job, *IDLE_RUN)
    parts = shop.enter(job, PartWanted("valve bridge", cylinder=3, reason="found worn"), PartWanted("gasket", 2))
    return job, [part.id for part in parts], link_of(shop, job)


def test_the_desk_sees_which_engine_it_orders_for_and_what_was_found(shop: Shop) -> None:
    job, _, link = ordering(shop)
    with Store.open(shop.folder) as store:
        reference = store.line(job).reference
    page = text_of(shop.get(link))
    facts = dict(re.findall(r"<dt>([^<]+)</dt><dd>([^<]*)</dd>", page))
    assert {name: facts.get(name) for name in ("Engine make", "Engine model", "Engine serial number", "Hours")} == {
        "Engine make": "Beispielwerk", "Engine model": "D6-H", "Engine serial number": "H6-004417", "Hours": "6120",
    }  # fmt: skip
    assert (facts["Reference"], facts["Technician"], facts["Work order"]) == (reference, "Wren", "W-2217")
    assert "Cylinder 3 is dead" in page and "Not ready to order" in page


def test_all_parts_are_saved_at_once_and_an_answer_is_more_than_wanted(shop: Shop) -> None:
    job, (bridge, gasket), link = ordering(shop)
    answered_both = {
        f"number-{bridge}": "VB-30017", f"superseded_by-{bridge}": "VB-30018", f"price-{bridge}": "84.50 EUR",
        f"availability-{bridge}": "2 in the shop", f"lead_time-{bridge}": "two days", f"far-{bridge}": "",
        f"note-{gasket}": "which width?", f"far-{gasket}": "",
    }  # fmt: skip
    assert "(2 parts)" in text_of(shop.post(link, **answered_both))
    first, second = (part.answers[-1].body for part in shop.job(job).parts)
    assert first == PartAnswer(
        bridge,
        PartState.PRICED,
        "VB-30017",
        "84.50 EUR",
        "2 in the shop",
        superseded_by="VB-30018",
        lead_time="two days",
    )
    assert second == PartAnswer(gasket, PartState.ANSWERED, note="which width?")
    assert shop.job(job).state is JobState.WAITING
    page = text_of(shop.get(link))
    assert 'value="VB-30018"' in page and ">priced<" in page and ">answered<" in page
    assert "nothing was changed" in text_of(shop.post(link, **answered_both))
    assert len(shop.job(job).parts[0].answers) == 1


def test_what_is_wrong_in_one_part_stands_beside_its_field_and_nothing_typed_is_lost(shop: Shop) -> None:
    job, (bridge, gasket), link = ordering(shop)
    answer = shop.post(link, **{f"price-{bridge}": "84.50 EUR", f"date-{gasket}": "soon", f"note-{gasket}": "x" * 401})
    page = text_of(answer)
    assert answer.status_code == 400 and not any(part.answers for part in shop.job(job).parts)
    assert 'value="84.50 EUR"' in page and 'value="soon"' in page and "x" * 401 in page
    wrong = dict(re.findall(r'id="wrong-(\w+)-2"><strong>Not yet:</strong> ([^<]+)', page))
    assert wrong["date"].endswith("write it like 2026-03-01") and wrong["note"].startswith("401 characters")
    assert page.count('aria-invalid="true"') == 2


@pytest.mark.parametrize("where", ["desk", "shop"])
def test_what_is_not_ready_to_order_is_ordered_only_when_told_that_it_is_meant(
    tested: tuple[Shop, str], where: str
) -> None:
    shop, job = tested
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3))[0].id
    place = link_of(shop, job) if where == "desk" else f"/job/{job}/parts/answers"
    asked = answered(shop, place, part, far="ordered", price="84.50 EUR")
    page = text_of(asked)
    assert asked.status_code == 400 and shop.job(job).parts[0].answers == ()
    assert re.search(r"Not ready to order, first: [^<]*overhead \(cylinder 3\); [^<]*is wanted before ordering", page)
    assert f'name="anyway-{part}"' in page and 'value="84.50 EUR"' in page
    assert f'name="anyway-{part}"' not in text_of(shop.get(place.removesuffix("/answers"))), "it is asked, not offered"
    assert answered(shop, place, part, far="ordered", price="84.50 EUR", anyway="yes").status_code == 200
    assert shop.job(job).parts[0].answers[-1].body.state is PartState.ORDERED
    assert answered(shop, place, part, far="ordered", note="by post").status_code == 200, "it is ordered already"


def test_what_is_ready_to_order_is_ordered_at_once(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.say(job, "cylinder three broken bridge", "wiring sound", "air test cylinder three holds", "blow-by light")
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3))[0].id
    assert answered(shop, link_of(shop, job), part, far="ordered").status_code == 200
    assert shop.job(job).parts[0].answers[-1].body.state is PartState.ORDERED


def test_a_desk_page_left_open_overwrites_nothing_that_came_meanwhile(shop: Shop) -> None:
    job, (bridge, _), link = ordering(shop)
    shop.post(link, **{f"seen-{bridge}": "", f"price-{bridge}": "84.50 EUR", f"far-{bridge}": ""})
    answered(shop, f"/job/{job}/parts/answers", bridge, far="ordered", anyway="yes")
    shop.post(link, **{f"seen-{bridge}": "", f"number-{bridge}": "VB-3", f"price-{bridge}": "", f"far-{bridge}": ""})
    answer = shop.job(job).parts[0].answers[-1].body
    assert (answer.state, answer.number, answer.price) == (PartState.ORDERED, "VB-3", "84.50 EUR")


def test_photos_open_in_full_size_with_their_marks_and_nothing_of_the_place(shop: Shop) -> None:
    job, _, link = ordering(shop)
    shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(file_of(scene(), exif=phone_exif())), "IMG_1.jpg")])
    sha = shop.job(job).pictures[0].photo.body.sha256
    plain = shop.get(f"{link}/photo/{sha}").data
    shop.post(f"/job/{job}/photos/{sha}/mark", shape="ring", x0="50", y0="50", x1="80", y1="50")
    assert f'href="{link}/photo/{sha}"' in text_of(shop.get(link))
    marked = shop.get(f"{link}/photo/{sha}")
    assert marked.mimetype == "image/jpeg" and marked.data != plain and b"Exif" not in marked.data
    with Image.open(io.BytesIO(marked.data)) as drawn, Image.open(io.BytesIO(plain)) as bare:
        assert drawn.size == bare.size and max(drawn.size) > 320
        assert ImageChops.difference(drawn, bare.convert("RGB")).getbbox() is not None
    other = shop.open("Chipper 7")
    assert shop.get(f"{link_of(shop, other)}/photo/{sha}").status_code == 404


def test_a_blurred_photo_is_said_to_be_so_at_the_desk(shop: Shop) -> None:
    job, _, link = ordering(shop)
    shop.enter(job, Photo("a" * 64, "x.jpg", "overhead", 3, warning="blurred: hold still and take it again"))
    assert "Look again:</strong> blurred" in text_of(shop.get(link))


def test_a_link_that_is_over_says_whom_to_ask(shop: Shop) -> None:
    job, _, link = ordering(shop)
    grants = shop.app.extensions["journal"].grants
    grants.withdraw(job, grants.links(job, LinkKind.DESK)[0].id)
    with Store.open(shop.folder) as store:
        reference = store.line(job).reference
    for address in (link, link_of(shop, job, valid=timedelta(seconds=-1))):
        answer = shop.app.test_client().get(address)
        assert answer.status_code == 410
        assert f"Ask Wren at the shop; the job&#39;s reference there is {reference}." in text_of(answer)
        assert "Orchard" not in text_of(answer)


def test_the_board_says_that_the_desk_answered_until_somebody_at_the_shop_goes_on(shop: Shop) -> None:
    job, (bridge, gasket), link = ordering(shop)
    assert "The parts desk" not in text_of(shop.get("/"))
    shop.post(link, **{f"price-{bridge}": "84.50 EUR", f"far-{gasket}": "ordered"})
    assert "The parts desk answered: 1 ordered, 1 priced" in text_of(shop.get("/"))
    answered(shop, f"/job/{job}/parts/answers", gasket, far="fitted")
    assert "The parts desk answered: 1 priced" in text_of(shop.get("/"))
    desk = [e.id for e in shop.job(job).entries if e.source is Source.DESK]
    shop.enter(job, *(Withdrawal(id_) for id_ in desk))
    assert "The parts desk" not in text_of(shop.get("/"))


def test_a_desk_without_the_network_gets_one_sheet_and_a_message(shop: Shop, tmp_path: Path) -> None:
    job, (bridge, _), _ = ordering(shop)
    answered(shop, f"/job/{job}/parts/answers", bridge, number="VB-30017")
    shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(jpeg(seed=seed)), f"{seed}.jpg") for seed in range(6)])
    page = text_of(shop.get(f"/job/{job}/parts"))
    message = html.unescape(re.search(r"readonly>(.*?)</textarea>", page, re.S)[1])  # type: ignore[index]
    sheets = said_in_pdf(shop.get(f"/job/{job}/order.pdf?paper=Letter").data, tmp_path).split("\f")
    assert len(sheets) == 2 and sheets[1] == ""
    for said in (" ".join(message.split()), " ".join(sheets[0].split())):
        for words in (
            "Orchard pump 2", "Beispielwerk", "D6-H", "H6-004417", "6120", "W-2217", "Wren", "Cylinder 3 is dead",
            "valve bridge, cylinder 3", "found worn", "Not ready to order", "VB-30017", "2 × gasket", "Superseded by",
            "Lead time", "service manual",
        ):  # fmt: skip
            assert words in said, words
    assert max(map(len, message.splitlines())) <= 78
    assert shop.get(f"/job/{job}/order.pdf?paper=A0").status_code == 400


def test_the_sheet_stays_one_sheet_whatever_is_wanted(shop: Shop, tmp_path: Path) -> None:
    job = shop.open()
    shop.enter(job, *(PartWanted(f"part {n} " + "of the upper part " * 9, 1, None, "why " * 90) for n in range(40)))
    said = said_in_pdf(shop.get(f"/job/{job}/order.pdf").data, tmp_path)
    assert said.count("\f") == 1
    left_out = re.search(r"(\d+) more parts have no room here", said)
    assert left_out is not None and f"part {40 - int(left_out[1]) - 1} of" in said
