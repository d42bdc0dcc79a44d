"""A correction that names what it is about leaves the question just asked alone; one that does not answers it."""

from __future__ import annotations

from journal.context import context_of
from journal.facts import Baseline, Cut, Engine, Quantity, Question, RunKind, RunStarted
from journal.session import Session
from tests.analysis.arrange import job_of
from tests.session.test_said_back import clock, session

__all__ = ["clock", "session"]


def cuts(session: Session) -> list[tuple[int | None, float | None]]:
    return [(cut.cylinder, cut.value) for run in session.job.runs for cut in run.cuts]


def test_another_cylinders_number_is_put_right_while_a_question_waits(session: Session) -> None:
    session.type("cylinder one cut thirty seven")
    session.enter(Question("four, ninety?", (Cut(4, 90.0),)))
    session.type("correction cylinder one thirty six")
    assert cuts(session) == [(1, 36.0)]
    assert [asked.question.body.prompt for asked in session.job.waiting] == ["four, ninety?"]


def test_a_number_without_a_name_is_for_the_question_just_asked(session: Session) -> None:
    session.type("cylinder one cut thirty seven")
    session.enter(Question("four, ninety?", (Cut(4, 90.0),)))
    session.type("no thirty nine")
    assert cuts(session) == [(1, 37.0), (4, 39.0)] and session.job.waiting == ()


def test_only_a_baseline_of_the_runs_own_quantity_and_unit_is_what_its_cuts_are_expected_by() -> None:
    rate = Quantity.FUEL_RATE
    start = RunStarted(RunKind.IDLE, rate, "L/h")
    own, other = Baseline(4.0, rate, "L/h"), Baseline(1.1, rate, "gal/h")
    assert context_of(job_of(Engine(6), start, other)).baseline is None
    assert context_of(job_of(Engine(6), start, own, other)).baseline == 4.0
    power = Baseline(30.0, Quantity.POWER, "kW")
    assert context_of(job_of(Engine(6), start, own, power)).baseline == 4.0
