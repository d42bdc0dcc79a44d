"""What is begun comes before any check: a new baseline, cylinders not read, the run after a swap."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

import pytest

from journal.analysis import diagnose
from journal.analysis.findings import NextCheck
from journal.facts import Baseline, Body, Check, Cut, Entry, JobOpened, RunKind, RunStarted, Subject, new_id
from journal.record.replay import replay
from tests.causes.arrange import ENGINES, START, job_of, run_of

SIX = ENGINES["six"]
IDLE = RunStarted(RunKind.IDLE)


def after(*said: tuple[float, Body]) -> NextCheck | None:
    """The next check where each of these was said so many minutes from the first baseline."""
    before = START - timedelta(hours=1)
    opened = Entry(new_id(before), "job", before, JobOpened("test bench", SIX))
    entries = [opened]
    for minutes, body in said:
        at = START + timedelta(minutes=minutes)
        entries.append(Entry(new_id(at), "job", at, body))
    return diagnose(replay(entries)).next_check


def cuts(minutes: float, numbers: Sequence[int] = (1, 2, 3, 4, 5, 6)) -> list[tuple[float, Body]]:
    return [(minutes, Cut(c, 30.0 if c == 3 else 37.5)) for c in numbers]


@pytest.mark.parametrize(("minutes", "anew"), [(45, False), (45.01, True)])
def test_a_cut_three_quarters_of_an_hour_from_its_baseline_is_still_of_it_and_one_later_is_not(
    minutes: float, anew: bool
) -> None:
    check = after((-1, IDLE), (0, Baseline(30.0)), *cuts(1, (1, 2, 3, 4)), *cuts(minutes, (5, 6)))
    assert check is not None
    name = "Read a new baseline, and cylinders 5 and 6 again: in run 1 they lie long from any baseline"
    assert (check.name == name) is anew
    if anew:
        assert (check.minutes, check.cylinder, check.subject) == (1.5, None, "cut-out run")


def test_the_nearest_of_several_baselines_counts_before_or_behind_the_cut() -> None:
    early_and_late = after(
        (-1, IDLE), (0, Baseline(30.0)), *cuts(1, (1, 2, 3)), *cuts(60, (4, 5, 6)), (100, Baseline(30.0))
    )
    assert early_and_late is not None and "new baseline" not in early_and_late.name


def test_a_cylinder_that_was_cut_again_near_a_baseline_is_not_asked_for_again() -> None:
    check = after((-1, IDLE), (0, Baseline(30.0)), *cuts(1), *cuts(60, (1, 2)))
    assert check is not None and "new baseline" not in check.name
    check = after((-1, IDLE), (0, Baseline(30.0)), *cuts(1, (1, 3, 4, 5, 6)), *cuts(60, (1, 2)))
    assert check is not None and check.name.startswith("Read a new baseline, and cylinder 2 again")
    assert check.minutes == 1.0


def test_without_a_baseline_no_new_one_is_asked_for() -> None:
    check = after((-1, IDLE), *cuts(60))
    assert check is None or "new baseline" not in check.name


def test_a_run_that_was_announced_and_not_begun_asks_for_nothing() -> None:
    whole = [(-1.0, IDLE), (0.0, Baseline(30.0)), *cuts(1)]
    check, announced = after(*whole), after(*whole, (2, IDLE))
    assert check is not None and announced is not None and announced.name == check.name


def test_behind_what_is_begun_two_checks_are_named_and_none_of_them_a_swap_where_one_was_made() -> None:
    swap = Check(Subject.INJECTOR_SWAP, "swapped", 3, other_cylinder=5)
    found = diagnose(job_of([*run_of(SIX, (1, 1, 0, 1, 1, 1)), swap], SIX))
    assert found.next_check is not None
    assert found.next_check.name == "Repeat the cut-out: the injectors of cylinders 3 and 5 changed places"
    assert found.next_check.cautions and found.next_check.say and found.next_check.minutes > 0
    assert len(found.runners_up) == 2
    assert Subject.INJECTOR_SWAP not in {check.subject for check in found.runners_up}
    assert found.why_no_check == ""


def test_the_one_cylinder_not_read_is_named_with_its_minutes_and_what_to_say() -> None:
    check = after((-1, IDLE), (0, Baseline(30.0)), *cuts(1, (1, 2, 3, 4, 5)))
    assert check is not None
    assert (check.name, check.cylinder, check.minutes) == ("Cut cylinder 6, not read yet in run 1", 6, 0.5)
    assert check.say == "cylinder 6 cut, and the reading" and check.cautions
