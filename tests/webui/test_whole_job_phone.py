"""A whole job from an empty folder to the desk's answer, heard through a phone whose network is away for a minute.

Three browsers beside the journal's own process: the shop's, the phone's over TLS, and the parts desk's. Nobody touches
a terminal after the journal was started. `python3 tests --long tests/webui/test_whole_job_phone.py` runs it (about four
minutes).
"""

from __future__ import annotations

import re
import shutil
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from journal.facts import Baseline, Correction, Cut, PartState
from journal.record.job import Job
from journal.record.spool import Spool
from journal.record.store import Store
from tests.webui.browser import DESKTOP, PHONE
from tests.webui.conftest import FLAGS, jpeg
from tests.webui.test_phone_microphone import DEMO, KEEP, PATIENCE_MS, SUM, free_ports, phone_with, served, until

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


def job_in(folder: Path) -> Job:
    """The only job there."""
    with Store.open(folder) as store:
        [job] = [store.job(line.id) for line in store.jobs()]
        return job


def named(job: Job) -> list[object]:
    """All that its questions have offered, waiting or not, and all that was ever entered."""
    bodies = [entry.body for entry in job.entries]
    offered = [option for asked in job.questions for option in asked.question.body.options]
    return [body.body if isinstance(body, Correction) else body for body in (*bodies, *offered)]


@pytest.mark.long
def test_a_job_is_done_with_a_phone_as_microphone_whose_network_is_away_for_a_minute(tmp_path: Path) -> None:
    pytest.importorskip("pocketsphinx", reason="no recogniser is installed")
    pytest.importorskip("faster_whisper", reason="no recogniser is installed")
    folder, ports, said = tmp_path / "journal", free_ports(), dictated()
    photo = tmp_path / "bridge.jpg"
    photo.write_bytes(jpeg(1200, 900))
    with phone_with(said, tmp_path) as phones, served(folder, ports) as (_, enter):
        here = f"http://127.0.0.1:{ports[0]}"
        shop = phones.browser_type.launch(executable_path=_where(), args=FLAGS)
        page = shop.new_context(viewport=DESKTOP).new_page()
        page.goto(enter)
        _start(page)
        job = page.url.split("/job/")[1].split("/")[0]

        # The phone is let in by the code on the shop's page, and made the microphone.
        page.goto(f"{here}/devices?job={job}")
        code = re.sub(r"\D", "", page.locator(".huge").inner_text())
        phone = phones.new_context(viewport=PHONE, has_touch=True).new_page()
        phone.goto(f"https://127.0.0.1:{ports[1]}/code?to=/job/{job}/handset")
        phone.get_by_label("The digits of the code").fill(code)
        phone.get_by_role("button", name="Let this device in").click()
        phone.get_by_role("button", name="Start the microphone").wait_for()
        phone.evaluate(KEEP)
        phone.get_by_role("button", name="Start the microphone").click()
        page.goto(f"{here}/job/{job}/live")
        page.locator("#hears.is-listening").wait_for(timeout=120_000)
        spool = Spool(folder, job)
        until(lambda: _read(spool) > 25 * RATE, phone, 120)

        phone.context.set_offline(True)
        phone.get_by_text("no line to the shop's machine").wait_for(timeout=PATIENCE_MS)
        there = _read(spool)
        phone.wait_for_timeout(1000 * AWAY_S)
        assert phone.locator("#state").inner_text() == "NOT LISTENING"
        assert max(stream.have for stream in spool.streams()) <= there + 10 * RATE, "nothing came meanwhile"
        phone.context.set_offline(False)
        phone.get_by_text("LISTENING", exact=True).wait_for(timeout=PATIENCE_MS)
        until(lambda: sum(stream.taken for stream in spool.streams()) > len(said) - (PAUSE_S + 3) * RATE, phone, 240)
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

        _by_hand(page, readings)
        page.locator("#tap-3", has_text="dead").wait_for(timeout=PATIENCE_MS)
        phone.reload()
        phone.get_by_label("What the next photo shows").select_option("overhead")
        phone.get_by_role("button", name="Cylinder 3", exact=True).click()
        phone.locator("#landing", has_text="overhead").wait_for()
        phone.locator("#camera").set_input_files(photo)
        phone.locator("#sent img").first.wait_for()

        # The desk answers in a browser of its own.
        page.goto(f"{here}/job/{job}/parts")
        page.get_by_label("Part", exact=True).fill("valve bridge")
        page.locator("#part-cylinder").select_option("3")
        page.get_by_role("button", name="Want it").click()
        page.get_by_role("button", name="Make a link").click()
        link = page.locator("#link-1").input_value()
        desk = shop.new_context(viewport=DESKTOP).new_page()
        desk.goto(re.sub(r"^http://[^/]+", here, link))
        desk.get_by_text("Orchard pump 2").first.wait_for()
        assert desk.locator(".pair img").count() == 1, "the phone's photo"
        desk.get_by_label("Number", exact=False).first.fill("VB-30017")
        desk.get_by_label("Price").fill("84.50 EUR")
        desk.get_by_role("button", name="Save all").click()
        desk.locator("main", has_text="priced").wait_for()
        page.goto(here)
        page.get_by_text("The parts desk answered").wait_for()
        page.goto(f"{here}/job/{job}/finish")
        page.get_by_label("Cause found").select_option("valve-train")
        if page.get_by_label("Close although").count():
            page.get_by_label("Close although").check()
        page.get_by_role("button", name="Close", exact=True).click()
        page.get_by_role("button", name="Open it again").wait_for()
        shop.close()
    done = job_in(folder)
    print(f"{len(said) / RATE:.0f} s said, {entered} of {len(readings)} cylinders entered as heard, wrong {len(wrong)}")
    assert done.closed is not None and done.closed.body.cause == "valve-train"
    assert {cut.cylinder: cut.value for cut in done.runs[0].cuts} == readings
    assert done.parts[0].answers[-1].body.state is PartState.PRICED
    assert len(done.pictures) == 1 and done.pictures[0].photo.body.cylinder == 3
    assert all(entry.clip for entry in done.entries if entry.heard), "each with its sound"


def _where() -> str | None:
    return shutil.which("chromium") or shutil.which("chromium-browser")


def _start(page: Any) -> None:
    page.get_by_role("link", name="Start a job").click()
    for label, value in (
        ("Unit, as the shop calls it", "Orchard pump 2"), ("Technician", "Wren"), ("Engine make", "Alder"),
        ("Engine serial number", "A6-0042"), ("Hours", "8400"), ("Cylinders", "6"),
    ):  # fmt: skip
        page.get_by_label(label, exact=True).fill(value)
    page.get_by_label("Injection").select_option("hydraulically actuated")
    page.get_by_role("button", name="Start the job").last.click()
    page.locator("#hears").wait_for()


def _read(spool: Spool) -> int:
    return max((stream.read for stream in spool.streams()), default=0)


def _by_hand(page: Any, readings: dict[int, float]) -> None:
    """Tap in what was asked about, and send the questions away."""
    while page.locator("#answers form").count():
        page.locator("body:not(.dead)").wait_for()
        page.locator("#answer-n").click()
        page.wait_for_timeout(200)
    for cylinder, value in readings.items():
        if page.locator(f"#tap-{cylinder}", has_text=f"{value:g}").count():
            continue
        while not page.locator("#pad").is_visible():
            page.locator("body:not(.dead)").wait_for()
            page.locator(f"#tap-{cylinder}").click()
        page.keyboard.type(f"{value:g}")
        page.keyboard.press("Enter")
        page.locator(f"#tap-{cylinder}", has_text=f"{value:g}").wait_for(timeout=10_000)
