"""axe-core on every page in both themes, at a phone's width and a desktop's.

Its rules for WCAG 2.2 A and AA (W3C Recommendation, 5 October 2023) include 1.4.3, contrast of at least 4.5:1 for text
and 3:1 for large text, and 2.5.8, targets of at least 24 by 24 CSS pixels.
"""

from __future__ import annotations

import io
from typing import Any

import pytest

from journal.facts import Cut, PartAnswer, PartState, PartWanted, PhotoCue, PressureLevel, Question, RunKind, RunStarted
from tests.webui.browser import DESKTOP, PHONE, opened, serving, window
from tests.webui.conftest import IDLE_RUN, Shop, jpeg
from tests.webui.test_desk import link_of
from webui.grants import LinkKind

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def full_job(shop: Shop) -> tuple[str, list[str]]:
    """A job with everything a page can show; it, and the address of every page."""
    job = shop.open()
    shop.say(job, *IDLE_RUN, "blow by light", "wiring cylinder three sound", "note smell of fuel")
    shop.enter(job, RunStarted(RunKind.IDLE, pressure=PressureLevel.HIGH))
    shop.say(job, "baseline twenty eight", "cylinder one cut thirty five")
    shop.enter(job, PhotoCue("overhead", 3))
    for seed in (1, 2):
        shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(jpeg(seed=seed)), f"{seed}.jpg")])
    first, second = (picture.photo.body.sha256 for picture in shop.job(job).pictures)
    shop.post(f"/job/{job}/photos/{first}/mark", shape="ring", x0="40", y0="40", x1="50", y1="40", text="worn")
    part = shop.enter(job, PartWanted("valve bridge", cylinder=3, reason="broken"))[0]
    shop.enter(job, PartAnswer(part.id, PartState.PRICED, "VB-30017", "84.50 EUR"))
    shop.enter(job, Question("Cylinder 5: 25 or 35?", (Cut(5, 35.0), Cut(5, 25.0))), heard="cylinder five cut")
    for heard in ("five three hundred", "she is puffing"):
        shop.enter(job, Question("Sorry?", ()), heard=heard)
    cut = next(entry.id for entry in shop.job(job).entries if isinstance(entry.body, Cut))
    shop.post(f"/job/{job}/entry/{cut}/correct", cylinder="1", value="37.4")
    shop.post(f"/job/{job}/links", days="7")
    own = ["", "/about", "/run/1", "/live", "/review", "/review?show=cylinder-3", "/review?show=rest",
           f"/entry/{cut}", "/photos", f"/photos/{first}", "/parts",
           "/write-up", f"/photos/pair?left={first}&right={second}", "/write-up/cause", "/finish"]  # fmt: skip
    others = ["/", "/new?cylinders=8&arrangement=vee", "/phrases", "/units", "/devices", "/code", "/nowhere"]
    links = [link_of(shop, job), link_of(shop, job, LinkKind.PHONE)]
    return job, [*(f"/job/{job}{place}" for place in own), *others, *links]


@pytest.mark.parametrize(
    ("theme", "size"),
    [
        ("light", DESKTOP),
        ("dark", PHONE),
        pytest.param("light", PHONE, marks=pytest.mark.long),
        pytest.param("dark", DESKTOP, marks=pytest.mark.long),
    ],
    ids=["light-desktop", "dark-phone", "light-phone", "dark-desktop"],
)
def test_no_page_has_a_violation(shop: Shop, chromium: Any, theme: str, size: dict[str, int]) -> None:
    package = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )
    axe = package.Axe()
    job, places = full_job(shop)
    with serving(shop) as address, opened(chromium, size, color_scheme=theme) as context:
        page = context.new_page()
        wrong = []
        for place in places:
            page.goto(address + place)
            page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
            found = axe.run(page, options={"runOnly": TAGS}).response
            wrong += [(place, v["id"], [node["html"][:160] for node in v["nodes"]]) for v in found["violations"]]
            assert len(found["passes"]) > 10, "the rules were run"
        assert wrong == []
        page.goto(f"{address}/job/{job}/review")
        page.locator(".mend input[name=words]").last.fill("cylinder five cut three hundred")
        page.locator(".mend input[name=words]").last.press("Enter")
        page.get_by_role("button", name="Yes: Cylinder 5 cut: 300").wait_for()
        assert [v["id"] for v in axe.run(page, options={"runOnly": TAGS}).response["violations"]] == []
        with opened(chromium, size, color_scheme=theme) as other:
            coded = other.new_page()
            coded.goto(f"{address}/job/{job}/photos")
            coded.get_by_role("button", name="From a phone: show the QR code").click()
            coded.locator(".qr").wait_for()
            assert [v["id"] for v in axe.run(coded, options={"runOnly": TAGS}).response["violations"]] == []


def test_the_switch_wins_over_the_devices_scheme(shop: Shop, chromium: Any) -> None:
    with serving(shop) as address, window(chromium, color_scheme="dark") as page:
        page.goto(address)
        night = page.evaluate("getComputedStyle(document.body).backgroundColor")
        # Each click asks for the page anew: the mark of what was chosen is waited for, then the next click is its own.
        for chosen in ("dark", "light"):
            page.locator("button.theme").click()
            page.locator(f"html[data-theme={chosen}]").wait_for()
        assert page.evaluate("getComputedStyle(document.body).backgroundColor") != night
