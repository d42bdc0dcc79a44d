"""What is said without a unit is entered in the shop's, read back with it, and stays so whatever is chosen later."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from journal.facts import (
    Baseline,
    Body,
    Check,
    Condition,
    Cut,
    Engine,
    JobOpened,
    Quantity,
    Question,
    RunStarted,
    Subject,
)
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording.types import Verdict

Q = Quantity


@pytest.fixture
def session(tmp_path: Path, six: Engine) -> Iterator[Session]:
    with Store.open(tmp_path / "journal") as store:
        yield Session(store, open_job(store, JobOpened("Pump", six), "Ash"))


@pytest.mark.parametrize(
    ("say", "body", "said"),
    [
        ("coolant one eighty five", Condition(Q.COOLANT_TEMPERATURE, 185, "degF"), "degrees Fahrenheit"),
        ("oil temperature two hundred", Condition(Q.OIL_TEMPERATURE, 200, "degF"), "degrees Fahrenheit"),
        ("injection pressure eight hundred", Condition(Q.INJECTION_PRESSURE, 800, "psi"), "P S I"),
        ("desired injection pressure 750", Condition(Q.DESIRED_INJECTION_PRESSURE, 750, "psi"), "P S I"),
        ("oil pressure forty five", Condition(Q.OIL_PRESSURE, 45, "psi"), "P S I"),
        ("boost eighteen", Condition(Q.BOOST_PRESSURE, 18, "psi"), "P S I"),
        ("crankcase pressure two", Condition(Q.CRANKCASE_PRESSURE, 2, "inH2O"), "inches of water"),
        ("return flow one twenty", Condition(Q.RETURN_FLOW, 120), "millilitres a minute"),
        ("power two ten", Condition(Q.POWER, 210, "hp"), "horsepower"),
        ("coolant eighty five degrees celsius", Condition(Q.COOLANT_TEMPERATURE, 85, "degC"), "degrees Celsius"),
        (
            "cylinder two compression three ninety",
            Check(Subject.COMPRESSION, "measured", 2, value=390, unit="psi"),
            "P S I",
        ),
        ("cylinder five lash fourteen", Check(Subject.LASH, "measured", 5, value=0.014, unit="in"), "fourteen thou"),
    ],
)  # fmt: skip
def test_in_a_shop_of_psi_and_fahrenheit_a_number_needs_no_unit_and_no_question(
    session: Session, say: str, body: Body, said: str
) -> None:
    session.units = "us"
    (outcome,) = session.type(say)
    assert outcome.verdict is Verdict.TAKE and outcome.entry is not None, outcome
    assert outcome.entry.body == body
    assert said in outcome.say


def test_a_number_that_only_the_other_unit_makes_possible_is_taken_and_remarked(session: Session) -> None:
    (outcome,) = session.type("coolant one eighty five")
    assert outcome.entry is not None and outcome.entry.body == Condition(Q.COOLANT_TEMPERATURE, 185, "degF")
    assert "taken as degrees Fahrenheit" in outcome.line and "degrees Fahrenheit" in outcome.say


def test_a_number_that_two_other_units_make_possible_is_asked_about_with_its_unit(session: Session) -> None:
    (outcome,) = session.type("injection pressure eight hundred")
    assert outcome.verdict is Verdict.ASK and outcome.entry is not None
    assert isinstance(outcome.entry.body, Question) and "megapascals" in outcome.entry.body.prompt


def test_a_job_stays_what_it_was_when_the_shop_chooses_other_units(session: Session) -> None:
    session.units = "us"
    for words in ("idle cut-out test on fuel rate", "baseline one point one", "coolant one eighty five"):
        session.type(words)
    run = session.job.runs[0]
    assert [(r.value, r.unit) for r in (*run.baselines, *run.conditions)] == [(1.1, "gal/h"), (185.0, "degF")]
    session.units = "si"
    assert session.job.runs[0] == run
    (outcome,) = session.type("one cut, one point three")
    assert outcome.say == "one, one point three", (
        "a run has its own unit, and its readings are read back as shortly as ever"
    )
    assert session.job.runs[0].cuts[0].unit == "gal/h"


def test_a_reading_before_any_run_is_in_the_shops_unit(session: Session) -> None:
    session.units = {Q.FUEL_PER_STROKE: "mg"}
    session.type("baseline thirty one")
    session.type("one cut, thirty seven")
    (run,) = session.job.runs
    assert [(r.value, r.unit) for r in (*run.baselines, *run.cuts)] == [(31.0, "mg"), (37.0, "mg")]
    assert session.job.entries[-2].body == Baseline(31.0, unit="mg")
    assert session.job.entries[-1].body == Cut(1, 37.0)


def test_a_run_starts_at_a_pressure_in_the_shops_unit(session: Session) -> None:
    session.units = "us"
    (outcome,) = session.type("start idle cut out at injection pressure thirty three hundred")
    body = outcome.entry.body if outcome.entry is not None else None
    assert isinstance(body, RunStarted) and (body.pressure_value, body.pressure_unit) == (3300.0, "psi")
    assert "P S I" in outcome.say
