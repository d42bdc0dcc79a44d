"""A whole job by the page alone, from an empty folder and the bare command to the closed job and the desk's answer.

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
from tests.webui.browser import window
from tests.webui.conftest import jpeg
from tests.webui.whole_job import bare_journal, close_it, is_done, job_in, start_a_job, tap_in, the_desk_answers

assert server and shop, "fixtures: the sound server, and the microphone plugged in"

SPEECH_S = 26.0
"""Of the recording: the run, the speed, the baseline and the first cylinders."""

READINGS = {2: 43.1, 3: 34.7, 4: 43.3, 5: 43.1, 6: 43.2}
"""Tapped in where they were not heard."""


def test_a_job_is_done_by_the_page_alone(shop: Sound, root: Path, tmp_path: Path, chromium: Any) -> None:
    pytest.importorskip("pocketsphinx", reason="no recogniser is installed")
    pytest.importorskip("faster_whisper", reason="no recogniser is installed")
    photo = tmp_path / "bridge.jpg"
    photo.write_bytes(jpeg(1200, 900))
    with bare_journal(tmp_path) as (folder, address), window(chromium, known=False) as page:
        here, job = start_a_job(page, address)
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
        tap_in(page, READINGS)

        page.get_by_role("link", name="Job").click()
        page.get_by_role("link", name="Photos", exact=True).click()
        page.get_by_label("Photos on this machine").set_input_files(photo)
        page.get_by_role("button", name="Take in").click()
        page.locator(".photos img").first.wait_for()
        page.get_by_role("link", name="Review", exact=True).click()
        page.get_by_text("43.5").first.wait_for()
        the_desk_answers(chromium, page, here, job)
        close_it(page, job)
    done = job_in(folder)
    is_done(done)
    first = next(cut for cut in done.runs[0].cuts if cut.cylinder == 1)
    heard = done.effective[first.entry]
    assert heard.clip and heard.heard, "heard, with its sound kept"
