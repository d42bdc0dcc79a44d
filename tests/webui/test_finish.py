"""Toward the end of a job: repairing, ordering against the gate, closing, reopening."""

from __future__ import annotations

from journal.facts import Cut, PressureLevel, Question, RunKind, RunStarted
from journal.record.job import JobState
from tests.webui.conftest import Shop, text_of


def test_a_job_is_closed_with_its_cause_and_goes_on_when_reopened(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.post(f"/job/{job}/close", cause="valve-train", cylinder="3", text="bridge broken")
    closed = shop.job(job).closed
    assert closed is not None and (closed.body.cause, closed.body.cylinder) == ("valve-train", 3)
    assert shop.post(f"/job/{job}/close", cause="injector").status_code == 400
    shop.post(f"/job/{job}/reopen")
    assert shop.job(job).state is JobState.OPEN


def test_a_job_does_not_close_quietly_with_something_not_put_back(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, RunStarted(RunKind.IDLE, pressure=PressureLevel.LOW))
    answer = shop.post(f"/job/{job}/close", cause="injector", cylinder="2")
    assert answer.status_code == 400 and "Not put back yet: injection pressure" in text_of(answer)
    assert shop.job(job).closed is None
    shop.post(f"/job/{job}/close", cause="injector", cylinder="2", anyway="yes")
    assert shop.job(job).closed is not None


def test_a_job_does_not_close_quietly_while_a_question_waits(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, Question("one: thirteen, or thirty?", (Cut(1, 13.0), Cut(1, 30.0))))
    assert "One: thirteen, or thirty?" in text_of(shop.get(f"/job/{job}/finish"))
    answer = shop.post(f"/job/{job}/close", cause="injector", cylinder="2")
    assert answer.status_code == 400 and "question still waits: one: thirteen, or thirty?" in text_of(answer)
    assert shop.job(job).closed is None
    shop.post(f"/job/{job}/close", cause="injector", cylinder="2", anyway="yes")
    assert shop.job(job).closed is not None


def test_a_cause_that_is_not_known_closes_nothing(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    for cause in ("", "gremlins"):
        assert shop.post(f"/job/{job}/close", cause=cause).status_code == 400
    assert shop.job(job).closed is None


def test_ordering_against_the_gate_needs_a_reason_and_shows_it(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    assert shop.post(f"/job/{job}/order-anyway", cause="injector", cylinder="3", reason=" ").status_code == 400
    shop.post(f"/job/{job}/order-anyway", cause="injector", cylinder="3", reason="harvest starts tomorrow")
    page = text_of(shop.get(f"/job/{job}"))
    assert "harvest starts tomorrow" in page and "Ordered all the same" in page


def test_a_repair_makes_the_job_one_to_verify(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    page = text_of(shop.post(f"/job/{job}/repaired", text="new valve bridge", cylinder="3"))
    assert "new valve bridge" in page and shop.job(job).state is JobState.TO_VERIFY


def test_putting_back_what_was_not_changed_is_refused(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    assert shop.post(f"/job/{job}/put-back", what="cylinders").status_code == 400
