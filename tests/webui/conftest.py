"""A journal with jobs in it, an application over it, and a client that fills in forms as a browser does."""

from __future__ import annotations

import io
import json
import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from pathlib import Path
from typing import Any

import pytest
from flask import Flask, Response, g, request, session
from flask.testing import FlaskClient
from PIL import Image, ImageDraw
from werkzeug.test import TestResponse

from journal.facts import Body, Engine, Entry, Injection, JobOpened, Source
from journal.record.job import Job
from journal.record.store import Store
from journal.session import Session, open_job
from tests.webui.own import own_browser
from webui import create_app

SIX = Engine(6, (1, 5, 3, 6, 2, 4), injection=Injection.HYDRAULIC)
START = datetime(2026, 3, 2, 8, tzinfo=UTC)

IDLE_RUN = (
    "idle cut out test", "baseline thirty", "cylinder one cut thirty seven point five",
    "cylinder two cut thirty seven point six", "cylinder three cut no change",
    "cylinder four cut thirty seven point four", "cylinder five cut thirty seven point five",
    "cylinder six cut thirty seven point five", "end of run",
)  # fmt: skip
"""A six with cylinder 3 dead: five equal cylinders make 30 into 37.5 when a good one is cut (common practice)."""


@dataclass
class Shop:
    """One journal, its application, and the browser of whoever started it."""

    folder: Path
    app: Any
    client: FlaskClient
    lines: list[str]

    def open(self, unit: str = "Orchard pump 2", engine: Engine = SIX, complaint: str = "misses at idle") -> str:
        """Start a job; its identifier."""
        with Store.open(self.folder) as store:
            return open_job(store, JobOpened(unit, engine, complaint), "Wren", at=START)

    def say(self, job: str, *texts: str, source: Source = Source.VOICE) -> list[Entry]:
        """Say something into a job through the text path; the entries it became."""
        with Store.open(self.folder) as store:
            session = Session(store, job, "Wren", source)
            session.clock = self._clock(store, job)
            made = [outcome.entry for text in texts for outcome in session.type(text)]
        return [entry for entry in made if entry is not None]

    def enter(self, job: str, *bodies: Body, heard: str = "", clip: str = "") -> list[Entry]:
        """Put bodies straight into a job."""
        with Store.open(self.folder) as store:
            session = Session(store, job, "Wren", Source.VOICE)
            session.clock = self._clock(store, job)
            return [session.enter(body, heard=heard, clip=clip) for body in bodies]

    def _clock(self, store: Store, job: str) -> Callable[[], datetime]:
        now = [store.entries(job)[-1].at_utc]

        def tick() -> datetime:
            now[0] += timedelta(seconds=10)
            return now[0]

        return tick

    def job(self, job: str) -> Job:
        """The job as it stands on disk."""
        with Store.open(self.folder) as store:
            return store.job(job)

    def get(self, address: str, **how: Any) -> TestResponse:
        """Ask for a page as whoever started the journal."""
        return self.client.get(address, **how)

    def post(self, address: str, _client: FlaskClient | None = None, **form: Any) -> TestResponse:
        """Send a form with the page's own sign, and follow to where it leads."""
        client = _client or self.client
        sign = sign_of(client.get("/code").get_data(as_text=True))
        return client.post(address, data={"csrf_token": sign, **form}, follow_redirects=True)

    def log(self) -> list[dict[str, Any]]:
        """The lines of the log."""
        path = self.folder / "page.log"
        return [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()] if path.exists() else []

    def refused(self) -> list[str]:
        """What the log says was refused, in order."""
        return [line["refused"] for line in self.log() if "refused" in line]


def sign_of(page: str) -> str:
    """A page's CSRF sign."""
    found = re.search(r'name="csrf_token" value="([^"]+)"', page)
    assert found is not None, "the page has no form"
    return found.group(1)


def text_of(answer: TestResponse) -> str:
    """An answer's body as text."""
    return answer.get_data(as_text=True)


def jpeg(width: int = 640, height: int = 480, seed: int = 0) -> bytes:
    """A sharp, well exposed picture; another for each seed."""
    image = Image.new("RGB", (width, height), (120 + seed % 60, 130, 110))
    draw = ImageDraw.Draw(image)
    for step in range(0, width, 16):
        draw.line((step, 0, width - step, height), fill=(30, 40 + seed % 90, 220), width=3)
    held = io.BytesIO()
    image.save(held, "JPEG", quality=90)
    return held.getvalue()


QUIET = frozenset(
    {"access.enter", "access.give_code", "access.network", "access.call", "access.put_out", "looks.theme"}
)
"""Forms whose page shows by itself what came of them."""


def _keep_promises(app: Flask) -> None:
    """Hold every answer of any test against what is true of all of them."""

    @app.after_request
    def _check(answer: Response) -> Response:
        status = HTTPStatus(answer.status_code)  # one that IANA has registered
        if 300 <= status < 400:
            # See Other after a form (RFC 9110, 15.4.4), so that the page it leads to can be loaded again.
            assert status in (HTTPStatus.SEE_OTHER, HTTPStatus.NOT_MODIFIED), f"{request.endpoint}: {status}"
        if status in (HTTPStatus.FORBIDDEN, HTTPStatus.GONE, HTTPStatus.TOO_MANY_REQUESTS):
            assert g.get("refused"), f"{request.endpoint}: the log says why it was {status}"
        if request.method == "POST" and status is HTTPStatus.SEE_OTHER and request.endpoint not in QUIET:
            assert session.get("_flashes"), f"{request.endpoint}: it is told what came of a form"
        return answer


def make(folder: Path, **how: Any) -> Shop:
    """A journal's application for tests."""
    lines: list[str] = []
    app = create_app(folder, announce=lines.append, **how)
    app.testing = True
    _keep_promises(app)
    return Shop(folder, app, own_browser(app), lines)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """An empty journal on this machine only."""
    made = make(tmp_path / "journal")
    yield made
    made.app.extensions["journal"].close()


@pytest.fixture
def lan(tmp_path: Path) -> Iterator[Shop]:
    """An empty journal that the network may see."""
    made = make(tmp_path / "journal", lan=True)
    yield made
    made.app.extensions["journal"].close()


@pytest.fixture
def tested(shop: Shop) -> tuple[Shop, str]:
    """A journal with one job on which cylinder 3 was found dead."""
    job = shop.open()
    shop.say(job, *IDLE_RUN)
    return shop, job


FLAGS = [
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
"""Keep the browser from asking anything of anyone; Playwright gives each start an empty profile of its own."""


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    """The browser; the test is skipped with its reason where it cannot be had."""
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    where = shutil.which("chromium") or shutil.which("chromium-browser")
    if where is None:
        pytest.skip("Debian's chromium is not installed")
    with api.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=where, args=FLAGS)
        yield browser
        browser.close()
