"""Fuel that makes no torque is said when a run starts or while it goes on, counts for that run only, is read back."""

from __future__ import annotations

from dataclasses import replace

import pytest

from journal.facts import Correction, Engine, RunKind, RunStarted
from journal.hearing.types import Candidate
from journal.wording import Context, Verdict, decide, decide_text, describe, read_back

STARTED = RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6))
RUNNING = Context(engine=Engine(6), run=STARTED, run_id="the run", baseline=30.0)


@pytest.mark.parametrize(
    ("said", "fuel"),
    [("no torque fuel six", 6.0), ("no-torque fuel 6.5", 6.5), ("the fuel that makes no torque is seven", 7.0)],
)
def test_said_while_a_run_goes_on_it_corrects_how_that_run_was_announced(said: str, fuel: float) -> None:
    (decision,) = decide_text(said, RUNNING)
    assert decision.verdict is Verdict.TAKE
    assert decision.meaning == Correction("the run", replace(STARTED, idle_fuel=fuel))


@pytest.mark.parametrize("context", [Context(engine=Engine(6)), replace(RUNNING, run=None)])
def test_without_an_announced_run_it_is_let_go_with_the_reason(context: Context) -> None:
    (decision,) = decide_text("no torque fuel six", context)
    assert decision.verdict is Verdict.LET_GO
    assert "say it when a run is started" in decision.reason


def test_it_is_read_back_with_how_long_it_holds() -> None:
    (decision,) = decide_text("no torque fuel six", RUNNING)
    assert decision.meaning is not None
    assert read_back(decision.meaning) == "no-torque fuel six, this run only"
    assert "no-torque fuel 6, this run only" in describe(decision.meaning)
    assert "no-torque fuel six, this run only" in read_back(RunStarted(RunKind.IDLE, idle_fuel=6.0))


@pytest.mark.parametrize("said", ["no torque fuel forty", "no torque fuel thirty"])
def test_as_much_as_the_baseline_is_asked_about(said: str) -> None:
    (decision,) = decide_text(said, RUNNING)
    assert decision.verdict is Verdict.ASK


def test_heard_it_is_asked_about_where_another_number_sounds_alike() -> None:
    (decision,) = decide([Candidate("no torque fuel thirteen", -1.0, "one")], replace(RUNNING, baseline=60.0))
    assert decision.verdict is Verdict.ASK
    meant = [m for m in (decision.meaning, *decision.alternatives) if isinstance(m, Correction)]
    assert 13.0 in {m.body.idle_fuel for m in meant if isinstance(m.body, RunStarted)}


def test_an_absurd_amount_is_asked_about_when_the_run_starts() -> None:
    (decision,) = decide_text("idle cut out, no torque fuel six hundred", Context(engine=Engine(6)))
    assert decision.verdict is Verdict.ASK
