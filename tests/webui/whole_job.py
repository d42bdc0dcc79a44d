"""Steps of a whole job in a browser, from the bare command `journal` on: the shop's page, and the parts desk's."""

from __future__ import annotations

import re
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from journal.facts import PartState
from journal.record.job import Job
from journal.record.store import Store
from tests.cli.test_start import desktop
from tests.cli.test_start import opened as opened_on
from tests.webui.browser import DESKTOP

PATIENCE_MS = 60_000


@contextmanager
def bare_journal(where: Path) -> Iterator[tuple[Path, str]]:
    """`journal` on a desktop in an empty folder: the journal's folder, and what it opens the browser on."""
    process = subprocess.Popen([sys.executable, "-m", "journal"], env=desktop(where), stdout=subprocess.DEVNULL)
    try:
        [address] = opened_on(where, 1)
        yield where / "journal", address
    finally:
        process.send_signal(signal.SIGTERM)
        process.wait(timeout=60)


def job_in(folder: Path) -> Job:
    """The only job there."""
    with Store.open(folder) as store:
        [job] = [store.job(line.id) for line in store.jobs()]
        return job


def start_a_job(page: Any, address: str) -> tuple[str, str]:
    """Start a job by the form; where the pages are served, and the job's address."""
    page.goto(address)
    page.get_by_role("link", name="Start a job").click()
    for label, value in (
        ("Unit, as the shop calls it", "Orchard pump 2"), ("Technician", "Wren"), ("Engine make", "Alder"),
        ("Engine serial number", "A6-0042"), ("Hours", "8400"), ("Cylinders", "6"),
    ):  # fmt: skip
        page.get_by_label(label, exact=True).fill(value)
    page.get_by_label("Injection").select_option("hydraulically actuated")
    page.get_by_role("button", name="Start the job").last.click()
    page.locator("#hears").wait_for()
    parts = urlsplit(page.url)
    return f"{parts.scheme}://{parts.netloc}", page.url.removesuffix("/live")


def tap_in(page: Any, readings: Mapping[int, float]) -> None:
    """On the live page, send questions away and tap in what was not heard."""
    while page.locator("#answers form").count():  # what is asked about is tapped in below
        page.locator("body:not(.dead)").wait_for()
        page.locator("#answer-n").click()
        page.wait_for_timeout(200)
    for cylinder, value in readings.items():
        if page.locator(f"#tap-{cylinder}", has_text=f"{value:g}").count():
            continue
        while not page.locator("#pad").is_visible():  # what was said last may still come in, and no tap counts then
            page.locator("body:not(.dead)").wait_for()
            page.locator(f"#tap-{cylinder}").click()
        page.keyboard.type(f"{value:g}")
        page.keyboard.press("Enter")
        page.locator(f"#tap-{cylinder}", has_text=f"{value:g}").wait_for(timeout=10_000)
    page.locator("#tap-3", has_text="dead").wait_for(timeout=PATIENCE_MS)


def the_desk_answers(browser: Any, page: Any, here: str, job: str) -> None:
    """A part is wanted and its link made; the desk, in a browser of its own, sees the photo and tells number, price."""
    page.goto(f"{job}/parts")
    page.get_by_label("Part", exact=True).fill("valve bridge")
    page.locator("#part-cylinder").select_option("3")
    page.get_by_role("button", name="Want it").click()
    page.get_by_role("button", name="Make a link").click()
    link = page.locator("#link-1").input_value()
    desk = browser.new_context(viewport=DESKTOP).new_page()
    desk.goto(re.sub(r"^http://[^/]+", here, link))
    desk.get_by_text("Orchard pump 2").first.wait_for()
    assert desk.locator(".pair img").count() == 1, "the photo"
    desk.get_by_label("Part number").first.fill("VB-30017")
    desk.get_by_label("Price").fill("84.50 EUR")
    desk.get_by_role("button", name="Save all").click()
    desk.locator("main", has_text="priced").wait_for()
    desk.context.close()
    page.goto(here)
    page.get_by_text("The parts desk answered").wait_for()


def close_it(page: Any, job: str) -> None:
    """The job is closed with the cause that was found."""
    page.goto(f"{job}/finish")
    page.get_by_label("Cause found").select_option("valve-train")
    if page.get_by_label("Close although").count():
        page.get_by_label("Close although").check()
    page.get_by_role("button", name="Close", exact=True).click()
    page.get_by_role("button", name="Open it again").wait_for()


def is_done(job: Job) -> None:
    """Closed with its cause, one photo, and a part that the desk has priced; what was heard has its sound."""
    assert job.closed is not None and job.closed.body.cause == "valve-train"
    assert job.facts == {"make": "Alder", "serial": "A6-0042", "hours": "8400"}
    assert len(job.pictures) == 1
    [part] = job.parts
    assert (part.answers[-1].body.state, part.answers[-1].body.number) == (PartState.PRICED, "VB-30017")
    assert all(entry.clip for entry in job.entries if entry.heard), "each with its sound"
