"""A whole job by the page alone, from an empty folder: started, heard through the microphone, photographed, closed.

The microphone is PulseAudio's null sink, into which the demo's recording is played; the listener is the real one.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from journal.hearing.sources import read_file
from journal.hearing.types import RATE
from tests.hearing.test_microphone_pulse import Shop as Sound
from tests.hearing.test_microphone_pulse import server, shop
from tests.webui.browser import serving, window
from tests.webui.conftest import jpeg, make

assert server and shop, "fixtures: the sound server, and the microphone plugged in"

SPEECH_S = 26.0
"""Of the recording: the run, the speed, the baseline and the first cylinders."""


def test_a_job_is_done_by_the_page_alone(shop: Sound, root: Path, tmp_path: Path, chromium: Any) -> None:
    pytest.importorskip("pocketsphinx", reason="no recogniser is installed")
    pytest.importorskip("faster_whisper", reason="no recogniser is installed")
    made = make(tmp_path / "journal")
    photo = tmp_path / "bridge.jpg"
    photo.write_bytes(jpeg(1200, 900))
    with serving(made) as address, window(chromium) as page:
        page.goto(address)
        page.get_by_role("link", name="Start a job").click()
        for label, value in (
            ("Unit, as the shop calls it", "Orchard pump 2"), ("Technician", "Wren"), ("Engine make", "Alder"),
            ("Engine serial number", "A6-0042"), ("Hours", "8400"), ("Cylinders", "6"),
        ):  # fmt: skip
            page.get_by_label(label, exact=True).fill(value)
        page.get_by_label("Injection").select_option("hydraulically actuated")
        page.get_by_role("button", name="Start the job").last.click()
        page.locator("#hears.is-not-listening").wait_for()

        page.get_by_text("Microphone", exact=True).first.click()
        page.locator("#microphone option[value=pulse]").wait_for(state="attached", timeout=90_000)
        page.get_by_label("Microphone", exact=True).select_option("pulse")
        page.get_by_label("It answers").select_option("silent")
        page.get_by_role("button", name="Listen", exact=True).click()
        page.locator("#hears.is-listening").wait_for(timeout=120_000)
        shop.play(read_file(root / "demo" / "orchard" / "1-idle.flac")[: int(SPEECH_S * RATE)])
        page.locator("#run h2", has_text="Run 1: Idle").wait_for(timeout=60_000)
        page.locator("#tap-1", has_text="43.5").wait_for(timeout=60_000)
        page.get_by_role("button", name="Stop", exact=True).click()
        page.locator("#hears.is-not-listening").wait_for()

        for cylinder, value in ((2, "43.1"), (3, "34.7"), (4, "43.3"), (5, "43.1"), (6, "43.2")):
            if page.locator(f"#tap-{cylinder}", has_text=value).count():
                continue
            while not page.locator("#pad").is_visible():  # what was said last may still come in, and no tap counts then
                page.locator("body:not(.dead)").wait_for()
                page.locator(f"#tap-{cylinder}").click()
            page.keyboard.type(value)
            page.keyboard.press("Enter")
            page.locator(f"#tap-{cylinder}", has_text=value).wait_for(timeout=10_000)
        page.locator("#tap-3", has_text="dead").wait_for()
        while page.locator("#answers form").count():  # what was asked about is none of this run's
            page.locator("body:not(.dead)").wait_for()
            page.locator("#answer-n").click()
            page.wait_for_timeout(100)

        page.get_by_role("link", name="Job").click()
        page.get_by_role("link", name="Photos", exact=True).click()
        page.get_by_label("Photos on this machine").set_input_files(photo)
        page.get_by_role("button", name="Take in").click()
        page.locator(".photos img").first.wait_for()
        page.get_by_role("link", name="Review", exact=True).click()
        page.get_by_text("43.5").first.wait_for()
        page.get_by_role("link", name="Finish", exact=True).click()
        page.get_by_label("Cause found").select_option("valve-train")
        page.get_by_role("button", name="Close", exact=True).click()
        page.get_by_role("button", name="Open it again").wait_for()
    job = next(iter(made.client.get("/").get_data(as_text=True).split('href="/job/')[1:])).split('"')[0]
    done = made.job(job)
    made.app.extensions["journal"].close()
    assert done.closed is not None and done.closed.body.cause == "valve-train"
    assert done.facts == {"make": "Alder", "serial": "A6-0042", "hours": "8400"}
    first = next(cut for cut in done.runs[0].cuts if cut.cylinder == 1)
    heard = done.effective[first.entry]
    assert heard.clip and heard.heard, "heard, with its sound kept"
    assert len(done.pictures) == 1
