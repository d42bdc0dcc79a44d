"""Looks in a real browser: the engine as tiles in its layout, and charts whose letters are large enough on a phone."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from journal.facts import Arrangement, Baseline, Cut, Engine, PressureLevel, RunEnded, RunKind, RunStarted
from tests.webui.browser import DESKTOP, PHONE, serving, window
from tests.webui.conftest import IDLE_RUN, Shop

VEE = Engine(16, arrangement=Arrangement.VEE, banks=(tuple(range(1, 9)), tuple(range(9, 17))))

LETTERS = """() => [...document.querySelectorAll('svg.chart text')].filter((t) => t.checkVisibility()).map((t) => {
    const svg = t.ownerSVGElement, box = t.getBBox(), view = svg.viewBox.baseVal;
    return { words: t.textContent, px: parseFloat(getComputedStyle(t).fontSize) * svg.getScreenCTM().a,
             inside: box.x >= -1 && box.x + box.width <= view.width + 1 && box.y + box.height <= view.height + 1 };
})"""

TILES = """() => [...document.querySelectorAll('.tile')].map((tile) => {
    const { x, y, width } = tile.getBoundingClientRect();
    return { x: Math.round(x), y: Math.round(y), words: tile.innerText.replace(/\\s+/g, ' '),
             fits: tile.scrollWidth <= tile.clientWidth + 1,
             px: Math.min(...[...tile.querySelectorAll('span')].map((s) => parseFloat(getComputedStyle(s).fontSize))) };
})"""


@pytest.fixture
def address(shop: Shop) -> Iterator[str]:
    """Where the shop's pages are served."""
    with serving(shop) as where:
        yield where


def run_of(engine: Engine, start: RunStarted, pulls: dict[int, float], base: float = 30.0) -> list[Any]:
    """A run in which every live cylinder that is not named pulls its share."""
    live = [n for n in engine.numbers if n not in start.held_out]
    even = base * len(live) / (len(live) - 1)
    return [start, Baseline(base), *(Cut(n, pulls.get(n, round(even, 1))) for n in live), RunEnded()]


def vee(shop: Shop) -> str:
    """A sixteen with every kind of chart there is."""
    job = shop.open("Mill 3", VEE)
    starts = [
        RunStarted(RunKind.IDLE),
        RunStarted(RunKind.HALF_ENGINE, held_out=tuple(range(9, 17))),
        RunStarted(RunKind.IDLE, pressure=PressureLevel.LOW),
        RunStarted(RunKind.IDLE, pressure=PressureLevel.HIGH, repeat=False),
        RunStarted(RunKind.IDLE, after_repair=True),
    ]
    for start in starts:
        shop.enter(job, *run_of(VEE, start, {} if start.after_repair else {4: 30.0, 7: 31.0}))
    return job


@pytest.mark.parametrize("engine", ["six", "sixteen"])
def test_every_letter_of_a_chart_is_14_pixels_high_or_more_on_a_phone_and_in_the_picture(
    shop: Shop, address: str, chromium: Any, engine: str
) -> None:
    if engine == "six":
        job = shop.open()
        shop.say(job, *IDLE_RUN)
    else:
        job = vee(shop)
    with window(chromium, PHONE) as page:
        page.goto(f"{address}/job/{job}")
        page.evaluate("for (const d of document.querySelectorAll('details')) d.open = true")
        letters = page.evaluate(LETTERS)
    assert len(letters) > (60 if engine == "sixteen" else 10)
    assert [one for one in letters if one["px"] < 14] == []
    assert [one for one in letters if not one["inside"]] == []


def test_the_engine_stands_as_tiles_in_its_layout_with_the_verdict_above(
    shop: Shop, address: str, chromium: Any
) -> None:
    job = vee(shop)
    for size in (PHONE, DESKTOP):
        with window(chromium, size) as page:
            page.goto(f"{address}/job/{job}")
            tiles = page.evaluate(TILES)
            assert page.locator("#verdict").inner_text() == page.locator("main h2").first.inner_text()
        banks = [[tile for tile in tiles if int(tile["words"].split()[0 if "Cyl" not in tile["words"] else 1]) in bank]
                 for bank in VEE.banks]  # fmt: skip
        across = "y" if size is DESKTOP else "x"
        assert [len(bank) for bank in banks] == [8, 8]
        assert all(len({tile[across] for tile in bank}) == 1 for bank in banks), "each bank is one row or one column"
        assert banks[0][0][across] != banks[1][0][across]
        assert all(tile["fits"] and tile["px"] >= 14 for tile in tiles)
        assert all(
            any(word in tile["words"] for word in ("even", "dead", "weak", "unclear", "strong")) for tile in tiles
        )


def test_the_picture_of_the_engine_is_what_a_phone_shows_first(shop: Shop, address: str, chromium: Any) -> None:
    job = shop.open()
    shop.say(job, *IDLE_RUN)
    with window(chromium, PHONE) as page:
        page.goto(f"{address}/job/{job}")
        third = page.locator(".tile").nth(2)
        assert third.bounding_box()["y"] + third.bounding_box()["height"] < PHONE["height"]
        assert "dead" in third.inner_text()
        assert page.get_by_text("Keep clear of fan, belts, shafts").is_visible(), "cautions where the engine runs"
        third.click()
        page.get_by_role("heading", name="Cylinder 3").wait_for()
