"""What is said of a cylinder over pressures, of earlier jobs and of a decline, word for word."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest

from journal.analysis.between.conditions import Pressure
from journal.analysis.between.machine import Earlier
from journal.analysis.between.pressure import MEANING, Answer, Level, Pressed
from journal.analysis.between.words import (
    decline_sentence,
    earlier_sentence,
    level_in_words,
    pressed_sentence,
    standing_in_words,
    start_sentence,
)
from journal.analysis.findings import Contribution, DeclineFinding, EarlierFinding, Standing


def of(cylinder: int, standing: Standing, strength: float, u: float = 0.02) -> Contribution:
    return Contribution(cylinder, 0.1, 0.1, 0.1, strength, standing, "", strength_u=u)


def test_no_cylinder_is_said_to_pull_less_than_nothing() -> None:
    assert standing_in_words(of(3, Standing.DEAD, -0.04)) == "dead (0 %)"
    assert level_in_words(of(3, Standing.DEAD, -0.04)) == "dead (0 %, 0 to 0)"
    assert level_in_words(of(3, Standing.WEAK, 0.6)) == "weak (60 %, 56 to 64)"


LOW, HIGH = Pressure(True, -1, 5.0, "5 MPa"), Pressure(True, 1, 20.0, "20 MPa")


def pressed(answer: Answer, now: Standing = Standing.WEAK, **more: object) -> str:
    levels = (Level(LOW, of(3, Standing.DEAD, 0.0), "a"), Level(HIGH, of(3, now, 0.5), "b"))
    said = pressed_sentence(replace(Pressed(3, levels, answer, 0.5, 0.03, None, None), **more))  # type: ignore[arg-type]
    start = f"cylinder 3 is dead (0 %, -4 to 4) at 5 MPa and {now} (50 %, 46 to 54) at 20 MPa: ".replace("-4", "0")
    assert said.startswith(start) and said.endswith(f"; {MEANING[answer]}")
    return said.removeprefix(start).removesuffix(f"; {MEANING[answer]}")


def test_each_answer_to_pressure_is_said_in_its_words() -> None:
    assert pressed(Answer.RECOVERS) == "recovers by 50 points, give or take 6"
    assert pressed(Answer.RISES) == "rises by 50 points, give or take 6, and is still low"
    assert pressed(Answer.RISES, Standing.UNCLEAR) == "rises by 50 points, give or take 6"
    assert pressed(Answer.FALLS, gain=-0.5) == "it pulls less with more pressure, by 50 points, give or take 6"
    assert pressed(Answer.VARIES) == "it pulls otherwise between the lowest and the highest than at both"
    same = "injection pressure makes no difference that the readings show (no more than what the readings wander)"
    assert pressed(Answer.SAME, gain=0.02) == same


def test_the_slope_is_said_where_there_is_one_and_pressure_makes_a_difference() -> None:
    slope = {"per_mpa": (0.0333, 0.002)}
    said = ", 3.3 points for each MPa, give or take 0.4"
    assert pressed(Answer.RECOVERS, **slope) == f"recovers by 50 points, give or take 6{said}"
    assert "for each MPa" not in pressed(Answer.SAME, gain=0.02, **slope)
    between = pressed(Answer.RECOVERS, fires_between=(LOW, HIGH), **slope)
    assert between.endswith(f"{said}; it fires only above a pressure between 5 MPa and 20 MPa")


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (EarlierFinding("j", "ABCD", "2025-08-14", ""), "2025-08-14, job ABCD: no run under today's conditions"),
        (EarlierFinding("j", "", "2025-08-14", "rod"), "2025-08-14: no run under today's conditions; closed with rod"),
        (
            EarlierFinding(
                "j", "ABCD", "2025-08-14", "rings", 28.04, "mm3",
                (of(1, Standing.EVEN, 1.004), of(2, Standing.WEAK, 0.6), of(3, Standing.DEAD, -0.02)),
            ),
            "2025-08-14, job ABCD: baseline 28.04 mm3; cylinders 1 100 %, 2 60 % weak, 3 0 % dead; closed with rings",
        ),
        (
            EarlierFinding("j", "", "2025-08-14", "", None, "", (of(1, Standing.EVEN, 1.0),)),
            "2025-08-14: cylinders 1 100 %",
        ),
    ],
)  # fmt: skip
def test_an_earlier_job_is_told_as_far_as_it_goes(found: EarlierFinding, said: str) -> None:
    assert earlier_sentence(found) == said


def test_what_todays_run_starts_from_is_named_by_its_reference_or_its_day() -> None:
    at = datetime(2025, 8, 14, 9, tzinfo=UTC)
    assert start_sentence(Earlier("j", "ABCD", at, "", ())).startswith("job ABCD of 2025-08-14 says beforehand how")
    assert start_sentence(Earlier("j", "", at, "", ())).startswith("the job of 2025-08-14 says beforehand how")


def test_a_decline_is_told_with_its_course_and_half_its_interval() -> None:
    said = decline_sentence(DeclineFinding(3, "2025-05-06", (1.0, 0.9, -0.01), 0.21, 0.16, 0.26))
    assert said.startswith(
        "cylinder 3 pulls less from job to job, 100 %, 90 %, 0 %: 21 points since 2025-05-06, give or take 5; a slow"
    )
