"""A conversation holds together: what answers what, what takes back what, and what is never passed over in silence."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from journal.facts import (
    Answer,
    Baseline,
    Check,
    Condition,
    Correction,
    Cut,
    Engine,
    JobOpened,
    Note,
    PartWanted,
    Quantity,
    Question,
    RunKind,
    RunStarted,
    Subject,
)
from journal.record.store import Store
from journal.session import Session, open_job
from journal.told import missing_text
from journal.wording.types import Verdict


class Clock:
    """A clock that goes on by two seconds at each look, and further when told."""

    def __init__(self) -> None:
        self.at = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.at += timedelta(seconds=2)
        return self.at


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def session(tmp_path: Path, six: Engine, clock: Clock) -> Iterator[Session]:
    with Store.open(tmp_path / "journal") as store:
        job = open_job(store, JobOpened("Pump", six, "misses"), "Ash", at=clock())
        yield Session(store, job, clock=clock)


def say(session: Session, *lines: str) -> None:
    for line in lines:
        assert all(outcome.verdict is Verdict.TAKE for outcome in session.type(line)), line


def cuts(session: Session) -> list[tuple[int | None, float | None]]:
    return [(cut.cylinder, cut.value) for run in session.job.runs for cut in run.cuts]


RUNNING = ("start idle cut out", "baseline thirty one")


def test_a_yes_after_another_reading_answers_nothing(session: Session) -> None:
    say(session, *RUNNING)
    session.type("cylinder two cut three hundred")
    say(session, "cylinder three cut thirty seven")
    assert [o.verdict for o in session.type("yes")] == [Verdict.LET_GO]
    assert cuts(session) == [(3, 37.0)]
    assert len(session.job.waiting) == 1


def test_a_yes_minutes_later_answers_nothing(session: Session, clock: Clock) -> None:
    say(session, *RUNNING)
    session.type("cylinder two cut three hundred")
    clock.at += timedelta(minutes=5)
    assert [o.verdict for o in session.type("yes")] == [Verdict.LET_GO]
    assert cuts(session) == []


def test_that_is_right_with_nothing_asked_enters_nothing(session: Session) -> None:
    say(session, *RUNNING, "cylinder three cut thirty seven")
    before = len(session.job.entries)
    assert [o.verdict for o in session.type("that's right")] == [Verdict.LET_GO]
    assert len(session.job.entries) == before


@pytest.mark.parametrize("answer", ["yes", "yup", "yeah, that's right", "right", "okay", "correct"])
def test_the_question_just_asked_is_answered_in_many_words(session: Session, answer: str) -> None:
    say(session, *RUNNING)
    session.type("cylinder two cut ninety")
    say(session, answer)
    assert cuts(session) == [(2, 90.0)]


def test_no_with_the_number_answers_with_that_number(session: Session) -> None:
    say(session, *RUNNING)
    session.type("cylinder two cut ninety")
    say(session, "no, thirty nine")
    assert cuts(session) == [(2, 39.0)]
    assert not session.job.waiting


def test_a_plain_reading_for_the_same_thing_settles_its_question(session: Session) -> None:
    say(session, *RUNNING)
    session.type("cylinder two cut ninety")
    say(session, "cylinder three cut thirty seven", "cylinder two cut thirty eight")
    assert sorted(cuts(session)) == [(2, 38.0), (3, 37.0)]
    assert not session.job.waiting


def test_questions_lapse_visibly_with_their_run_and_can_still_be_answered(session: Session) -> None:
    say(session, *RUNNING)
    session.type("cylinder two cut ninety")
    say(session, "start half engine, four five six out")
    assert not session.job.waiting
    (lapsed,) = session.job.lapsed
    session.enter(Answer(lapsed.question.entry.id, 0))
    assert not session.job.lapsed
    assert [c.value for c in session.job.runs[0].cuts] == [90.0]


def test_what_is_missing_names_the_questions(session: Session) -> None:
    say(session, *RUNNING)
    session.type("cylinder two cut ninety")
    say(session, "cylinder three cut thirty seven")
    assert "1 question waiting: two, ninety?" in missing_text(session.job)


def test_a_correction_after_what_it_meant_was_scratched_does_not_touch_the_baseline(session: Session) -> None:
    say(session, *RUNNING, "cylinder two cut thirty seven", "scratch that")
    (outcome,) = session.type("correction thirty eight")
    assert outcome.verdict is Verdict.ASK
    assert [b.value for b in session.job.runs[0].baselines] == [31.0]
    say(session, "yes")
    assert cuts(session) == [(2, 38.0)]


def test_a_correction_of_something_older_than_what_was_last_said_is_asked_about(session: Session) -> None:
    say(session, *RUNNING, "cylinder two cut thirty seven", "photo blow-by")
    (outcome,) = session.type("correction thirty eight")
    assert outcome.verdict is Verdict.ASK
    assert cuts(session) == [(2, 37.0)]


def test_scratch_the_baseline_takes_back_the_baseline(session: Session) -> None:
    say(session, *RUNNING, "cylinder two cut thirty seven")
    (outcome,) = session.type("scratch the baseline")
    assert outcome.line == "taken back: baseline: 31"
    assert not session.job.runs[0].baselines
    assert cuts(session) == [(2, 37.0)]


def test_never_mind_takes_back_only_what_was_said_a_moment_ago(session: Session, clock: Clock) -> None:
    say(session, *RUNNING, "cylinder two cut thirty seven")
    clock.at += timedelta(minutes=1)
    assert [o.verdict for o in session.type("never mind")] == [Verdict.LET_GO]
    say(session, "cylinder three cut thirty seven", "never mind")
    assert cuts(session) == [(2, 37.0)]


def test_next_means_the_same_cylinder_in_one_breath_and_in_two(session: Session) -> None:
    say(session, *RUNNING, "one cut thirty six", "two cut thirty seven")
    say(session, "one again, thirty six and a half, next, thirty seven point five")
    assert cuts(session)[-1] == (3, 37.5)
    say(session, "next, thirty seven")
    assert cuts(session)[-1] == (4, 37.0)


def test_a_cut_of_a_cylinder_that_is_held_out_is_asked_about(session: Session) -> None:
    say(session, "half engine, four five six out", "baseline sixty")
    assert [o.verdict for o in session.type("four cut seventy")] == [Verdict.ASK]
    assert cuts(session) == []


def test_a_pressure_changed_amid_a_run_asks_whether_a_new_one_began(session: Session) -> None:
    say(session, *RUNNING, "injection pressure twenty megapascals", "one cut thirty six")
    (outcome,) = session.type("injection pressure ten megapascals")
    assert outcome.verdict is Verdict.ASK
    asked = session.job.waiting[-1].question.body
    assert [type(option) for option in asked.options] == [Condition, RunStarted]
    say(session, "the second")
    assert len(session.job.runs) == 2
    assert session.job.runs[1].start.pressure_value == 10.0


def test_a_run_that_is_repeated_at_another_pressure_has_that_pressure(session: Session) -> None:
    say(session, "half engine, four five six out", "baseline sixty", "repeat the run at high pressure")
    assert session.job.runs[1].start.held_out == (4, 5, 6)
    assert session.job.runs[1].start.pressure is not None


def test_one_more_of_the_part_that_was_just_wanted(session: Session) -> None:
    say(session, "part wanted injector cylinder three", "and one for five")
    say(session, "part wanted rocker cylinder two", "make that two of them")
    assert [(p.wanted.body.cylinder, p.wanted.body.quantity) for p in session.job.parts] == [(3, 1), (5, 1), (2, 2)]


def test_what_only_a_note_can_hold_is_asked_about_and_never_lost(session: Session) -> None:
    (outcome,) = session.type("the grommet by the zeppelin is weeping")
    assert outcome.verdict is Verdict.ASK
    assert outcome.entry is not None
    assert outcome.entry.body == Question(outcome.say, (Note("the grommet by the zeppelin is weeping"),))
    say(session, "yes")
    assert [n.body.text for n in session.job.notes] == ["the grommet by the zeppelin is weeping"]


def test_a_plain_statement_of_a_thing_of_the_engine_is_kept_as_a_doubtful_note(session: Session) -> None:
    (outcome,) = session.type("fan belt's slipping")
    assert outcome.say == 'kept as a note: "fan belt\'s slipping"'
    assert outcome.entry is not None
    assert outcome.entry.body == Note("fan belt is slipping")
    assert outcome.entry.certainty == 0.5


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ("order 4 glow plugs", [("glow plug", 4, None)]),
        ("order: 8 x injector o-rings", [("injector o ring", 8, None)]),
        (
            "get me two injector lines, a return hose and six copper washers",
            [("injector line", 2, None), ("return hose", 1, None), ("copper washer", 6, None)],
        ),
        ("need two injectors, no, three injectors", [("injector", 3, None)]),
        ("I'll be needing two injectors, for three and five", [("injector", 1, 3), ("injector", 1, 5)]),
        ("a pair of exhaust manifold gaskets wanted", [("exhaust manifold gasket", 2, None)]),
        ("I want an EGR cooler, number five five two one", [("egr cooler 5521", 1, None)]),
        ("can you put me down for a pushrod, cylinder one", [("pushrod", 1, 1)]),
    ],
)
def test_any_part_is_wanted_by_the_name_it_is_called(
    session: Session, words: str, wanted: list[tuple[str, int, int | None]]
) -> None:
    say(session, words)
    parts = [p.wanted.body for p in session.job.parts]
    assert [(p.description, p.quantity, p.cylinder) for p in parts] == wanted


def test_a_reading_given_to_the_wrong_cylinder_is_moved(session: Session) -> None:
    say(session, *RUNNING, "three cut thirty five", "it was number four, not three")
    assert cuts(session) == [(4, 35.0)]
    say(session, "it wasn't four that I cut, it was five")
    assert cuts(session) == [(5, 35.0)]


def test_a_reading_before_the_last_is_moved_only_when_that_is_confirmed(session: Session) -> None:
    say(session, *RUNNING, "three cut thirty five", "two cut thirty six")
    (outcome,) = session.type("it was number four, not three")
    assert outcome.verdict is Verdict.ASK
    assert cuts(session) == [(3, 35.0), (2, 36.0)]
    say(session, "yes")
    assert sorted(cuts(session)) == [(2, 36.0), (4, 35.0)]


def test_a_wanted_part_is_put_right_by_its_cylinder_and_its_number(session: Session) -> None:
    say(session, "part wanted valve bridge cylinder two", "actually that's for number five", "better make it three")
    assert [(p.wanted.body.cylinder, p.wanted.body.quantity) for p in session.job.parts] == [(5, 3)]


@pytest.mark.parametrize(
    ("words", "now"),
    [
        ("4 should've been 33", [(1, 35.0), (4, 33.0)]),
        ("ignore what I said for four, it wasn't steady", [(1, 35.0)]),
        ("three's the same as one", [(1, 35.0), (4, 36.0), (3, 35.0)]),
        ("skip two, three's thirty seven", [(1, 35.0), (4, 36.0), (3, 37.0)]),
        ("that last one was really thirty five", [(1, 35.0), (4, 35.0)]),
    ],
)
def test_readings_are_put_right_in_many_words(session: Session, words: str, now: list[tuple[int, float]]) -> None:
    say(session, *RUNNING, "one cut thirty five", "four cut thirty six", words)
    assert cuts(session) == now


def test_a_thing_named_beside_a_number_is_no_reading_without_asking(session: Session) -> None:
    say(session, *RUNNING)
    outcomes = session.type("alternator's putting out thirteen eight")
    assert all(outcome.verdict is not Verdict.TAKE for outcome in outcomes)
    assert cuts(session) == []


def test_most_of_a_reading_is_said_to_be_lost_and_kept(session: Session) -> None:
    say(session, *RUNNING)
    (outcome,) = session.type("cut zorp thirty eight blim")
    assert outcome.verdict is Verdict.ASK
    assert outcome.say.startswith("Sorry?")
    assert [asked.question.entry.heard for asked in session.job.not_understood] == ["cut zorp thirty eight blim"]


@pytest.mark.parametrize("chat", ["did you see the game last night", "we close at half five", "bring me the torch"])
def test_chat_stays_unanswered(session: Session, chat: str) -> None:
    before = len(session.job.entries)
    assert [o.verdict for o in session.type(chat)] == [Verdict.LET_GO]
    assert len(session.job.entries) == before


MARKED = [
    ">38", "38?", "− 38", "-38", "<=38", ", – 38", "－38", "≠38", "?38", "38+", "38 -", "3⁄8", "38-40",
    "negative thirty eight", "over 38", "under thirty eight", "at least 38", "nearly thirty eight",
    "38 to 39", "thirty eight to thirty nine", "38^2", "38*2", "38 - 2", "38 * 2", "38_5", "38^5", "3×8", "3*8", "3·8",
    "3_8", "3'8", "3-8", "‐38", "⁻38", "➖38", "٣٨", "38.½", "38x", "x38", "38|39", "38 § 39", "down from 38",
    "half of 38", "twice 38", "38 times two", "less than 38", "38 squared", "38 and a bit", "38 or 39",
    "thirty eight or thirty nine", "between 38 and 39", "38, was 30", "37.6.1", "3.76e1",
]  # fmt: skip


@pytest.mark.parametrize("written", [f"four cut {marked}" for marked in MARKED])
def test_a_mark_beside_a_typed_number_is_asked_about(session: Session, written: str) -> None:
    say(session, *RUNNING)
    assert [o.verdict for o in session.type(written)] == [Verdict.ASK]
    assert cuts(session) == []


def test_a_number_with_two_points_is_asked_about(session: Session) -> None:
    say(session, *RUNNING)
    assert {o.verdict for o in session.type("four cut 38 point five point six")} == {Verdict.ASK}


def test_a_minus_before_a_cylinder_is_asked_about(session: Session) -> None:
    say(session, *RUNNING)
    assert {o.verdict for o in session.type("cylinder -4 cut, 38")} == {Verdict.ASK}


def test_a_typed_to_is_never_the_cylinder_two(session: Session) -> None:
    say(session, *RUNNING)
    assert all(o.verdict is not Verdict.TAKE for o in session.type("to cut thirty eight"))
    assert cuts(session) == []


@pytest.mark.parametrize(
    ("written", "value"),
    [
        ("38 1/2", 38.5), ("38½", 38.5), ("38 ¼", 38.25), ("38 3/4", 38.75), ("~38", 38), ("≈38", 38), ("about 38", 38),
        ("ca. 38", 38), ("38ish", 38), ("38 or so", 38), ("(38)", 38), ("= 38", 38), ("-> 38.", 38), ("38mm3", 38),
        ("went from 35 to 38", 38), ("up to 38", 38), ("1,000 no, 38", 38),
    ],
)  # fmt: skip
def test_what_is_understood_in_full_is_entered(session: Session, written: str, value: float) -> None:
    """A needle is read about; "about" and its sign are one."""
    say(session, *RUNNING)
    assert [o.verdict for o in session.type(f"four cut {written}")] == [Verdict.TAKE]
    assert cuts(session) == [(4, value)]


def test_figures_that_answer_or_correct_are_held_to_the_same_rule(session: Session) -> None:
    say(session, *RUNNING)
    assert [o.verdict for o in session.type("four cut three hundred")] == [Verdict.ASK]
    assert all(o.verdict is not Verdict.TAKE for o in session.type("38^2"))
    say(session, "five cut 36")
    assert [o.verdict for o in session.type("correct five 38^2")] == [Verdict.ASK]
    assert cuts(session) == [(5, 36)]


def test_a_typed_range_is_one_question_of_both_ends(session: Session) -> None:
    say(session, *RUNNING)
    (outcome,) = session.type("four cut 38 to 39")
    assert outcome.say == "four: thirty-eight, or thirty-nine?"


def test_a_decimal_comma_is_understood_where_it_can_mean_only_that(session: Session) -> None:
    say(session, *RUNNING)
    say(session, "four cut 37,6")
    assert cuts(session) == [(4, 37.6)]


@pytest.mark.parametrize(
    "words", ["one " * 1000, "four cut " + "9" * 400, "four cut " + "one " * 900, "1," * 600, "twenty one " * 500]
)
def test_any_length_of_number_words_is_one_line_and_enters_nothing(session: Session, words: str) -> None:
    say(session, *RUNNING)
    assert all(outcome.verdict is not Verdict.TAKE for outcome in session.type(words))
    assert cuts(session) == []


def test_minus_five_degrees_is_a_temperature(session: Session) -> None:
    say(session, "coolant minus five degrees")
    assert [c.value for c in session.job.conditions] == [-5.0]


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ("one out thirty five, er, thirty six", [(1, 36.0)]),
        ("four, thirty eight, no, thirty nine", [(4, 39.0)]),
        ("five, sorry, six, thirty seven", [(6, 37.0)]),
        ("and three, thirty one six", [(3, 31.6)]),
        ("one thirty six, two thirty six and a half, three thirty seven", [(1, 36.0), (2, 36.5), (3, 37.0)]),
        ("one through three all thirty eight", [(1, 38.0), (2, 38.0), (3, 38.0)]),
    ],
)
def test_several_things_and_corrections_in_one_breath(
    session: Session, said: str, expected: list[tuple[int, float]]
) -> None:
    say(session, *RUNNING)
    outcomes = session.type(said)
    if all(o.verdict is Verdict.TAKE for o in outcomes):
        assert cuts(session) == expected
    else:
        asked = [a.question.body.options[0] for a in session.job.waiting]
        assert [(b.cylinder, b.value) for b in asked if isinstance(b, Cut)] == expected


def test_idle_and_fuel_before_a_run_are_conditions_and_a_baseline(session: Session) -> None:
    session.units = "us"
    say(session, "idle six ninety five, coolant one eighty five, fuel thirty one")
    (run,) = session.job.runs
    assert [b.value for b in run.baselines] == [31.0]
    assert not run.cuts
    read = {(c.quantity, c.value, c.unit) for c in (*session.job.conditions, *run.conditions)}
    assert read == {(Quantity.ENGINE_SPEED, 695.0, "rpm"), (Quantity.COOLANT_TEMPERATURE, 185.0, "degF")}


def test_a_run_that_is_announced_in_other_words_is_a_run_of_its_own(session: Session) -> None:
    say(session, *RUNNING, "one cut thirty six", "half engine, killing four five six", "baseline sixty")
    first, second = session.job.runs
    assert second.start.run is RunKind.HALF_ENGINE
    assert second.start.held_out == (4, 5, 6)
    assert [b.value for b in first.baselines] == [31.0]


def test_the_correction_of_a_wanted_part_is_an_entry(session: Session) -> None:
    say(session, "part wanted injector cylinder three", "make that two of them")
    assert isinstance(session.job.entries[-1].body, Correction)
    assert session.job.entries[-1].body.body == PartWanted("injector", 2, 3)


def test_a_baseline_put_right_by_name(session: Session) -> None:
    say(session, *RUNNING, "one cut thirty six", "correction baseline thirty")
    assert [b.value for b in session.job.runs[0].baselines] == [30.0]
    assert isinstance(session.job.entries[-1].body, Correction)
    assert session.job.entries[-1].body.body == Baseline(30.0)


@pytest.mark.parametrize(
    ("said", "answer"),
    [("oh it's heavy alright", "heavy"), ("light I'd say", "light"), ("grab me the heavy one", None), ("loose", None)],
)
def test_an_option_is_chosen_by_what_only_it_says(session: Session, said: str, answer: str | None) -> None:
    options = (Check(Subject.BLOW_BY, "light"), Check(Subject.BLOW_BY, "heavy"))
    session.enter(Question("blow-by light, or heavy?", options))
    session.type(said)
    checks = [check.body.outcome for check in session.job.checks]
    assert checks == ([answer] if answer else [])


def test_an_option_is_chosen_by_the_quantity_that_it_is_about(session: Session) -> None:
    coolant, oil = (Condition(q, 80.0) for q in (Quantity.COOLANT_TEMPERATURE, Quantity.OIL_TEMPERATURE))
    session.enter(Question("coolant, or oil?", (coolant, oil)))
    session.type("I was talking about the coolant")
    assert [reading.quantity for reading in session.job.conditions] == [Quantity.COOLANT_TEMPERATURE]


@pytest.mark.parametrize("said", ["same cylinder again, thirty seven", "that one again, thirty seven"])
def test_the_cylinder_cut_last_is_read_again_without_its_number(session: Session, said: str) -> None:
    say(session, *RUNNING, "four cut thirty six")
    session.type(said)
    session.type("yes")
    assert [(cut.cylinder, cut.value) for cut in session.job.runs[0].cuts] == [(4, 36.0), (4, 37.0)]


def test_a_check_of_that_one_is_of_the_cylinder_spoken_of_last(session: Session) -> None:
    say(session, *RUNNING, "four cut, no change", "the injector plug is fine on that one")
    assert [(check.body.subject, check.body.cylinder) for check in session.job.checks] == [(Subject.CONNECTOR, 4)]


def test_a_reading_that_is_struck_with_its_new_number_is_put_right(session: Session) -> None:
    say(session, *RUNNING, "three cut thirty five")
    session.type("strike three, it hadn't settled, thirty four and a half now")
    session.type("yes")
    assert [(cut.cylinder, cut.value) for cut in session.job.runs[0].cuts] == [(3, 34.5)]


@pytest.mark.parametrize("words", ["number four's the same", "four the same"])
def test_the_same_after_another_cylinders_reading_may_be_that_reading(session: Session, words: str) -> None:
    """A healthy cylinder must not become a dead one: "the same" is asked about, "stays the same" is no change."""
    say(session, "start idle cut out", "baseline twenty nine", "two cut thirty five")
    (asked,) = session.type(words)
    assert asked.verdict is Verdict.ASK
    say(session, "five stays the same")
    assert [cut.no_change for cut in session.job.runs[-1].cuts] == [False, True]


def test_a_number_that_was_no_change_is_put_right_at_once(session: Session) -> None:
    say(session, *RUNNING, "four cut thirty six")
    (told,) = session.type("correct four to no change")
    assert told.verdict is Verdict.TAKE
    assert [(cut.cylinder, cut.no_change) for cut in session.job.runs[0].cuts] == [(4, True)]
