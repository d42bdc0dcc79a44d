"""A whole job from an empty folder to the desk's answer, heard through a phone whose network is away for a minute.

Three browsers beside the journal's own process: the shop's, the phone's over TLS, and the parts desk's. Nobody touches
a terminal after the bare command `journal`: the page lets the phone in. `python3 tests --long
tests/webui/test_whole_job_phone.py` runs it (about four minutes).
"""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path
from urllib.parse import urlsplit

import numpy as np
import pytest

from journal.facts import Baseline, Correction, Cut
from journal.record.job import Job
from journal.record.spool import Spool
from tests.webui.browser import DESKTOP, PHONE
from tests.webui.conftest import FLAGS, jpeg
from tests.webui.test_phone_microphone import DEMO, KEEP, PATIENCE_MS, SUM, phone_with, until
from tests.webui.whole_job import bare_journal, close_it, is_done, job_in, start_a_job, tap_in, the_desk_answers

pytest.importorskip("soundfile", reason="the speech extra is not installed")

from journal.hearing.endpoint import utterances
from journal.hearing.sources import blocks_from_file
from journal.hearing.types import RATE, Sound

PAUSE_S = 6.0
"""After each phrase: whoever speaks waits for the answer, to which the phone is deaf."""
AWAY_S = 60
"""For so long the phone has no network."""


def dictated() -> Sound:
    """The demo's first run, phrase by phrase."""
    pause = np.zeros(round(PAUSE_S * RATE), np.float32)
    phrases = [utterance.sound for utterance in utterances(blocks_from_file(DEMO / "1-idle.flac"))]
    return np.concatenate([part for phrase in phrases for part in (phrase, pause)])


def meant() -> tuple[float, dict[int, float]]:
    """The baseline and the readings of that run, from the script by which it was spoken."""
    script = tomllib.loads((DEMO / "script.toml").read_text(encoding="utf-8"))
    entries = [entry for line in script["part"][0]["line"] for entry in line["entries"]]
    [base] = [entry["value"] for entry in entries if entry["kind"] == "baseline"]
    return base, {entry["cylinder"]: entry["value"] for entry in entries if entry["kind"] == "cut"}


def named(job: Job) -> list[object]:
    """All that its questions have offered, waiting or not, and all that was ever entered."""
    bodies = [entry.body for entry in job.entries]
    offered = [option for asked in job.questions for option in asked.question.body.options]
    return [body.body if isinstance(body, Correction) else body for body in (*bodies, *offered)]


@pytest.mark.long
def test_a_job_is_done_with_a_phone_as_microphone_whose_network_is_away_for_a_minute(tmp_path: Path) -> None:
    pytest.importorskip("pocketsphinx", reason="no recogniser is installed")
    pytest.importorskip("faster_whisper", reason="no recogniser is installed")
    said, photo = dictated(), tmp_path / "bridge.jpg"
    photo.write_bytes(jpeg(1200, 900))
    with phone_with(said, tmp_path) as phones, bare_journal(tmp_path) as (folder, address):
        shop = phones.browser_type.launch(executable_path=_where(), args=FLAGS)
        page = shop.new_context(viewport=DESKTOP).new_page()
        here, job = start_a_job(page, address)

        # The page lets the shop's network in; the phone gives the code that it shows, and is made the microphone.
        page.goto(f"{job}/handset")
        page.get_by_role("link", name="Let a phone in for this job").click()
        page.get_by_role("button", name="Let devices of the shop's network in").click()
        code = re.sub(r"\D", "", page.locator(".huge").inner_text())
        secure = urlsplit(page.locator(".address").nth(1).inner_text()).port
        phone = phones.new_context(viewport=PHONE, has_touch=True).new_page()
        phone.goto(f"https://127.0.0.1:{secure}{urlsplit(job).path}/handset")
        phone.get_by_label("The digits of the code").fill(code)
        phone.get_by_role("button", name="Let this device in").click()
        phone.get_by_role("button", name="Start the microphone").wait_for()
        phone.evaluate(KEEP)
        phone.get_by_role("button", name="Start the microphone").click()
        page.goto(f"{job}/live")
        page.locator("#hears.is-listening").wait_for(timeout=120_000)
        spool = Spool(folder, job.rpartition("/")[2])
        until(lambda: _read(spool) > 25 * RATE, phone, 120)

        phone.context.set_offline(True)
        phone.get_by_text("no line to the shop's machine").wait_for(timeout=PATIENCE_MS)
        there = _read(spool)
        phone.wait_for_timeout(1000 * AWAY_S)
        assert phone.locator("#state").inner_text() == "NOT LISTENING"
        assert max(stream.have for stream in spool.streams()) <= there + 10 * RATE, "nothing came meanwhile"
        phone.context.set_offline(False)
        phone.get_by_text("LISTENING", exact=True).wait_for(timeout=PATIENCE_MS)
        until(lambda: sum(stream.taken for stream in spool.streams()) > len(said) - (PAUSE_S + 3) * RATE, phone, 600)
        phone.get_by_role("button", name="Stop the microphone").click()
        until(lambda: all(stream.ended for stream in spool.streams()), phone)
        [recorded, _] = phone.evaluate(SUM)
        assert sum(stream.have for stream in spool.streams()) == recorded, "every sample came, each once"

        # What was said became entries or was asked about, and nothing else did.
        base, readings = meant()
        heard = job_in(folder)
        told = named(heard)
        lost = [n for n, value in readings.items() if Cut(n, value) not in told]
        assert Baseline(base) in told or heard.not_understood
        assert len(lost) <= len(heard.not_understood), (lost, [entry.heard for entry in heard.entries])
        wrong = [cut for run in heard.runs for cut in run.cuts if readings.get(cut.cylinder or 0) != cut.value]
        assert wrong == []
        entered = sum(len(run.cuts) for run in heard.runs)

        tap_in(page, readings)
        phone.reload()
        phone.get_by_label("What the next photo shows").select_option("overhead")
        phone.get_by_role("button", name="Cylinder 3", exact=True).click()
        phone.locator("#landing", has_text="overhead").wait_for()
        phone.locator("#camera").set_input_files(photo)
        phone.locator("#sent img").first.wait_for()

        the_desk_answers(shop, page, here, job)
        close_it(page, job)
        shop.close()
    done = job_in(folder)
    print(f"{len(said) / RATE:.0f} s said, {entered} of {len(readings)} cylinders entered as heard, wrong {len(wrong)}")
    is_done(done)
    assert {cut.cylinder: cut.value for cut in done.runs[0].cuts} == readings
    assert done.pictures[0].photo.body.cylinder == 3


def _where() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


def _read(spool: Spool) -> int:
    return max((stream.read for stream in spool.streams()), default=0)
