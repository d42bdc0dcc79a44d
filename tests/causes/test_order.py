"""The order gate, what is not put back, the run after the repair, and the shop's own history."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta

import pytest

from journal.analysis import Findings, diagnose
from journal.analysis.causes import cause_keys
from journal.analysis.causes.history import ClosedJob, closed_job, learn, updated_rates, with_history
from journal.analysis.causes.tables import tables
from journal.analysis.findings import Cause, Level
from journal.context import context_of
from journal.facts import (
    OUTCOMES,
    PER_CYLINDER,
    Baseline,
    Body,
    Check,
    Cut,
    Entry,
    GateOverridden,
    Injection,
    JobClosed,
    PartAnswer,
    PartState,
    PartWanted,
    PutBack,
    RepairDone,
    Restored,
    new_id,
)
from journal.record.replay import replay
from journal.told import missing_text
from tests.causes.arrange import ENGINES, check_of, job_of, run_of

SIX = ENGINES["six"]
DEAD_THREE = (1, 1, 0, 1, 1, 1)
ALL_PULL = (1, 1, 1, 1, 1, 1)


def findings(*bodies: Body) -> Findings:
    return diagnose(job_of(bodies, SIX))


def cause(found: Findings, key: str) -> Cause:
    return next(c for c in found.cylinders[0].causes if c.key == key)


@pytest.mark.parametrize("override", [GateOverridden("injector", 4, "x"), GateOverridden("wiring", 3, "x")])
def test_an_override_of_another_part_or_cylinder_is_none_of_this_one(override: GateOverridden) -> None:
    found = findings(*run_of(SIX, DEAD_THREE), override)
    gate = next(cause.gate for cause in found.cylinders[0].causes if cause.key == "injector")
    assert gate is not None and gate.overridden == ""


def test_an_override_is_kept_with_its_reason_and_opens_nothing() -> None:
    override = GateOverridden("injector", 3, "the mill cannot wait for the air test")
    found = findings(*run_of(SIX, DEAD_THREE), override)
    gate = cause(found, "injector").gate
    assert gate is not None
    assert gate.overridden == "the mill cannot wait for the air test"
    assert not gate.ready and gate.missing


def test_each_missing_check_of_the_injector_is_named_until_it_is_made() -> None:
    made: list[Body] = list(run_of(SIX, DEAD_THREE))
    for check, word in (
        ("blow-by light", "blow-by"),
        ("overhead sound 3", "overhead"),
        ("wiring sound 3", "wiring"),
        ("air test holds 3", "air test"),
    ):
        gate = cause(diagnose(job_of(made, SIX)), "injector").gate
        assert gate is not None and any(word in missing for missing in gate.missing)
        made.append(check_of(check))
        gate = cause(diagnose(job_of(made, SIX)), "injector").gate
        assert gate is not None and not any(missing.startswith(word) for missing in gate.missing)


def test_an_injector_wanted_before_the_checks_is_warned_of() -> None:
    found = findings(*run_of(SIX, DEAD_THREE), PartWanted("injector", 1, 3, "misses"))
    assert any("not ready to order" in w.text and "wiring" in w.text for w in found.warnings)


def test_a_part_that_is_no_longer_needed_is_not_warned_of() -> None:
    job = job_of([*run_of(SIX, DEAD_THREE), PartWanted("injector", 1, 3, "misses")], SIX)
    wanted = job.parts[0].wanted.entry.id
    bodies = [entry.body for entry in job.entries[1:]]
    assert any("not ready" in w.text for w in diagnose(job_of(bodies, SIX)).warnings)
    from datetime import timedelta

    from journal.facts import Entry, new_id
    from journal.record.replay import replay

    at = job.entries[-1].at_utc + timedelta(seconds=5)
    answered = Entry(new_id(at), job.id, at, PartAnswer(wanted, PartState.NOT_NEEDED))
    assert not any("not ready" in w.text for w in diagnose(replay([*job.entries, answered])).warnings)


def test_what_is_not_put_back_is_said_until_it_is() -> None:
    half = run_of(SIX, (1, 1, 0), kind="half", out=(4, 5, 6), baseline=58)
    high = run_of(SIX, DEAD_THREE, pressure="high")
    found = findings(*half, *high)
    assert found.outstanding == (Restored.CYLINDERS, Restored.PRESSURE)
    said = " ".join(w.text for w in found.warnings if w.level is Level.WARNING)
    assert "all cylinders back in" in said and "pressure override off" in said
    later = findings(*half, *high, PutBack(Restored.CYLINDERS), PutBack(Restored.PRESSURE))
    assert later.outstanding == ()
    assert "all cylinders back in" not in " ".join(w.text for w in later.warnings)


def test_the_run_after_the_repair_says_plainly_that_it_is_mended() -> None:
    found = findings(
        *run_of(SIX, DEAD_THREE), check_of("wiring faulty 3"), RepairDone("harness mended", 3),
        *run_of(SIX, ALL_PULL, after_repair=True),
    )  # fmt: skip
    assert found.mended.startswith("Mended: Cylinder 3")
    assert found.headline == found.mended
    assert found.next_check is None
    assert found.cylinders[0].verdict.startswith("Before the repair cylinder 3 was dead: wiring or connector")
    assert "Ready to order" not in found.cylinders[0].verdict


def test_the_run_after_the_repair_says_plainly_that_it_is_not_mended() -> None:
    still = findings(*run_of(SIX, DEAD_THREE), RepairDone("x", 3), *run_of(SIX, DEAD_THREE, after_repair=True))
    assert still.mended == "Not mended: cylinder 3 is still low."
    other = findings(*run_of(SIX, DEAD_THREE), *run_of(SIX, (1, 0, 1, 1, 1, 1), after_repair=True))
    assert other.mended.startswith("Not mended: cylinder 3 pulls as the others again")
    assert "cylinder 2 is now low and was not before" in other.mended


def test_a_repair_run_under_other_conditions_proves_nothing() -> None:
    found = findings(*run_of(SIX, DEAD_THREE), *run_of(SIX, ALL_PULL, after_repair=True, pressure="high"))
    assert "nothing to compare with" in found.mended


def test_an_incomplete_repair_run_is_not_called_mended() -> None:
    after = run_of(SIX, ALL_PULL, after_repair=True)[:-4]
    found = findings(*run_of(SIX, DEAD_THREE), *after)
    assert not found.mended.startswith("Mended")
    assert found.next_check is not None and found.why_no_check == ""
    assert found.next_check.name == "Cut cylinders 5 and 6, not read yet in run 2"


def test_contradictory_results_are_named_and_the_later_one_counts() -> None:
    found = findings(*run_of(SIX, DEAD_THREE), check_of("wiring sound 3"), check_of("wiring faulty 3"))
    assert found.cylinders[0].causes[0].key == "wiring"
    assert any("first wiring sound, later wiring faulty" in text for text in found.cylinders[0].contradictions)


def test_a_result_that_changed_with_the_repair_is_no_contradiction() -> None:
    found = findings(
        *run_of(SIX, DEAD_THREE), check_of("wiring faulty 3"), RepairDone("harness", 3), check_of("wiring sound 3")
    )
    assert found.cylinders[0].contradictions == ()


def test_a_number_between_the_bands_is_not_judged_for_the_technician() -> None:
    checks = [check_of(f"compression measured {c} {v} kPa") for c, v in ((1, 2400), (2, 2350), (3, 2000))]
    found = findings(*run_of(SIX, (1, 1, 0.4, 1, 1, 1)), *checks)
    assert any("Compression 2000 kPa on cylinder 3 is noted but not judged" in w.text for w in found.warnings)


def test_damage_on_a_cylinder_that_no_run_shows_low_is_remarked() -> None:
    found = findings(*run_of(SIX, DEAD_THREE), check_of("overhead damaged 5 rocker"))
    assert any("on cylinder 5, which no run shows low" in w.text for w in found.warnings)


def test_base_rates_learn_from_closed_jobs_as_a_dirichlet_mean() -> None:
    """Gelman et al., Bayesian Data Analysis, section 3.4: posterior mean (a_k + n_k) / (sum a + n)."""
    history = learn([ClosedJob(Injection.HYDRAULIC, "camshaft")] * 6 + [ClosedJob(Injection.HYDRAULIC, "unknown")])
    rates = updated_rates({"injector": 3.0, "camshaft": 1.0}, history, Injection.HYDRAULIC, 30)
    assert rates == pytest.approx({"injector": (30 * 0.75) / 36, "camshaft": (30 * 0.25 + 6) / 36})
    assert history.jobs == 6


def test_a_cause_that_cannot_be_on_an_engine_is_not_learnt_into_being() -> None:
    history = learn([ClosedJob(Injection.MECHANICAL, "solenoid")] * 50)
    book = with_history(tables(), history)
    assert book.base_rates[Injection.MECHANICAL]["solenoid"] == 0


def test_likelihoods_learn_only_once_there_are_enough() -> None:
    few = learn([ClosedJob(Injection.HYDRAULIC, "rings", (("blow-by", "light"),))] * 9)
    enough = learn([ClosedJob(Injection.HYDRAULIC, "rings", (("blow-by", "light"),))] * 10)
    plain = tables().checks["blow-by"].given("rings")
    assert (with_history(tables(), few).checks["blow-by"].given("rings") == plain).all()
    learnt = with_history(tables(), enough).checks["blow-by"].given("rings")
    assert learnt == pytest.approx((20 * plain + [0, 10, 0]) / 30)


def test_the_shops_history_moves_the_ranking_and_is_shown_as_such() -> None:
    job = job_of(run_of(SIX, DEAD_THREE), SIX)
    history = learn([ClosedJob(Injection.HYDRAULIC, "camshaft")] * 40)
    plain, learnt = diagnose(job), diagnose(job, history=history)
    one = diagnose(job, history=learn([ClosedJob(Injection.HYDRAULIC, "camshaft")]))
    assert any("from 1 closed job of this shop" in w.text for w in one.warnings)
    assert cause(learnt, "camshaft").probability > 3 * cause(plain, "camshaft").probability
    assert any("closed jobs of this shop" in w.text for w in learnt.warnings)
    assert not any("closed jobs of this shop" in w.text for w in plain.warnings)


def test_every_cause_can_be_closed_with_and_has_words_for_people() -> None:
    for key in cause_keys():
        row = tables().causes[key]
        assert row.name and row.meaning.endswith(".")


def test_a_closed_job_teaches_its_cause_with_the_checks_made_before_the_repair() -> None:
    bodies = [
        *run_of(SIX, DEAD_THREE), check_of("wiring faulty 3"), check_of("wiring sound 2"), check_of("blow-by light"),
        RepairDone("harness", 3), check_of("wiring sound 3"),
    ]  # fmt: skip
    assert closed_job(job_of(bodies, SIX)) is None
    taught = closed_job(job_of([*bodies, JobClosed("wiring", 3)], SIX))
    assert taught == ClosedJob(Injection.HYDRAULIC, "wiring", (("wiring", "faulty"), ("blow-by", "light")))


def test_cylinders_not_read_yet_come_before_any_other_check() -> None:
    start, baseline, *cuts = run_of(SIX, DEAD_THREE)[:6]
    found = findings(start, baseline, *cuts)
    assert found.next_check is not None
    assert found.next_check.name == "Cut cylinders 5 and 6, not read yet in run 1"
    assert found.next_check.minutes == 1.0
    whole = findings(*run_of(SIX, DEAD_THREE))
    assert whole.next_check is not None and whole.next_check.subject != "cut-out run"
    assert found.runners_up[0].name == whole.next_check.name


def test_cylinders_not_read_yet_come_first_before_any_cylinder_is_judged_too() -> None:
    start, baseline = run_of(SIX, DEAD_THREE)[:2]
    begun = findings(start, baseline)
    assert begun.next_check is not None and begun.next_check.say == "cylinder 1 cut, and the reading"
    assert begun.next_check.name.startswith("Cut cylinders 1, 2, 3, 4, 5 and 6")
    assert findings(start).next_check is None
    again = findings(*run_of(SIX, DEAD_THREE), start, baseline)
    assert again.next_check is not None and "not read yet in run 2" in again.next_check.name


def test_cuts_made_overnight_from_their_baseline_ask_for_a_new_one_first() -> None:
    start, baseline, *cuts, _, _ = run_of(SIX, DEAD_THREE)
    entries = job_of([start, baseline, *cuts], SIX).entries
    late = timedelta(hours=15)

    def found(*more: Body, night: int = 4) -> Findings:
        made = [replace(e, at_utc=e.at_utc + late) if n > night else e for n, e in enumerate(entries)]
        last = made[-1].at_utc
        made += [Entry(new_id(last), made[0].job, last + timedelta(minutes=1), body) for body in more]
        return diagnose(replay(made))

    first = found().next_check
    assert first is not None and first.say == "baseline, and the reading"
    assert first.name.startswith("Read a new baseline, and cylinders 3, 4, 5 and 6 again: in run 1")
    assert first.minutes == 2.5 and first.cautions
    again = found(Baseline(30.0)).next_check
    assert again is None or "new baseline" not in again.name
    whole = found(night=99).next_check
    assert whole is not None and "new baseline" not in whole.name


def test_the_cylinder_to_cut_next_is_the_one_that_next_means() -> None:
    """By firing order, 1-5-3-6-2-4, where the cuts so far went by it."""
    start, baseline, *cuts = run_of(SIX, DEAD_THREE)
    by_number = {cut.cylinder: cut for cut in cuts if isinstance(cut, Cut)}
    job = job_of([start, baseline, by_number[1], by_number[5]], SIX)
    proposed = diagnose(job).next_check
    assert proposed is not None and proposed.cylinder == 3 == context_of(job).next_cylinder
    assert "next is 3" in missing_text(job)


def test_the_probability_of_a_part_is_that_of_all_causes_that_mean_it() -> None:
    found = findings(*run_of(SIX, DEAD_THREE), check_of("wiring sound 3"))
    causes = found.cylinders[0].causes
    gate = cause(found, "injector").gate
    assert gate is not None
    together = sum(c.probability for c in causes if c.gate is not None and c.gate.part == gate.part)
    assert gate.chance == pytest.approx(together)
    assert any("the part stands at" in missing for missing in gate.missing)


def test_evidence_names_what_was_found_apart_from_its_weight() -> None:
    found = findings(*run_of(SIX, DEAD_THREE), check_of("air test leaks 3 crankcase"))
    known = cause(found, "rings").evidence[0]
    assert known.text.startswith(f"{known.what}: ")
    assert "leaks" in known.what and "likel" not in known.what


def test_a_repair_run_that_lacks_something_is_asked_to_be_completed() -> None:
    short = run_of(SIX, ALL_PULL, after_repair=True)[:-4]
    later = run_of(SIX, ALL_PULL, after_repair=True, pressure="high")
    found = findings(*run_of(SIX, DEAD_THREE), *short, *later)
    assert found.next_check is None and found.why_no_check
    mended = findings(*run_of(SIX, DEAD_THREE), *run_of(SIX, ALL_PULL, after_repair=True))
    assert mended.why_no_check == "The run after the repair shows no cylinder low."


def test_a_cause_an_engine_cannot_have_is_not_listed() -> None:
    mechanical = ENGINES["mechanical six"]
    listed = {cause.key for cause in diagnose(job_of(run_of(mechanical, DEAD_THREE), mechanical)).cylinders[0].causes}
    assert "injector" in listed and not listed & {"solenoid", "wiring", "driver"}


def test_the_next_check_says_what_its_outcomes_would_change() -> None:
    proposed = findings(*run_of(SIX, DEAD_THREE), check_of("blow-by light"), check_of("overhead sound 3")).next_check
    assert proposed is not None
    assert re.search(r"if faulty: wiring or connector \d+ % to \d+ %", proposed.why)


@pytest.mark.parametrize(
    ("low", "high", "words"),
    [
        ((1, 1, 0, 1, 1, 1), (1, 1, 0.4, 1, 1, 1), "rises a little at high injection pressure"),
        ((1, 1, 0, 1, 1, 1), (1, 1, 1, 1, 1, 1), "comes back at high injection pressure"),
        ((1, 1, 0, 1, 1, 1), (1, 1, 0, 1, 1, 1), "no better at high injection pressure"),
        ((1, 1, 0.5, 1, 1, 1), (1, 1, 0, 1, 1, 1), "no better at high injection pressure"),
    ],
)
def test_what_injection_pressure_does_is_evidence_in_its_own_words(
    low: tuple[float, ...], high: tuple[float, ...], words: str
) -> None:
    found = findings(*run_of(SIX, low, pressure="low"), *run_of(SIX, high, pressure="high"))
    said = {e.what for c in found.cylinders[0].causes for e in c.evidence if "high injection pressure" in e.what}
    assert said == {words}


@pytest.mark.parametrize(
    ("idle", "half", "words"),
    [
        ((1, 1, 0, 1, 1, 1), (1, 1, 0), {"low at idle and under load"}),
        ((1, 1, 0.4, 1, 1, 1), (1, 1, 1), {"low at idle, pulls under load"}),
        ((1, 1, 1, 1, 1, 1), (1, 1, 0.4), {"low only under load"}),
    ],
)
def test_what_load_does_is_evidence_in_its_own_words(
    idle: tuple[float, ...], half: tuple[float, ...], words: set[str]
) -> None:
    found = findings(*run_of(SIX, idle), *run_of(SIX, half, kind="half", out=(4, 5, 6), baseline=58))
    said = {e.what for c in found.cylinders[0].causes for e in c.evidence if "load" in e.what}
    assert said == words


def test_two_more_checks_are_named_besides_the_next_one() -> None:
    assert len(findings(*run_of(SIX, DEAD_THREE)).runners_up) == 2


@pytest.mark.parametrize("made", [[], ["blow-by light"], ["blow-by light", "overhead sound 3"]])
def test_the_result_said_to_put_a_cause_first_was_not_had_and_does_so(made: list[str]) -> None:
    had: list[Body] = [*run_of(SIX, DEAD_THREE), *map(check_of, made)]
    top, *others = diagnose(job_of(had, SIX)).cylinders[0].causes
    first = {other.would_change.removesuffix(" would put it first."): other.name for other in others}
    result, _, name = top.would_change.removesuffix(" first.").partition(" would put ")
    assert first[result] == name
    for said, leader in first.items():
        words = f"{said[:1].lower()}{said[1:]}"
        if any(words.removeprefix(f"{subject} ") in outcomes for subject, outcomes in OUTCOMES.items()):
            check = check_of(words)
            assert isinstance(check, Check) and not any(earlier.startswith(check.subject) for earlier in made)
            check = replace(check, cylinder=3 if check.subject in PER_CYLINDER else None)
            assert diagnose(job_of([*had, check], SIX)).cylinders[0].causes[0].name == leader
