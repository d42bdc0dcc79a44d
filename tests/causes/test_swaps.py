"""Injectors that change places: where the suspect one sits is known to causes, gate, parts and words."""

from __future__ import annotations

import pytest

from journal.analysis import Findings, diagnose
from journal.analysis.between.swaps import Went, seats, swaps_of
from journal.analysis.causes.history import closed_job
from journal.analysis.findings import Cause, Mended
from journal.errors import BadInput
from journal.facts import (
    Body,
    Check,
    GateOverridden,
    JobClosed,
    PartAnswer,
    PartState,
    PartWanted,
    RepairDone,
    Subject,
    TroubleCode,
)
from journal.output.wanted import causes_meant
from tests.causes.arrange import ENGINES, check_of, job_of, run_of

SIX = ENGINES["common rail six"]
THREE, FIVE, BOTH, NONE = (1, 1, 0, 1, 1, 1), (1, 1, 1, 1, 0, 1), (1, 1, 0, 1, 0, 1), (1, 1, 1, 1, 1, 1)
CHECKED = [check_of(words) for words in ("blow-by light", "overhead sound 3", "wiring sound 3", "air test holds 3")]


def run(pulls: tuple[int, ...], **how: object) -> list[Body]:
    return run_of(SIX, pulls, **how)  # type: ignore[arg-type]


def swapped(outcome: str = "swapped", one: int = 3, other: int = 5) -> Check:
    return Check(Subject.INJECTOR_SWAP, outcome, one, other_cylinder=other)


def found(*bodies: Body) -> Findings:
    return diagnose(job_of(bodies, SIX))


def top(findings: Findings) -> Cause:
    assert [low.cylinder for low in findings.cylinders] == [5]
    return findings.cylinders[0].causes[0]


MOVED = {
    "swapped, then a run": [*run(THREE), *CHECKED, swapped(), *run(FIVE)],
    "the other one named first": [*run(THREE), *CHECKED, swapped("swapped", 5, 3), *run(FIVE)],
    "said after its run": [*run(THREE), *CHECKED, *run(FIVE), swapped("miss moved")],
    "swapped, a run, and then said": [*run(THREE), *CHECKED, swapped(), *run(FIVE), swapped("miss moved")],
    "said without a run": [*run(THREE), *CHECKED, swapped("miss moved")],
    "said twice": [*run(THREE), *CHECKED, swapped("miss moved"), swapped("miss moved")],
}


@pytest.mark.parametrize("bodies", MOVED.values(), ids=MOVED)
def test_a_miss_that_moved_is_looked_for_where_its_injector_sits_now(bodies: list[Body]) -> None:
    findings = found(*bodies)
    cause = top(findings)
    assert cause.key == "injector" and cause.cylinder == 5
    assert findings.cylinders[0].came_from == 3
    assert "The miss came with its injector from cylinder 3." in findings.headline
    assert "injector, in place of the one that sits in cylinder 5 now" in findings.headline
    assert not any("the two runs disagree" in r.text for c in findings.comparisons for r in c.remarks)


@pytest.mark.parametrize("bodies", MOVED.values(), ids=MOVED)
def test_what_was_checked_where_it_missed_before_opens_the_gate(bodies: list[Body]) -> None:
    gate = top(found(*bodies)).gate
    assert gate is not None and gate.ready and gate.chance > 0.95
    bare = [body for body in bodies if body not in CHECKED]
    gate = top(found(*bare)).gate
    assert gate is not None and {words.split(" (")[0] for words in gate.missing} >= {"blow-by", "overhead"}


def test_what_was_found_before_speaks_where_the_miss_is_now_and_says_where_it_was_found() -> None:
    findings = found(*run(THREE), swapped(), check_of("injector resistance open 5"), *run(FIVE))
    assert top(findings).key == "solenoid"
    findings = found(*run(THREE), check_of("injector resistance open 3"), swapped(), *run(FIVE))
    assert top(findings).key == "solenoid"
    said = [e.what for e in top(findings).evidence]
    assert "injector resistance open on cylinder 3, before its injector went to cylinder 5" in said
    coded = found(*run(THREE), TroubleCode(653, 5), swapped(), *run(FIVE))
    assert any("SPN 653" in e.what for c in coded.cylinders[0].causes for e in c.evidence)


def test_of_the_good_injectors_cylinder_nothing_goes_along() -> None:
    """A coil found open on the sound cylinder's place before is no result about the suspect; one made since is."""
    before = found(*run(THREE), *CHECKED, check_of("injector resistance open 5"), swapped(), *run(FIVE))
    after = found(*run(THREE), *CHECKED, check_of("injector resistance in limits 3"), swapped(), *run(FIVE),
                  check_of("injector resistance open 5"))  # fmt: skip
    both = found(*run(THREE), *CHECKED, check_of("injector resistance in limits 3"),
                 check_of("injector resistance open 5"), swapped(), *run(FIVE))  # fmt: skip
    assert top(before).key == "solenoid"
    assert top(after).key == "solenoid" and after.cylinders[0].contradictions == ()
    assert top(both).key == "injector"


def test_a_miss_that_stayed_clears_the_injector() -> None:
    for bodies in ([swapped(), *run(THREE)], [*run(THREE), swapped("miss stayed")], [swapped("miss stayed")]):
        findings = found(*run(THREE), *CHECKED, *bodies)
        low = findings.cylinders[0]
        assert (low.cylinder, low.came_from) == (3, None)
        injector = next(cause for cause in low.causes if cause.key == "injector")
        assert injector.probability < 0.1
        assert any("the miss stayed when its injector went to cylinder 5" in e.what for e in injector.evidence)


def test_until_a_run_shows_it_the_run_comes_before_any_check() -> None:
    findings = found(*run(THREE), *CHECKED, swapped())
    assert findings.cylinders[0].cylinder == 3
    assert findings.next_check is not None
    assert findings.next_check.name == "Repeat the cut-out: the injectors of cylinders 3 and 5 changed places"
    assert findings.next_check.cautions
    assert not any("Swap the injector" in check.name for check in findings.runners_up)
    assert any("run the cut-out again to see whether the miss went along" in w.text for w in findings.warnings)
    started = found(*run(THREE), *CHECKED, swapped(), *run(FIVE)[:4])
    assert started.next_check is not None and "not read yet in run 2" in started.next_check.name
    assert found(*run(THREE), *CHECKED, swapped(), *run(FIVE)).next_check is None


def test_runs_with_injectors_in_other_places_are_no_repeats_of_each_other() -> None:
    titles = [c.title for c in found(*run(THREE), swapped(), *run(FIVE), *run(FIVE)).comparisons]
    assert titles == [
        "Before against after the injectors of cylinders 3 and 5 changed places",
        "Run 2 against its repeat, run 3",
    ]
    half = {"kind": "half", "out": (1, 2, 6), "baseline": 58}
    loaded = found(*run(THREE), swapped(), *run(FIVE), *run_of(SIX, (1, 1, 0), **half))  # type: ignore[arg-type]
    text = [r.text for c in loaded.comparisons if c.title.startswith("Idle against half") for r in c.remarks]
    assert text == ["cylinder 5 is dead (0 %) at idle and dead (0 %) with half the engine held out: low in both"]


@pytest.mark.parametrize(
    ("now", "words"),
    [
        (FIVE, "the miss went with the injector, which sits in cylinder 5 now"),
        (THREE, "the miss stayed on cylinder 3"),
        (NONE, "neither is low now"),
    ],
)
def test_what_the_runs_around_a_swap_show_is_said(now: tuple[int, ...], words: str) -> None:
    findings = found(*run(THREE), swapped(), *run(now), RepairDone("x"), *run(NONE, after_repair=True))
    (said,) = [r.text for c in findings.comparisons if "changed places" in c.title for r in c.remarks]
    assert said.startswith("cylinder 3 was dead (0 %) and is ") and words in said


def test_runs_at_other_pressures_are_not_held_against_those_after_a_swap() -> None:
    """The suspect came back at high pressure, just before it went elsewhere."""
    before = [*run(THREE), *run(NONE, pressure="high")]
    findings = found(*before, swapped(), *run(FIVE))
    assert [(low.cylinder, low.came_from) for low in findings.cylinders] == [(5, 3)]
    assert any("comes back at high injection pressure" in e.what for e in top(findings).evidence)
    high = found(*before, swapped(), *run(FIVE, pressure="high"))
    assert not any("changed places" in c.title for c in high.comparisons)
    assert high.next_check is not None and high.next_check.name.startswith("Repeat the cut-out")


def test_of_several_runs_after_a_swap_the_last_one_counts() -> None:
    findings = found(*run(THREE), swapped(), *run(FIVE), *run(THREE))
    assert all(low.came_from is None for low in findings.cylinders)
    (said,) = [r.text for c in findings.comparisons if "changed places" in c.title for r in c.remarks]
    assert "the miss stayed on cylinder 3" in said


def test_of_two_that_were_both_low_a_swap_tells_nothing() -> None:
    for now in (BOTH, THREE, FIVE):
        both = found(*run(BOTH), swapped(), *run(now))
        assert not any("changed places" in c.title for c in both.comparisons)
        assert all(low.came_from is None for low in both.cylinders)
        assert any("run the cut-out again" in w.text for w in both.warnings)


def test_what_was_said_against_what_the_runs_show_is_named_and_the_runs_count() -> None:
    findings = found(*run(THREE), *CHECKED, swapped("miss stayed"), *run(FIVE))
    assert top(findings).key == "injector"
    assert "miss stayed was said of the injector swap, but the runs show miss moved; make sure of both" in (
        findings.cylinders[0].contradictions
    )
    assert found(*MOVED["swapped, a run, and then said"]).cylinders[0].contradictions == ()


def test_injectors_put_back_are_back() -> None:
    there = [*run(THREE), *CHECKED, *run(FIVE), swapped("miss moved")]
    back = found(*there, *run(THREE), swapped("miss moved"))
    assert [(low.cylinder, low.came_from) for low in back.cylinders] == [(3, None)]
    assert back.cylinders[0].causes[0].key == "injector"
    job = job_of([*there, swapped(), *run(THREE)], SIX)
    swaps = swaps_of(job, ())
    assert [swap.went for swap in swaps] == [Went.MOVED, Went.OPEN]
    assert [seats(swaps, swap.at_utc) for swap in swaps] == [((3, 5), (5, 3)), ()]


def test_another_miss_where_the_suspect_sat_before_came_from_nowhere() -> None:
    both = found(*MOVED["swapped, then a run"], *run(BOTH))
    assert sorted((low.cylinder, low.came_from) for low in both.cylinders) == [(3, None), (5, 3)]


def test_a_result_without_the_other_cylinder_counts_and_is_asked_for_it() -> None:
    findings = found(*run(THREE), *CHECKED, check_of("injector swap miss moved 3"))
    assert findings.cylinders[0].causes[0].key == "injector"
    assert any("nobody said to which cylinder" in w.text for w in findings.warnings)
    assert not any("nobody said" in w.text for w in found(*MOVED["said without a run"]).warnings)


def test_an_injector_wanted_where_it_missed_before_is_told_where_it_sits_now() -> None:
    wanted = PartWanted("injector", 1, 3, "misses")
    findings = found(*MOVED["swapped, then a run"], wanted)
    assert any("the one to take out sits in cylinder 5 now" in w.text for w in findings.warnings)
    assert not any("not ready to order" in w.text for w in findings.warnings)
    unchecked = found(*run(THREE), swapped(), *run(FIVE), wanted)
    assert any("not ready to order" in w.text for w in unchecked.warnings)
    assert [c.key for c in causes_meant(wanted, findings)] == ["injector", "solenoid"]
    assert causes_meant(PartWanted("valve bridge", 1, 3), findings) == ()
    bridge = found(*MOVED["swapped, then a run"], PartWanted("valve bridge", 1, 3))
    assert not any("take out" in w.text for w in bridge.warnings)


def test_an_order_made_for_where_it_missed_before_holds() -> None:
    findings = found(*run(THREE), GateOverridden("injector", 3, "no time"), swapped(), *run(FIVE))
    gate = next(cause for cause in findings.cylinders[0].causes if cause.key == "injector").gate
    assert gate is not None and gate.overridden == "no time"


def test_the_repair_is_judged_where_the_injector_sat_last() -> None:
    mended = found(*MOVED["swapped, then a run"], RepairDone("new injector", 5), *run(NONE, after_repair=True))
    assert mended.repair is not None
    assert (mended.repair.verdict, mended.repair.back) == (Mended.YES, (5,))
    assert mended.cylinders[0].verdict.startswith("Before the repair cylinder 5 was dead")
    still = found(*MOVED["swapped, then a run"], RepairDone("new injector", 3), *run(FIVE, after_repair=True))
    assert still.repair is not None and (still.repair.verdict, still.repair.still_low) == (Mended.NO, (5,))


def test_a_closed_job_teaches_what_was_checked_on_both_sides_of_the_swap() -> None:
    bodies = [*run(THREE), check_of("wiring sound 3"), *run(FIVE), swapped("miss moved"), JobClosed("injector", 5)]
    taught = closed_job(job_of(bodies, SIX))
    assert taught is not None and dict(taught.checks) == {"wiring": "sound", "injector swap": "miss moved"}
    waiting = closed_job(job_of([*run(THREE), swapped(), JobClosed("injector", 3)], SIX))
    assert waiting is not None and waiting.checks == ()


def test_a_part_of_the_way_is_not_forgotten() -> None:
    """A run of the two alone after the swap leaves what is known of the others."""
    start, baseline, *cuts = run(FIVE)
    two = [start, baseline, cuts[2], cuts[4]]
    findings = found(*run((1, 0, 0, 1, 1, 1)), swapped(), *two)
    assert sorted(low.cylinder for low in findings.cylinders) in ([2, 5], [2, 3, 5])


def test_a_swap_whose_run_is_to_come_names_both_cylinders() -> None:
    with pytest.raises(BadInput, match="with which cylinder's injector"):
        Check(Subject.INJECTOR_SWAP, "swapped", 3)


def test_a_part_that_was_fitted_is_not_asked_for_twice() -> None:
    job = job_of([*MOVED["swapped, then a run"], PartWanted("injector", 1, 5, "misses")], SIX)
    wanted = job.parts[0].wanted.entry.id
    bodies = [*(entry.body for entry in job.entries[1:]), PartAnswer(wanted, PartState.FITTED)]
    assert not any("take out" in w.text for w in found(*bodies).warnings)
