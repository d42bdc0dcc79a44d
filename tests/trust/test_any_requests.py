"""No request whatever, to any address of the page, ends in an unhandled exception or hurts the journal.

Half of the forms are such as the page itself would send, with a value changed now and then, so that what lies behind
the first refusal is reached too.
"""

from __future__ import annotations

import io
import random
import re
import sys
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import given
from hypothesis import strategies as st
from werkzeug.routing import BuildError, Rule

from journal.facts import (
    Baseline,
    Body,
    Check,
    Cut,
    Engine,
    JobClosed,
    JobOpened,
    Note,
    PartWanted,
    Photo,
    PhotoCue,
    PhotoMark,
    PressureLevel,
    Question,
    RunKind,
    RunStarted,
)
from journal.record.clips import keep_clip
from journal.record.photos import take_in
from journal.record.store import Store
from journal.record.verify import verify
from journal.session import Session, open_job
from journal.tapped import last_done
from tests.trust.effort import tries
from tests.trust.spoilt import spoil
from tests.webui.own import own_browser
from webui import listening
from webui.app import create_app
from webui.grants import LinkKind
from webui.listener import Listener
from webui.shop import Shop

PICTURE = Path(__file__).resolve().parents[2] / "demo" / "orchard" / "blow-by.jpg"

CYLINDERS = ("", "1", "3", "4")
SENSIBLE: dict[str, dict[str, tuple[str, ...]]] = {
    "access.call": {"name": ("Bay 2 phone", "")},
    "access.devices": {"job": ("JOB", "")},
    "access.network": {"act": ("open", "shut"), "job": ("JOB", "")},
    "access.give_code": {"code": ("1234 5678",), "name": ("Bay 2 phone",), "to": ("/", "/new")},
    "board.board": {
        "text": ("bench",), "state": ("open", "closed"), "page": ("1", "2"), "since": ("", "2026-01-01"),
        "until": ("", "2099-01-01"),
    },
    "board.find": {"job": ("JOB",)},
    "board.new": {
        "start": ("1",), "unit": ("Test bench",), "complaint": ("misses", ""), "cylinders": ("6",),
        "order": ("1-5-3-6-2-4", ""), "arrangement": ("inline",), "injection": ("common rail",), "technician": ("Ash",),
    },
    "desk.answer": {
        "far-PART": ("ordered", "arrived", ""), "anyway-PART": ("yes", ""), "number-PART": ("B-3",),
        "price-PART": ("12", ""),
        "superseded_by-PART": ("B-4", ""), "availability-PART": ("now",), "lead_time-PART": ("two days", ""),
        "date-PART": ("2026-03-01", ""), "note-PART": ("",), "seen-PART": ("",),
    },
    "facts.keep": {
        "unit": ("Test bench", "Bench 2"), "complaint": ("smokes",), "hours": ("1200", ""), "mileage": ("",),
        "cylinders": ("6", "8"), "order": ("", "1-5-3-6-2-4"), "arrangement": ("inline",),
        "injection": ("common rail", "unit pump"), "banks": ("", "1,2,3; 4,5,6"), "drivers": ("", "1,2; 3,4"),
        "branches": ("", "1,2,3; 4,5,6"),
    },
    "finish.close": {"cause": ("injector", "valve-train", "unknown"), "cylinder": CYLINDERS, "anyway": ("1",)},
    "finish.order_anyway": {"cause": ("injector", "valve-train"), "cylinder": CYLINDERS, "reason": ("waited for",)},
    "finish.put_back": {"what": ("cylinders", "injection pressure")},
    "finish.repaired": {"text": ("new bridge",), "cylinder": CYLINDERS, "back": ("live", "overview", "")},
    "handset.cue": {"subject": ("overhead", "blow-by"), "cylinder": CYLINDERS},
    "handset.now": {"after": ("", "0", "3")},
    "links.give": {"days": ("1", "7", "30")},
    "links.order": {"paper": ("A4", "Letter")},
    "links.say": {
        "far-PART": ("", "ordered", "arrived", "fitted", "not needed"), "anyway-PART": ("yes",),
        "price-PART": ("12", ""),
        "number-PART": ("B-3", "B-5"),
    },
    "links.want": {"description": ("valve bridge",), "quantity": ("1", ""), "cylinder": CYLINDERS, "reason": ("",)},
    "listening.listen": {"act": ("listen", "stop"), "microphone": ("", "usb"), "voice": ("tones", "silent"),
                         "lead": ("", "yes")},
    "live.answer": {"choice": ("0", "1", "neither"), "back": ("review", "")},
    "looks.theme": {"theme": ("dark", "light", "system"), "back": ("/", "/new")},
    "looks.who": {"technician": ("Ash", "Wren"), "back": ("/", "/new")},
    "mending.nothing": {"entry": ("LOST",), "back": ("overview", "")},
    "mending.put_right": {
        "words": ("cylinder four cut thirty eight", "cylinder four cut three hundred", ""), "nothing": ("", "yes"),
        "option": ("", "0", "1"), "back": ("overview", ""),
    },
    "phone.cue": {"subject": ("overhead", "blow-by"), "cylinder": CYLINDERS},
    "photos.mark": {
        "shape": ("ring", "arrow"), "x0": ("10", "0"), "y0": ("10.5",), "x1": ("60", "100"), "y1": ("70",),
        "text": ("", "here"),
    },
    "photos.pair": {"left": ("PHOTO", ""), "right": ("PHOTO", "")},
    "photos.place": {"subject": ("overhead", "blow-by", "the harness"), "cylinder": CYLINDERS},
    "review.add": {
        "words": ("", "", "cylinder four cut thirty eight", "blow by light", "idle cut out test", "scratch that"),
        "cylinder": CYLINDERS, "value": ("38.5", "38,5"), "run": ("", "1", "2"), "no_change": ("", "", "1"),
        "back": ("", "run-1", "all"), "sure": ("", "yes"),
    },
    "review.correct": {
        "words": ("", "", "cylinder four cut thirty eight"), "cylinder": ("1", "4"), "value": ("38.5", "31"),
        "outcome": ("", "light", "heavy"), "text": ("oil on the fifth",), "no_change": ("", "1"),
        "back": ("", "run-1", "cylinder-4", "rest"), "sure": ("", "yes"),
    },
    "review.review": {"show": ("", "run-1", "cylinder-3", "rest", "all", "cylinder-99"), "page": ("1", "2")},
    "review.take_back": {"back": ("run-1", "")},
    "tapping.number": {
        "about": ("cylinder", "question", "baseline"), "cylinder": CYLINDERS, "question": ("QUESTION",),
        "value": ("38.5", "31", ""), "no_change": ("", "yes"),
    },
    "tapping.take_back": {"entry": ("LAST", "")},
    "units.choose": {"set": ("", "si", "us"), "coolant temperature": ("degF", "degC"), "lash": ("thou", "mm")},
    "writeup.edit": {"text": ("in our own words", ""), "generated": ("", "", "1")},
    "writeup.download": {"paper": ("A4", "Letter")},
}  # fmt: skip
"""What each address's own form, or its page's search, may well send."""

FIELDS = sorted({name for form in SENSIBLE.values() for name in form} | {"fill", "shape", "q"})
"""Every name a form of the page sends, and some that none does."""

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
    "٣",
    "9" * 19,
    "-0.0",
    "2026-13-40",
    "\r\nX: y",
]
"""Values that are easily taken for something else."""

WORDS = ("overhead", "blow-by", "wiring", "ring", "arrow", "ordered", "arrived", "light", "cylinder", "first")
"""Words that forms offer: states, subjects, parts."""

EACH_JOB = 80
"""Requests until another job is made: what was answered, taken back or put out would soon be all there is."""


class _Unmoved:
    """Stands for the server's network: that it moves is tried in `tests/webui/test_devices.py`."""

    def open(self) -> None: ...

    def shut(self) -> None: ...

    def tell(self) -> None: ...


class Place:
    """An application over a journal with a bit of everything, and the names that lead somewhere in it."""

    def __init__(self, folder: Path, store: Store) -> None:
        """Over the journal in this folder, with one job."""
        self.folder, self.store = folder, store
        self.app: Flask = create_app(folder, lan=True)
        self.app.config.update(WTF_CSRF_ENABLED=False, PROPAGATE_EXCEPTIONS=True)
        self.shop: Shop = self.app.extensions["journal"]
        waits = [sys.executable, "-c", "import sys; sys.stdin.read()"]
        self.shop.listener = Listener(folder, lambda folder, wanted: waits)
        self.shop.network = _Unmoved()
        self.own = own_browser(self.app)
        self.asked = self.jobs = 0
        self.names: dict[str, tuple[str, ...]] = {}
        """What leads somewhere now, by the kind of name."""
        self.answered: dict[str, Counter[int]] = {}
        """How often each address gave each status."""
        self.renew()

    def renew(self) -> None:
        """Make another job with runs, questions, parts, photos, marks and links, and forget the one before."""
        self.shop.listener.stop()
        # A minute ago: what was asked just now takes no answer yet.
        began = datetime.now(UTC) - timedelta(minutes=1)
        job = open_job(self.store, JobOpened("Test bench", Engine(6), "misses"), "Ash", at=began)
        session = Session(self.store, job, clock=lambda: began)
        clip = keep_clip(self.folder, np.sin(np.arange(3000) / 10).astype(np.float32) * 0.1)
        runs: list[Body] = [RunStarted(RunKind.IDLE), Baseline(30.0)]
        runs += [Cut(number, 30.0 if number == 3 else 37.5) for number in range(1, 7)]
        runs += [Check("blow-by", "light"), Note("oil on the fourth")]
        runs += [RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6), pressure=PressureLevel.HIGH), Baseline(41.0)]
        entries = [session.enter(body, clip=clip).id for body in runs]
        either = Cut(4, 13.0), Cut(4, 30.0)
        questions = [session.enter(Question("four: thirteen, or thirty?", either)).id for _ in range(3)]
        lost = [session.enter(Question("Sorry?", ()), heard="four down thirty eight", clip=clip).id for _ in range(3)]
        parts = [session.enter(PartWanted("injector", 1, cylinder)).id for cylinder in (3, None)]
        session.enter(PhotoCue("overhead", 3))
        photo = take_in(self.folder, PICTURE)
        session.enter(Photo(photo.sha256, "blow-by.jpg", taken_at=photo.taken_at))
        marks = [session.enter(PhotoMark(photo.sha256, "ring", 0.1, 0.1, 0.4, 0.4)).id for _ in range(3)]
        self.jobs += 1
        if self.jobs % 3 == 0:
            session.enter(JobClosed("unknown"))
        links = {kind: self.shop.grants.give(session.job_id, kind, timedelta(days=1)) for kind in LinkKind}
        self.names = {
            "job_id": (session.job_id,), "entry_id": tuple(entries), "question": tuple(questions),
            "lost": tuple(lost),
            "part_id": tuple(parts), "sha": (photo.sha256,), "clip": (clip,), "mark": tuple(marks),
            "desk": (self.shop.grants.token(links[LinkKind.DESK]),), "device": (self.shop.grants.admit(),),
            "phone": (self.shop.grants.token(links[LinkKind.PHONE]),), "number": ("1", "2"),
            "stream": ("00112233445566aa", "ffeeddccbbaa9988"),
            "secret": (self.shop.entrance.secret,),
            "link_id": tuple(link.id for link in links.values()), "filename": ("page.css",),
        }  # fmt: skip

    def client(self) -> FlaskClient:
        """A new browser with the cookie of the one that was let in."""
        client, name = self.app.test_client(), self.app.config["SESSION_COOKIE_NAME"]
        cookie = self.own.get_cookie(name)
        assert cookie is not None
        client.set_cookie(name, cookie.value)
        return client

    @property
    def all_names(self) -> tuple[str, ...]:
        """Every name that leads somewhere."""
        return tuple(name for names in self.names.values() for name in names)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    folder = tmp_path_factory.mktemp("any requests") / "journal"
    with Store.open(folder) as store, pytest.MonkeyPatch.context() as patch:
        patch.setattr(listening, "_listed", list)
        made = Place(folder, store)
        yield made
        made.shop.listener.stop()
        assert verify(store) == []
        told = Counter(status // 100 for statuses in made.answered.values() for status in statuses.elements())
        print(f"answers by hundreds: {dict(sorted(told.items()))}")


def value(chance: random.Random, place: Place) -> str:
    """Something to send: what leads somewhere, what a form offers, a number, or something odd."""
    match chance.randrange(4):
        case 0:
            return chance.choice(place.all_names)
        case 1:
            return chance.choice(WORDS)
        case 2:
            return str(chance.choice([0, 1, 3, 4, 30.2, 0.5, 700]))
        case _:
            return chance.choice(ODD)


KINDS = {
    ("live.answer", "entry_id"): "question",
    ("mending.put_right", "entry_id"): "lost",
    ("photos.unmark", "entry_id"): "mark",
    ("files.clip", "sha"): "clip",
    **{(f"phone.{what}", "token"): "phone" for what in ("view", "send", "now", "cue", "photo")},
}
"""What kind of name an address wants, where its own word does not say."""


def address(rule: Rule, chance: random.Random, place: Place) -> str | None:
    """An address that the rule matches, or none where these values make none."""
    values: dict[str, Any] = {}
    for name in rule.arguments:
        kind = KINDS.get((rule.endpoint, name), "desk" if name == "token" else name)
        if offered := re.search(rf"any\(([^)]*)\):{name}>", rule.rule):
            values[name] = chance.choice(offered[1].split(", "))
        elif name == "number":
            values[name] = chance.choice([1, 2, 0, 3, 10**9])
        elif name == "at":
            values[name] = chance.choice([0, 0, 1, 3000, 10**12])
        elif name == "filename":
            values[name] = chance.choice(["page.css", "../app.py", "x" * 300])
        else:
            values[name] = chance.choice(place.names[kind]) if chance.random() < 0.85 else value(chance, place)
    try:
        with place.app.test_request_context():
            return str(place.app.url_map.bind("localhost").build(rule.endpoint, values, force_external=False))
    except (BuildError, ValueError):
        return None


def form(rule: Rule, chance: random.Random, place: Place) -> dict[str, Any]:
    """What a form may hold, and now and then a file: as the page would send it, nearly so, or anything."""
    if chance.random() < 0.6:
        fields: dict[str, Any] = {n: chance.choice(fit) for n, fit in SENSIBLE.get(rule.endpoint, {}).items()}
        stand_ins = {"JOB": place.names["job_id"][0], "PHOTO": place.names["sha"][0]}
        stand_ins["LOST"] = chance.choice(place.names["lost"])
        stand_ins["QUESTION"] = chance.choice(place.names["question"])
        if rule.endpoint == "tapping.take_back":
            last = last_done(place.store.job(place.names["job_id"][0]))
            stand_ins["LAST"] = last.id if last is not None else ""
        part = chance.choice(place.names["part_id"])
        fields = {name.replace("PART", part): stand_ins.get(what, what) for name, what in fields.items()}
        for name in chance.sample(sorted(fields), min(len(fields), chance.choice([0, 0, 1, 2]))):
            fields[name] = value(chance, place)
    else:
        fields = {name: value(chance, place) for name in chance.sample(FIELDS, chance.randint(0, 6))}
    return fields


def photo(chance: random.Random) -> dict[str, Any]:
    """A file as a form sends it, good or not."""
    data = PICTURE.read_bytes()
    data = data + chance.randbytes(2) if chance.random() < 0.3 else spoil(data[:2000], chance)
    name = chance.choice(["photo.jpg", "../../photo.jpg", "", "x" * 300 + ".png"])
    return {chance.choice(["photos", "photos", "memo", "file"]): (io.BytesIO(data), name)}


def ask(rule: Rule, chance: random.Random, place: Place, method: str = "") -> int:
    """Make one request that the rule matches; its status."""
    place.asked += 1
    if place.asked % EACH_JOB == 0:
        place.renew()
    path = None
    while path is None:
        path = address(rule, chance, place)
    allowed = sorted((rule.methods or set()) & {"GET", "POST"})
    method = method or chance.choice(allowed if chance.random() < 0.9 else ["GET", "POST"])
    sent = form(rule, chance, place)
    data = sent if method == "POST" else {}
    query = sent if method == "GET" else {name: value(chance, place) for name in chance.sample(FIELDS, 2)}
    if method == "POST" and chance.random() < (
        0.9 if rule.endpoint in ("photos.upload", "phone.send", "handset.send") else 0.1
    ):
        data |= photo(chance)
    body: dict[str, Any] | bytes = data
    if rule.endpoint == "stand.frame" and method == "POST":
        frame = PICTURE.read_bytes()
        body = frame if chance.random() < 0.5 else spoil(frame[:2000], chance)
    # Another device each time, or it would soon be one that tried too often; some are not of this machine.
    near = chance.random() < 0.9
    device = f"127.{chance.randrange(256)}.{chance.randrange(256)}.7" if near else f"192.0.2.{chance.randrange(256)}"
    with place.client() as client:
        # A stream of live updates has no end: only its beginning is asked for.
        answer = client.open(
            path, method=method, query_string=query, data=body, buffered=False, environ_base={"REMOTE_ADDR": device}
        )
        status = answer.status_code
        answer.close()
    place.answered.setdefault(f"{method} {rule.rule}", Counter())[status] += 1
    return status


def rules_of(place: Place) -> list[Rule]:
    """Every address there is, in order."""
    return sorted(place.app.url_map.iter_rules(), key=lambda rule: (rule.rule, rule.endpoint))


@given(seed=st.integers(0, 2**32))
@tries(400, 10_000)
def test_any_request_is_answered_without_an_unhandled_exception(seed: int, place: Place) -> None:
    chance = random.Random(seed)
    rule = chance.choice(rules_of(place))
    status = ask(rule, chance, place)
    assert status < 500 or status == 503, (rule.rule, status)


REFUSES = {"POST /code", "GET /in/<token>/photo/<sha256:sha>"}
"""The right code is another each time, so that here it is always wrong; a phone sees what it sent itself, and here each
request is another's."""


def test_every_address_is_tried_and_each_does_what_it_is_for(place: Place) -> None:
    assert set(SENSIBLE) <= {rule.endpoint for rule in rules_of(place)}
    for rule in rules_of(place):
        for method in sorted((rule.methods or set()) & {"GET", "POST"}):
            tried = (ask(rule, random.Random(seed), place, method) for seed in range(200))
            reached = any(200 <= status < 400 for status in tried)
            told = f"{method} {rule.rule}"
            assert reached or told in REFUSES, (told, place.answered[told])


def test_the_names_given_lead_to_pages(place: Place) -> None:
    with place.client() as client:
        job, sha = place.names["job_id"][0], place.names["sha"][0]
        assert client.get(f"/job/{job}").status_code == 200
        assert client.get(f"/job/{job}/photos/{sha}").status_code == 200


def test_an_exception_behind_an_address_would_be_noticed(place: Place, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(place.app.view_functions, "board.board", lambda: 1 / 0)
    with place.client() as client, pytest.raises(ZeroDivisionError):
        client.get("/")
