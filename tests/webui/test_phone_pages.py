"""The pages of a phone for everybody: axe-core, 320 CSS pixels (WCAG 2.2, 1.4.10), the keyboard alone, big targets."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from journal.facts import Cut, PhotoCue, Question
from tests.webui.browser import DESKTOP, PHONE, opened, serving, window
from tests.webui.conftest import Shop, jpeg
from tests.webui.test_accessible import TAGS
from tests.webui.test_camera import posted
from tests.webui.test_desk import link_of
from webui.grants import LinkKind
from webui.shop import Secure

SMALL = {"width": 320, "height": 640}


@pytest.fixture
def pages(lan: Shop) -> Iterator[tuple[Shop, str, str, list[str]]]:
    """A shop, where it is served, a job, and the addresses of the pages that a phone sees, as full as they get."""
    job = lan.open(unit="Orchardpumpstationwithaverylongunbrokenname 2")
    lan.say(job, "idle cut out test", "baseline thirty")
    lan.enter(job, PhotoCue("overhead", 3), Question("Cylinder 2: 30 or 38?", (Cut(2, 38.0), Cut(2, 30.0))))
    lan.app.extensions["journal"].secure = Secure(8471, ":".join(["AB"] * 32))
    link = link_of(lan, job, LinkKind.PHONE)
    posted(lan.client, f"/job/{job}/handset", photos=[(io.BytesIO(jpeg()), "a.jpg")])
    posted(lan.client, f"/job/{job}/handset", photos=[(io.BytesIO(b"none"), "b.jpg")])
    with serving(lan) as address:
        yield lan, address, job, [f"/job/{job}/handset", link, f"/devices?job={job}", "/code"]


@pytest.mark.parametrize(
    ("theme", "size"),
    [("light", SMALL), ("dark", PHONE), ("light", DESKTOP)],
    ids=["light-small", "dark-phone", "light-desktop"],
)
def test_they_have_no_violation_and_are_no_wider_than_the_screen(
    pages: tuple[Shop, str, str, list[str]], chromium: Any, theme: str, size: dict[str, int]
) -> None:
    package = pytest.importorskip(
        "axe_playwright_python.sync_playwright", reason="axe-playwright-python is not installed"
    )
    axe = package.Axe()
    _, address, _, places = pages
    small = """() => [...document.querySelectorAll('button, select, .button, .shutter, input:not([type=hidden])')]
        .filter((e) => e.checkVisibility() && !e.classList.contains('hidden-visually'))
        .filter((e) => e.getBoundingClientRect().height < 47.9).map((e) => e.outerHTML.slice(0, 90))"""
    with opened(chromium, size, color_scheme=theme) as context:
        page = context.new_page()
        for place in places:
            page.goto(address + place)
            if "handset" in place:
                page.locator("#choices button:not([disabled])").first.wait_for(timeout=10_000)
            found = axe.run(page, options={"runOnly": TAGS}).response
            assert [(v["id"], [n["html"][:120] for n in v["nodes"]]) for v in found["violations"]] == [], place
            assert len(found["passes"]) > 10, "the rules were run"
            assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], place
            assert page.evaluate(small) == [], place


def test_everything_can_be_done_by_keyboard_alone(
    pages: tuple[Shop, str, str, list[str]], chromium: Any, tmp_path: Path
) -> None:
    shop, address, job, (handset, *_) = pages
    with window(chromium, PHONE) as page:
        page.goto(address + handset)

        def tab_to(script: str) -> None:
            for _ in range(60):
                if page.evaluate(f"(() => {{ const e = document.activeElement; return {script}; }})()"):
                    outline = "getComputedStyle(document.activeElement.matches('.hidden-visually') ? "
                    outline += "document.activeElement.previousElementSibling : document.activeElement).outlineStyle"
                    assert page.evaluate(outline) != "none", "where one is can be seen"
                    return
                page.keyboard.press("Tab")
            raise AssertionError(f"never came to {script}")

        tab_to("e.id === 'listen'")
        page.keyboard.press("Enter")
        page.get_by_text("record a voice memo below instead").wait_for(timeout=10_000)
        page.locator("#choices button:not([disabled])").first.wait_for(timeout=10_000)
        tab_to("e.textContent.includes('Cylinder 2 cut: 30')")
        page.keyboard.press("Enter")
        page.locator("#asked").wait_for(state="hidden", timeout=10_000)
        tab_to("e.id === 'camera'")
        tab_to("e.id === 'subject'")
        tab_to("e.name === 'cylinder' && e.value === '5'")
        page.keyboard.press("Space")
        page.locator("#landing", has_text="overhead, cylinder 5").wait_for(timeout=10_000)
        tab_to("e.id === 'memo-file'")
    assert [cut.value for cut in shop.job(job).runs[0].cuts] == [30.0]
