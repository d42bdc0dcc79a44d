"""No request whatever, to any address of the page, ends in an unhandled exception or hurts the journal."""

from __future__ import annotations

import io
import random
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from hypothesis import given
from hypothesis import strategies as st
from werkzeug.routing import BuildError, Rule

from journal.facts import Baseline, Cut, Engine, JobOpened, PartWanted, Photo, PhotoCue, Question, RunKind, RunStarted
from journal.record.photos import take_in
from journal.record.store import Store
from journal.record.verify import verify
from journal.session import Session, open_job
from tests.trust.effort import tries
from tests.trust.spoilt import spoil
from webui.app import create_app

PICTURE = Path(__file__).resolve().parents[2] / "demo" / "orchard" / "blow-by.jpg"
WEBUI = Path(__file__).resolve().parents[2] / "webui"
FIELDS = sorted(
    {name for page in (WEBUI / "templates").glob("*.html") for name in re.findall(r'name="(\w+)"', page.read_text())}
    | {"page", "text", "state", "q"}
)
"""Every name a form of the page sends."""

ODD = [
    "",
    "0",
    "-1",
    "3",
    "38",
    "38.5",
    "1e999",
    "nan",
    "x" * 2000,
    "\x00",
    "🛢",
    "<b>",
    "' OR 1=1 --",
    "../../etc",
    "4, 5",
]
"""Values that are easily taken for something else."""


@dataclass(frozen=True)
class Place:
    """An application over a journal with a bit of everything, and the names that lead somewhere in it."""

    app: Flask
    """The application."""
    names: tuple[str, ...]
    """Identifiers of jobs, entries and photos that are there."""
    words: tuple[str, ...]
    """Words that forms offer: states, subjects, parts."""


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    folder = tmp_path_factory.mktemp("any requests") / "journal"
    with Store.open(folder) as store:
        session = Session(store, open_job(store, JobOpened("Test bench", Engine(6), "misses"), "Ash"))
        made = [
            session.enter(RunStarted(RunKind.IDLE)),
            session.enter(Baseline(30.0)),
            session.enter(Cut(1, 37.5)),
            session.enter(Cut(3, 30.0)),
            session.enter(Question("four: thirteen, or thirty?", (Cut(4, 13.0), Cut(4, 30.0)))),
            session.enter(PhotoCue("overhead", 3)),
            session.enter(PartWanted("injector", 1, 3)),
        ]
        taken = take_in(folder, PICTURE)
        session.enter(Photo(taken.sha256, "blow-by.jpg", taken_at=taken.taken_at))
        names = (session.job_id, *(entry.id for entry in made), taken.sha256)
        app = create_app(folder)
        app.config.update(WTF_CSRF_ENABLED=False, PROPAGATE_EXCEPTIONS=True)
        words = ("overhead", "blow-by", "wiring", "ring", "arrow", "ordered", "arrived", "light", "cylinder", "first")
        yield Place(app, names, words)
        assert verify(store) == []


def value(chance: random.Random, place: Place) -> str:
    """Something to send: what leads somewhere, what a form offers, a number, or something odd."""
    match chance.randrange(4):
        case 0:
            return chance.choice(place.names)
        case 1:
            return chance.choice(place.words)
        case 2:
            return str(chance.choice([0, 1, 3, 4, 30.2, 0.5, 700]))
        case _:
            return chance.choice(ODD)


def address(rule: Rule, chance: random.Random, place: Place) -> str | None:
    """An address that the rule matches, or none where these values make none."""
    values: dict[str, Any] = {}
    for name in rule.arguments:
        fitting = place.names[-1:] if name == "sha" else place.names[:1] if name == "job_id" else place.names
        values[name] = chance.choice(fitting) if chance.random() < 0.8 else value(chance, place)
        if offered := re.search(rf"any\(([^)]*)\):{name}>", rule.rule):
            values[name] = chance.choice(offered[1].split(", "))
        elif name == "filename":
            values[name] = chance.choice(["page.css", "../app.py", "x" * 300])
    try:
        with place.app.test_request_context():
            return str(place.app.url_map.bind("localhost").build(rule.endpoint, values, force_external=False))
    except (BuildError, ValueError):
        return None


def form(chance: random.Random, place: Place) -> dict[str, Any]:
    """What a form may hold, and now and then a file."""
    fields: dict[str, Any] = {name: value(chance, place) for name in chance.sample(FIELDS, chance.randint(0, 6))}
    if chance.random() < 0.3:
        data = PICTURE.read_bytes()
        data = data if chance.random() < 0.2 else spoil(data[:2000], chance)
        name = chance.choice(["photo.jpg", "../../photo.jpg", "", "x" * 300 + ".png"])
        fields[chance.choice(["photo", "photos", "file", "files"])] = (io.BytesIO(data), name)
    return fields


@given(seed=st.integers(0, 2**32))
@tries(400, 10_000)
def test_any_request_is_answered_without_an_unhandled_exception(seed: int, place: Place) -> None:
    chance = random.Random(seed)
    rules = sorted(place.app.url_map.iter_rules(), key=lambda rule: (rule.rule, rule.endpoint))
    rule = chance.choice(rules)
    path = address(rule, chance, place)
    if path is None:
        return
    methods = [*sorted((rule.methods or set()) & {"GET", "POST"}), "POST"]
    query = {name: value(chance, place) for name in chance.sample(FIELDS, chance.randint(0, 3))}
    with place.app.test_client() as client:
        # A stream of live updates has no end: only its beginning is asked for.
        answer = client.open(
            path, method=chance.choice(methods), query_string=query, data=form(chance, place), buffered=False
        )
        status = answer.status_code
        answer.close()
    assert status < 500 or status == 503, (rule.rule, status)


def test_every_address_is_tried(place: Place) -> None:
    reached = set()
    for rule in place.app.url_map.iter_rules():
        if any(address(rule, random.Random(seed), place) is not None for seed in range(30)):
            reached.add(rule.rule)
    assert reached == {rule.rule for rule in place.app.url_map.iter_rules()}


def test_the_names_given_lead_to_pages(place: Place) -> None:
    with place.app.test_client() as client:
        assert client.get(f"/job/{place.names[0]}").status_code == 200
        assert client.get(f"/job/{place.names[0]}/photos/{place.names[-1]}").status_code == 200


def test_an_exception_behind_an_address_would_be_noticed(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(place.app.view_functions, "board.board", lambda: 1 / 0)
    with place.app.test_client() as client, pytest.raises(ZeroDivisionError):
        client.get("/")
