"""A fact has one wording, whoever shows it."""

from __future__ import annotations

import pytest

from journal.analysis import diagnose
from journal.facts import MEASURED, Check, RunKind, RunStarted, Subject
from journal.output import words
from journal.output.lines import job_text
from journal.output.writeup import write_up
from tests.causes.arrange import ENGINES, job_of
from webui import say

CHECKS = (
    (Check(Subject.BLOW_BY, "light"), "blow-by: light"),
    (Check(Subject.OVERHEAD, "damaged", 3, part="bridge"), "overhead, cylinder 3: damaged, bridge"),
    (Check(Subject.AIR_TEST, "holds", 3, crank_turned=False), "air test, cylinder 3: holds, crank held"),
    (
        Check(Subject.AIR_TEST, "leaks", 3, place="crankcase", crank_turned=True),
        "air test, cylinder 3: leaks, into the crankcase, crank turned",
    ),
    (
        Check(Subject.AIR_TEST, "leaks", 2, place="next cylinder", other_cylinder=3),
        "air test, cylinder 2: leaks, into cylinder 3",
    ),
    (
        Check(Subject.INJECTOR_SWAP, "miss moved", 3, other_cylinder=5),
        "injector swap, cylinder 3: miss moved, with cylinder 5",
    ),
    (
        Check(Subject.COMPRESSION, MEASURED, 1, value=2750.125, unit="kPa"),
        "compression, cylinder 1: 2750.125 kPa",
    ),
)


@pytest.mark.parametrize(("check", "said"), CHECKS)
def test_a_check_reads_the_same_in_the_terminal_the_write_up_and_the_page(check: Check, said: str) -> None:
    job = job_of([check], ENGINES["six"])
    assert f"  {said}\n" in job_text(job) + "\n"
    rows = next(s.rows for s in write_up(job, diagnose(job)).sections if s.title == "Checks made")
    assert said in rows[0]
    page = f"{say.check_name(check)}: {say.check_outcome(check)}"
    assert page == said[0].upper() + said[1:]


def test_the_page_prints_units_with_their_signs() -> None:
    check = Check(Subject.RESISTANCE, MEASURED, 2, value=0.45, unit="ohm")
    assert (words.check_outcome(check), say.check_outcome(check)) == ("0.45 ohm", "0.45 Ω")


def test_no_digit_that_was_said_is_lost() -> None:
    assert words.amount(1234567.5, "kPa") == "1234567.5 kPa"


def test_a_run_reads_the_same_everywhere() -> None:
    start = RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6), after_repair=True)
    said = "half-engine cut-out, cylinders 4, 5 and 6 held out, after the repair"
    assert words.run_title(start) == said
    assert say.run_title(start) == said[0].upper() + said[1:]
