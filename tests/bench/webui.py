"""The pages under load: board, search and a big job among many, what a page weighs, and what open live pages cost.

`JOURNAL_BENCH_JOBS=1000,10000` measures with the last of these. Server time is from the request's coming in to the
answer's last byte, without the network. Figures are of one run on one machine.
"""

from __future__ import annotations

import os
import random
import re
import socket
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient

from journal.facts import (
    Arrangement,
    Baseline,
    Body,
    Cut,
    Engine,
    Entry,
    JobOpened,
    Note,
    Photo,
    RunEnded,
    RunKind,
    RunStarted,
    Source,
    new_id,
)
from journal.record.store import Store
from tests.bench.record import UNITS, WORDS, fill, p95
from tests.bench.table import Row
from tests.webui.own import own_browser
from webui import create_app
from webui.lan import port_of
from webui.server import listening, settle

IDLE_S = 20.0
"""Seconds for which open live pages are watched doing nothing."""

SQUEEZED = {"Accept-Encoding": "gzip"}
"""What every browser says it takes."""

PAGES = ("", "/run/1", "/live", "/review", "/photos", "/parts", "/write-up", "/finish")


def big_job(store: Store) -> str:
    """A sixteen with twelve runs, 200 photos and 1,000 entries in all; its identifier."""
    at, chance = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=8), random.Random(16)
    banks = (tuple(range(1, 9)), tuple(range(9, 17)))
    engine = Engine(16, tuple(range(1, 17)), Arrangement.VEE, banks=banks)
    bodies: list[Body] = [JobOpened("dredger main engine", engine, "low on power")]
    for _ in range(12):
        bodies += [RunStarted(RunKind.IDLE), Baseline(40.0)]
        for cylinder in [*engine.numbers] * 3:
            live = cylinder not in (3, 7, 8, 12)
            bodies.append(Cut(cylinder, round((43.6 if live else 40.0) + chance.gauss(0, 0.05), 2)))
        bodies += [Baseline(40.0), RunEnded()]
    bodies += [Photo(f"{n:064x}", f"IMG_{n}.jpg", "overhead", n % 16 + 1) for n in range(200)]
    bodies += [Note(f"note {n} of the day") for n in range(1000 - len(bodies))]
    job = new_id(at)
    entries = [
        Entry(new_id(moment), job, moment, body, 60, "Wren", Source.VOICE, "words as they were heard", certainty=0.97)
        for n, body in enumerate(bodies)
        for moment in [at + timedelta(seconds=n)]
    ]
    store.merge(entries, carried=True)
    return job


@dataclass(frozen=True)
class Took:
    """95th percentiles over some requests, ms."""

    worked: float
    """Processor time of the thread that answered."""
    waited: float
    """Time on the clock, with whatever else the machine was doing."""


def asked(client: FlaskClient, address: Callable[[], str], count: int) -> Took:
    """Server time of so many requests."""
    worked, waited = [], []
    for _ in range(count):
        where = address()
        start, clock = time.thread_time(), time.perf_counter()
        answer = client.get(where, headers=SQUEEZED)
        worked.append((time.thread_time() - start) * 1000)
        waited.append((time.perf_counter() - clock) * 1000)
        assert answer.status_code == 200, where
    return Took(p95(worked), p95(waited))


def row(what: str, took: Took, least: Took, note: str = "") -> Row:
    """One line: processor time beside that of the smallest page, with the time on the clock in the note."""
    note = f"on the clock {took.waited:.0f} ms (/code {least.waited:.0f} ms){'; ' if note else ''}{note}"
    return Row("page", f"{what}, 95th percentile", took.worked, "ms", least.worked, "/code", note)


def server_time(folder: Path, ids: list[str], big: str, at: str) -> Iterator[Row]:
    """Board, search and job pages, beside the smallest page there is."""
    app = create_app(folder)
    settle(app.extensions["journal"])
    client = own_browser(app)
    chance, least = random.Random(1), asked(client, lambda: "/code", 200)
    looked = {
        "board": lambda: "/",
        "board, a page far back": lambda: f"/?page={len(ids) // 60}",
        "board, jobs of one state": lambda: "/?state=closed",
        "search a rare word": lambda: f"/?text={chance.choice(WORDS)}",
        "search two words": lambda: f"/?text={chance.choice(UNITS)[:5]}+smoke",
        "a job page, each job for the first time": lambda: f"/job/{chance.choice(ids)}",
    }
    for name, address in looked.items():
        yield row(f"{at}: {name}", asked(client, address, 200), least)
    for name, place in (("job page", ""), ("live page", "/live"), ("review", "/review"), ("photos", "/photos")):
        client.get(f"/job/{big}{place}")
        took = asked(client, partial("/job/{}{}".format, big, place), 60)
        yield row(f"{at}: {name} of 1,000 entries, 200 photos", took, least)
    yield from changed(folder, client, big, at, least)


def changed(folder: Path, client: FlaskClient, big: str, at: str, least: Took) -> Iterator[Row]:
    """The same job page and live page when an entry came in since the last look: replayed, and analysed anew.

    A note changes nothing that a finding rests on; a reading has everything worked out again.
    """
    chance = random.Random(3)
    with Store.open(folder) as store:

        def enter(body: Body) -> None:
            moment = datetime.now(UTC)
            store.append(Entry(new_id(moment), big, moment.replace(microsecond=0), body, 60, "Wren"))

        enter(RunStarted(RunKind.IDLE))
        enter(Baseline(40.0))
        for what in ("note", "reading"):
            for name, place in (("job page", ""), ("live page", "/live/now")):

                def fresh(what: str = what, place: str = place) -> str:
                    reading = Cut(chance.randrange(1, 17), round(43.6 + chance.gauss(0, 0.05), 2))
                    enter(Note("new") if what == "note" else reading)
                    return f"/job/{big}{place}"

                took = asked(client, fresh, 60)
                words = f"{at}: {name} of 1,000 entries, a new {what} since"
                yield row(words, took, least, "replay included" + (", findings too" if what == "reading" else ""))


def weights(folder: Path, big: str) -> Iterator[Row]:
    """What each page transfers without its photos: itself, its style and its scripts."""
    client = own_browser(create_app(folder))
    heaviest = ("", 0)
    for place in PAGES:
        page = client.get(f"/job/{big}{place}", headers=SQUEEZED)
        files = set(
            re.findall(r'(?:src|href)="(/static/[^"]+)"', client.get(f"/job/{big}{place}").get_data(as_text=True))
        )
        size = len(page.data) + sum(len(client.get(file, headers=SQUEEZED).data) for file in files)
        heaviest = max(heaviest, (place or "/", size), key=lambda one: one[1])
    note = f"200 photos, 1,000 entries; heaviest: {heaviest[0]}"
    yield Row("page", "heaviest page of a big job, without its photos", heaviest[1] / 1000, "kB", note=note)


def idle(folder: Path, job: str) -> Iterator[Row]:
    """Share of a core that the server takes while nothing happens: with 20 open live pages, and with none."""
    app = create_app(folder)
    name = app.config["SESSION_COOKIE_NAME"]
    cookie = own_browser(app).get_cookie(name)
    assert cookie is not None
    head = f"Host: 127.0.0.1\r\nCookie: {name}={cookie.value}\r\n\r\n"
    server: Any = listening(app, "127.0.0.1", 0)
    ending = threading.Event()

    def serve() -> None:
        while not ending.is_set():
            server.asyncore.loop(timeout=1.0, map=server._map, count=1)

    threading.Thread(target=serve, daemon=True).start()
    shares = []
    for pages in (0, 20):
        lines = [socket.create_connection(("127.0.0.1", port_of(server))) for _ in range(pages)]
        for line in lines:
            line.sendall(f"GET /job/{job}/events HTTP/1.1\r\n{head}".encode())
            assert b"event-stream" in line.recv(4096)
        time.sleep(2)
        before = time.process_time()
        time.sleep(IDLE_S)
        shares.append((time.process_time() - before) / IDLE_S * 100)
        for line in lines:
            line.close()
    ending.set()
    app.extensions["journal"].close()
    server.task_dispatcher.shutdown(timeout=5)
    note = f"over {IDLE_S:.0f} s"
    yield Row(
        "page", "20 open live pages, nothing happening", shares[1], "% of a core", shares[0], "no page open", note
    )


def run() -> list[Row]:
    """Every row."""
    count = int(os.environ.get("JOURNAL_BENCH_JOBS", "100000").split(",")[-1])
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        with Store.open(folder) as store:
            ids = fill(store, count, random.Random(count))
            big = big_job(store)
        return [*server_time(folder, ids, big, f"{count:,} jobs"), *weights(folder, big), *idle(folder, big)]
