"""Every field of every form takes as much as it says and no more, and every form that did something leads on."""

from __future__ import annotations

from datetime import timedelta

import pytest

from journal.facts import (
    Baseline,
    Check,
    Cut,
    Note,
    PartWanted,
    Photo,
    PressureLevel,
    Question,
    RunKind,
    RunStarted,
    Subject,
)
from journal.wording.types import LONGEST_LINE
from tests.webui.conftest import Shop, sign_of, text_of
from webui.grants import LinkKind

NEW = {"start": "1", "unit": "pump", "cylinders": "6", "order": "1-5-3-6-2-4", "injection": "common rail"}
ABOUT = {"unit": "pump", "cylinders": "6", "order": "1-5-3-6-2-4", "injection": "common rail"}

FIELDS = [
    ("/new", NEW, {"unit": 120, "complaint": 600, "technician": 80, "injection": 40}),
    ("/job/{job}/about", ABOUT, {"unit": 120, "complaint": 600, "hours": 20, "mileage": 20}),
    ("/job/{job}/put-back", {"what": "injection pressure"}, {"what": 40}),
    ("/job/{job}/repaired", {"text": "new bridge"}, {"text": 400, "cylinder": 20}),
    (
        "/job/{job}/order-anyway",
        {"cause": "injector", "cylinder": "3", "reason": "at sea"},
        {"cause": 60, "reason": 400},
    ),
    ("/job/{job}/close", {"cause": "injector", "anyway": "yes"}, {"cause": 60, "text": 400, "anyway": 5}),
    ("/job/{job}/parts", {"description": "bridge"}, {"description": 200, "reason": 400, "quantity": 20}),
    (
        "/job/{job}/parts/answers",
        {"far-{part}": "ordered", "anyway-{part}": "yes"},
        {"number-{part}": 80, "note-{part}": 400},
    ),
    (
        "/desk/{token}",
        {"far-{part}": "ordered", "anyway-{part}": "yes", "date-{part}": "2026-03-04"},
        {
            "number-{part}": 80,
            "superseded_by-{part}": 80,
            "price-{part}": 40,
            "availability-{part}": 120,
            "lead_time-{part}": 60,
            "date-{part}": 10,
            "note-{part}": 400,
        },
    ),
]
"""Address, a form that does something there, and how long its fields may be, characters."""
FREE = {
    "unit", "complaint", "technician", "hours", "mileage", "text", "reason", "description",
    "number-{part}", "superseded_by-{part}", "price-{part}", "availability-{part}",
    "lead_time-{part}", "note-{part}",
}  # fmt: skip
"""Fields of words that anyone may choose."""
CASES = [(address, form, name, most) for address, form, fields in FIELDS for name, most in fields.items()]


def sent(shop: Shop, address: str, form: dict[str, str]) -> tuple[int, str]:
    """What a form gives, not followed: the status and the page."""
    job = shop.open()
    shop.enter(job, RunStarted(RunKind.IDLE, pressure=PressureLevel.HIGH))
    (part,) = shop.enter(job, PartWanted("valve bridge", 1, 3, "broken"))
    grants = shop.app.extensions["journal"].grants
    token = grants.token(grants.give(job, LinkKind.DESK, timedelta(days=1)))
    sign = sign_of(text_of(shop.client.get("/code")))
    filled = {name.format(part=part.id): text for name, text in form.items()}
    answer = shop.client.post(
        address.format(job=job, token=token), data={"csrf_token": sign, **filled}, follow_redirects=False
    )
    return answer.status_code, text_of(answer)


@pytest.mark.parametrize(("address", "form"), [(address, form) for address, form, _ in FIELDS])
def test_what_was_done_leads_to_a_page_that_can_be_loaded_again(shop: Shop, address: str, form: dict[str, str]) -> None:
    """303 See Other after a POST: RFC 9110, 15.4.4."""
    assert sent(shop, address, form)[0] == 303


@pytest.mark.parametrize(("address", "form", "name", "most"), CASES)
def test_a_field_takes_what_it_says_and_no_more(
    shop: Shop, address: str, form: dict[str, str], name: str, most: int
) -> None:
    status, page = sent(shop, address, form | {name: "x" * (most + 1)})
    assert status == 400
    assert f"{most + 1} characters are too many; at most {most} can be kept" in page
    status, page = sent(shop, address, form | {name: "x" * most})
    assert "characters are too many" not in page
    if name in FREE:
        assert status == 303


AT_WORK = [
    ("/new", NEW, {"make": 80, "model": 80, "serial": 80, "customer": 120, "work_order": 60, "set": 10}),
    ("/units", {"set": "si"}, {"set": 10}),
    ("/units", {"injection pressure": "bar"}, {"injection pressure": 20}),
    (
        "/job/{job}/entry/{cut}/correct",
        {"cylinder": "2", "value": "37.6"},
        {"cylinder": 20, "value": 30, "unit": 20, "no_change": 5, "sure": 5, "back": 20, "words": LONGEST_LINE},
    ),
    ("/job/{job}/entry/{check}/correct", {"cylinder": "4"}, {"outcome": 40, "value": 30, "sure": 5}),
    ("/job/{job}/entry/{note}/correct", {"text": "knocks"}, {"text": 4000}),
    ("/job/{job}/entry/{note}/take-back", {}, {"back": 20}),
    ("/job/{job}/add", {"value": "30"}, {"run": 20, "back": 20, "no_change": 5, "sure": 5, "words": LONGEST_LINE}),
    ("/job/{job}/listen", {"act": "stop"}, {"act": 10}),
    ("/job/{job}/listen", {"voice": "tones"}, {"voice": 10, "microphone": 120, "lead": 5}),
    (
        "/job/{job}/number",
        {"about": "cylinder", "cylinder": "2", "value": "37"},
        {"about": 20, "value": 30, "no_change": 5},
    ),
    ("/job/{job}/number", {"about": "question", "value": "37"}, {"question": 80}),
    ("/job/{job}/undo", {"entry": "none"}, {"entry": 80}),
    ("/job/{job}/question/{question}", {"choice": "neither"}, {"choice": 20, "words": 200}),
    ("/job/{job}/not-understood/{lost}", {"words": "note knocks"}, {"words": LONGEST_LINE, "option": 20}),
    ("/job/{job}/photos/{sha}/place", {"subject": "overhead"}, {"subject": 80}),
    (
        "/job/{job}/photos/{sha}/mark",
        {"shape": "ring", "x0": "1", "y0": "1", "x1": "9", "y1": "9"},
        {"shape": 10, "text": 80, "x0": 30},
    ),
    ("/job/{job}/handset/cue", {"subject": "overhead"}, {"subject": 80}),
    ("/job/{job}/write-up/cause", {"text": "bridge"}, {"generated": 5, "text": 4000}),
    ("/job/{job}/links", {"days": "7"}, {"days": 20}),
    ("/job/{job}/close", {"cause": "unknown"}, {"anyway": 5}),
]
"""The same of forms that need more than a part in the job, what stands behind their buttons among it."""


def test_every_other_field_takes_what_it_says_and_no_more(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    listener = shop.app.extensions["journal"].listener
    monkeypatch.setattr(listener, "start", lambda wanted: None)
    sign = sign_of(text_of(shop.client.get("/code")))
    for address, form, fields in AT_WORK:
        job, photo = shop.open(), Photo("a" * 64, "a.jpg")
        asked, lost = Question("3 or 4?", (Cut(3, 38.0), Cut(4, 38.0))), Question("what was that?", ())
        bodies = (Baseline(30.0), Cut(2, 37.5), Check(Subject.WIRING, "sound", 3), Note("knocks"), asked, lost, photo)
        made = shop.enter(job, RunStarted(RunKind.IDLE), *bodies, heard="blue moon")
        names = dict(zip(("cut", "check", "note", "question", "lost"), (entry.id for entry in made[2:]), strict=False))
        at = address.format(job=job, sha=photo.sha256, **names)
        for name, most in fields.items():
            for many, refused in ((most + 1, True), (most, False)):
                filled = {"csrf_token": sign, **form, name: "x" * many}
                answer = shop.client.post(at, data=filled)
                told = f"{many} characters are too many; at most {most} can be kept" in text_of(answer)
                assert told is refused and answer.status_code in (200, 303, 400, 404, 409), f"{at}: {name}"


SAID = {
    "/job/{job}/about": "kept",
    "/job/{job}/put-back": "injection pressure put back",
    "/job/{job}/repaired": "repair noted; run the same cut-out test again",
    "/job/{job}/order-anyway": "recorded with its reason; the missing checks stay listed",
    "/job/{job}/close": "closed",
    "/job/{job}/parts": "wanted: bridge",
    "/job/{job}/parts/answers": "valve bridge: ordered",
    "/desk/{token}": "sent; the shop sees it now",
}
"""What each says it did, on the page it leads to."""


@pytest.mark.parametrize(("address", "form"), [(address, form) for address, form, _ in FIELDS if address in SAID])
def test_what_was_done_is_said(shop: Shop, address: str, form: dict[str, str]) -> None:
    job = shop.open()
    shop.enter(job, RunStarted(RunKind.IDLE, pressure=PressureLevel.HIGH))
    (part,) = shop.enter(job, PartWanted("valve bridge", 1, 3, "broken"))
    grants = shop.app.extensions["journal"].grants
    token = grants.token(grants.give(job, LinkKind.DESK, timedelta(days=1)))
    filled = {name.format(part=part.id): text for name, text in form.items()}
    page = text_of(shop.post(address.format(job=job, token=token), **filled))
    assert SAID[address] in page
    if address.endswith("close"):
        assert "open again" in text_of(shop.post(f"/job/{job}/reopen"))
        assert "already" in text_of(shop.post(f"/job/{job}/reopen")), "once is enough"


def test_links_say_when_they_were_made_and_taken_back(shop: Shop) -> None:
    job = shop.open()
    assert "link made; send it to the parts desk" in text_of(shop.post(f"/job/{job}/links", days="7"))
    assert shop.post(f"/job/{job}/links", days="8").status_code == 400
    grants = shop.app.extensions["journal"].grants
    (link,) = grants.links(job, LinkKind.DESK)
    assert link.expires_at - link.made_at == timedelta(days=7)
    assert "link withdrawn" in text_of(shop.post(f"/job/{job}/links/{link.id}/withdraw"))
