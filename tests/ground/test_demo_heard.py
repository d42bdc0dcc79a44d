"""The demo jobs heard from their sound by the default recogniser: every line becomes exactly its entries."""

from __future__ import annotations

from typing import Any

import pytest

from journal.analysis import diagnose
from journal.analysis.findings import Findings, Standing
from journal.cli.demo import run_demo
from journal.facts import Answer, Body, JobClosed, Question, Source
from journal.facts.codec import body_to_json
from journal.record.job import Job
from journal.record.store import Store
from journal.session import Session
from tests.ground.script import DEMO, JOBS, expected, matched, told


@pytest.fixture(scope="module", params=JOBS)
def heard(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Job, Findings]:
    """A demo job as the default recogniser hears it from its sound, its questions answered, and its findings."""
    pytest.importorskip("faster_whisper", reason="the speech extra is not installed")
    name: str = request.param
    with Store.open(tmp_path_factory.mktemp("journal")) as store:
        job = store.job(run_demo(store, DEMO / name, told(name, "job.toml")))
        said = expected(name)
        for entry in job.entries:
            if isinstance(entry.body, Question):
                right = [n for n, one in enumerate(meanings(entry.body)) if matched(said, [[one]])]
                Session(store, job.id).enter(Answer(entry.id, right[0] if right else None))
        job = store.job(job.id)
    return name, job, diagnose(job)


def meanings(body: Body) -> list[dict[str, Any]]:
    """What an entry may mean: its body, or the options it asks about."""
    return [body_to_json(option) for option in body.options] if isinstance(body, Question) else [body_to_json(body)]


def test_every_line_becomes_the_right_entry_or_a_question_that_names_it(heard: tuple[str, Job, Findings]) -> None:
    name, job, _ = heard
    made = [entry.body for entry in job.entries if entry.source is Source.VOICE]
    wanted = expected(name)
    taken = matched(wanted, [meanings(body) for body in made if not isinstance(body, Question)])
    right = matched(wanted, [meanings(body) for body in made])
    print(f"{name}: {taken} of {len(wanted)} taken right, {right - taken} asked, {len(made) - right} others")
    assert right == len(wanted)
    assert len(made) == len(wanted)


def test_every_entry_that_was_heard_keeps_its_sound(heard: tuple[str, Job, Findings]) -> None:
    _, job, _ = heard
    assert all(entry.clip and entry.heard for entry in job.entries if entry.source == "voice")


def test_the_photos_go_where_the_technician_said(heard: tuple[str, Job, Findings]) -> None:
    name, job, _ = heard
    placed = {p.photo.body.name: (p.photo.body.subject, p.photo.body.cylinder) for p in job.pictures}
    assert (
        placed
        == {
            "orchard": {
                "blow-by.jpg": ("blow-by", None),
                "broken-bridge.jpg": ("overhead", 3),
                "good-bridge.jpg": ("overhead", 4),
            },
            "forestry": {"chafed-harness.jpg": ("wiring", None)},
        }[name]
    )


def test_nothing_is_left_out_or_overridden_at_the_end(heard: tuple[str, Job, Findings]) -> None:
    _, job, findings = heard
    assert job.closed is None or not job.waiting
    assert not job.outstanding
    assert not findings.outstanding


@pytest.mark.parametrize("heard", ["orchard"], indirect=True)
def test_the_orchard_pump_has_a_valve_train_fault_and_no_indicated_injector(heard: tuple[str, Job, Findings]) -> None:
    _, _, findings = heard
    (cylinder,) = findings.cylinders
    assert (cylinder.cylinder, cylinder.standing) == (3, Standing.DEAD)
    assert cylinder.causes[0].key == "valve-train"
    injector = next(cause for cause in cylinder.causes if cause.key == "injector")
    assert injector.gate is not None
    assert not injector.gate.ready
    assert "injector" in cylinder.verdict
    assert "not indicated" in cylinder.verdict


@pytest.mark.parametrize("heard", ["forestry"], indirect=True)
def test_the_forwarders_shared_fault_is_found_and_mended(heard: tuple[str, Job, Findings]) -> None:
    _, job, findings = heard
    before, after = findings.runs
    assert [c.cylinder for c in before.contributions if c.standing is Standing.DEAD] == [4, 7]
    assert all(c.standing is Standing.EVEN for c in after.contributions)
    assert findings.mended
    assert job.closed is not None
    assert isinstance(job.closed.body, JobClosed)
    assert job.closed.body.cause == "wiring"
