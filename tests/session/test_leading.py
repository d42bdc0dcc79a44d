"""The journal leads the test: it asks for each reading, takes bare numbers for what it asked, and is told otherwise."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from journal.facts import Baseline, Condition, Cut, Engine, Injection, JobOpened, Quantity, Question
from journal.hearing.types import Candidate, Expect
from journal.leading import OLD
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording import Context, Verdict, decide, decide_text, speakable
from journal.wording.evidence import told_short
from journal.wording.types import Command, CommandWord
from journal.wording.understood import Piece

SIX = Engine(6, (1, 5, 3, 6, 2, 4), injection=Injection.HYDRAULIC)
START = datetime(2026, 3, 2, 8, tzinfo=UTC)


class Clock:
    """Ten seconds on at each look, and more when it is told."""

    def __init__(self) -> None:
        self.now = START

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


def led(folder: Path, engine: Engine = SIX) -> Session:
    store = Store.open(folder)
    return Session(store, open_job(store, JobOpened("Bench", engine), "Ash", at=START), clock=Clock())


@pytest.fixture
def session(tmp_path: Path) -> Iterator[Session]:
    made = led(tmp_path)
    made.lead_on()
    yield made
    made.store.close()


def said(session: Session, *texts: str) -> list[str]:
    """What is said back to each."""
    return [session.type(text)[-1].say for text in texts]


def read(session: Session) -> list[tuple[int | None, float | None]]:
    return [(cut.cylinder, cut.value) for cut in session.job.runs[-1].cuts]


def test_a_run_is_read_by_bare_numbers_each_said_back_with_the_next(session: Session) -> None:
    back = said(session, "thirty", "thirty eight", "37.5", "no change", "thirty seven point five")
    assert back == ["Baseline thirty. One.", "Thirty-eight. Two.", "Thirty-seven point five. Three.",
                    "No change. Four.", "Thirty-seven point five. Five."]  # fmt: skip
    assert read(session) == [(1, 38.0), (2, 37.5), (3, None), (4, 37.5)]
    assert [b.value for b in session.job.runs[0].baselines] == [30.0]


def test_the_first_thing_asked_for_is_what_the_job_lacks(tmp_path: Path) -> None:
    session = led(tmp_path)
    assert session.lead_on() == "Baseline."
    said(session, "idle cut out test", "baseline thirty", "cylinder one cut thirty seven point five")
    assert session.lead_on() == "Two."


def test_it_goes_on_in_the_order_in_which_the_technician_goes(session: Session) -> None:
    """The next cylinder comes from the one place that knows it: by firing order where the cuts went by that."""
    assert said(session, "thirty", "37.5", "five cut 37.4", "37.5")[-2:] == [
        "Five, thirty-seven point four. Three.", "Thirty-seven point five. Six.",
    ]  # fmt: skip


def test_any_other_phrase_works_in_between_and_nothing_is_lost(session: Session) -> None:
    back = said(session, "thirty", "37.5", "note smells of fuel", "cylinder four cut 37.4", "37.6")
    assert back[2:4] == ["Noted. Two.", "Four, thirty-seven point four. Five."]
    assert read(session) == [(1, 37.5), (4, 37.4), (5, 37.6)]
    assert [note.body.text for note in session.job.notes] == ["smells of fuel"]


def test_skip_leaves_one_out_and_back_asks_for_it_after_all(session: Session) -> None:
    back = said(session, "thirty", "37.5", "skip", "back", "skip", "37.6")
    assert back[2:] == ["Two skipped. Three.", "Back to two. Two.", "Two skipped. Three.",
                        "Thirty-seven point six. Four."]  # fmt: skip
    assert read(session) == [(1, 37.5), (3, 37.6)]


def test_back_takes_the_last_reading_back_and_asks_for_it(session: Session) -> None:
    assert said(session, "thirty", "37.5", "back")[-1] == "Taken back: cylinder 1 cut: 37.5. One."
    assert read(session) == []
    assert said(session, "back")[-1] == "Taken back: baseline: 30. Baseline."
    assert session.type("back")[0].verdict is Verdict.LET_GO


def test_again_reads_the_last_one_once_more_beside_the_first(session: Session) -> None:
    back = said(session, "thirty", "37.5", "again", "37.7", "37.4")
    assert back[2:] == ["One again.", "Thirty-seven point seven. Two.", "Thirty-seven point four. Three."]
    assert read(session) == [(1, 37.5), (1, 37.7), (2, 37.4)]
    assert said(session, "again", "skip")[-1].endswith("Three."), "a repeat that is not wanted is let be"


def test_a_number_that_the_job_does_not_lead_one_to_expect_is_asked_about(session: Session) -> None:
    said(session, "thirty")
    [outcome] = session.type("three hundred")
    assert outcome.verdict is Verdict.ASK and outcome.say == "one, three zero zero?"
    assert said(session, "no", "37.5")[-1] == "Thirty-seven point five. Two."
    assert read(session) == [(1, 37.5)]


def test_the_answer_to_a_question_goes_to_it_and_then_the_next_is_asked_for(session: Session) -> None:
    said(session, "thirty")
    session.enter(Question("one: thirty-eight, or thirty-nine?", (Cut(1, 38.0), Cut(1, 39.0))))
    assert said(session, "the second")[-1] == "One, thirty-nine. Two."


def test_figures_that_seem_to_name_another_cylinder_are_never_entered_for_it_unasked(session: Session) -> None:
    said(session, "thirty", "37.5")
    for text in ("four thirty eight", "4 38", "six, thirty seven point five"):
        [outcome] = session.type(text)
        assert outcome.verdict is Verdict.ASK, text
        session.type("no")
    assert read(session) == [(1, 37.5)]
    assert said(session, "cylinder six cut 37.5", "two thirty eight", "38") == [
        "Six, thirty-seven point five. Two.", "two: thirty-eight, or two three eight?", "Two, thirty-eight. Three.",
    ]  # fmt: skip


@pytest.mark.parametrize("heard", ["thirty eight", "thirteen", "thirty", "forty eight", "eight", "three eight", "6 38"])
def test_whatever_is_heard_for_a_bare_number_nothing_is_entered_for_another_cylinder(heard: str) -> None:
    """Both listeners sure of it, as a recogniser that mishears is."""
    asked = Context(engine=SIX, baseline=30.0, next_cylinder=2, done=(1,), already_cut=((1, 37.5),), awaits=Cut(2, 0.0))
    candidates = [Candidate(heard, -0.5, "whisper"), Candidate(heard, -20.0, "pocketsphinx"),
                  Candidate("", -25.0, "whisper"), Candidate("", -45.0, "pocketsphinx")]  # fmt: skip
    for decision in decide(candidates, asked, free_text=heard):
        if decision.verdict is Verdict.TAKE:
            assert isinstance(decision.meaning, Cut) and decision.meaning.cylinder == 2


def test_the_baseline_and_the_speed_are_asked_for_again_when_they_are_old(session: Session) -> None:
    said(session, "thirty", "engine speed seven hundred", "37.5")
    assert isinstance(session.clock, Clock)
    session.clock.now += OLD
    assert said(session, "note had to wait")[-1] == "Noted. Baseline again."
    assert said(session, "thirty point two")[-1] == "Baseline thirty point two. Speed again."
    assert said(session, "seven hundred")[-1].endswith("Two.")
    run = session.job.runs[0]
    assert [b.value for b in run.baselines] == [30.0, 30.2]
    assert [(c.quantity, c.value) for c in run.conditions] == [(Quantity.ENGINE_SPEED, 700.0)] * 2


def test_a_repeat_is_asked_for_where_the_analysis_says_that_one_would_settle_it(session: Session) -> None:
    """Cylinder 6 reads 39 where six alike would read 36: misheard, or a strong one, which one more reading tells."""
    back = said(session, "thirty", "36", "36", "36", "36", "36", "39")
    asked = session.asked_for(session.job)
    run = session.lead.findings().runs[0] if session.lead else None
    assert run is not None
    worth = [each.cylinder for each in run.suspects]
    worth += [c.cylinder for c in run.contributions if c.repeats_needed]
    assert worth and isinstance(asked, Cut) and asked.cylinder in worth
    assert back[-1].endswith(" again.")
    times = len(session.job.runs[0].cuts)
    for _ in range(6):
        if session.asked_for(session.job) is None:
            break
        said(session, "skip")
    assert session.asked_for(session.job) is None and len(session.job.runs[0].cuts) == times


def test_at_the_end_it_says_what_was_found_and_how_to_go_on_and_leads_that_too(session: Session) -> None:
    back = said(session, "thirty", "37.5", "37.5", "no change", "37.5", "37.5", "37.5")
    how = "For half engine say: half engine, four, five, six out."
    assert back[-1].endswith(f"The run is read. Cylinder three is dead. {how}"), "no causes: they stand on the page"
    assert said(session, "note oil on the floor")[-1] == "Noted.", "its end is told once"
    assert said(session, "half engine, four, five, six out", "15")[-1] == "Baseline fifteen. One."
    assert said(session, "22", "22")[-1].endswith("Three.")
    assert session.job.runs[1].start.held_out == (4, 5, 6)


def test_while_it_is_held_it_asks_for_nothing(session: Session) -> None:
    said(session, "thirty")
    assert said(session, "hold on") == ["holding on; say carry on"]
    assert session.type("37.5")[0].entry is None
    assert said(session, "carry on")[-1] == "Carrying on. One."


def test_unless_it_leads_its_words_and_bare_numbers_are_nothing(tmp_path: Path) -> None:
    session = led(tmp_path)
    said(session, "idle cut out test", "baseline thirty")
    for text in ("skip", "again", "back", "no change"):
        [outcome] = session.type(text)
        assert outcome.verdict is Verdict.LET_GO and outcome.entry is None, text
    assert session.type("37.5")[0].verdict is Verdict.ASK
    assert read(session) == []


def test_its_words_are_listened_for_only_while_it_leads() -> None:
    def openers(led: bool) -> set[str]:
        graph = speakable(6, led=led).graph[Expect.ANYTHING]
        return {word for word, _ in graph.arcs[graph.start]}

    assert {"skip", "again", "back"} <= openers(True) and not {"skip", "again"} & openers(False)


def test_its_words_steer_and_a_number_has_the_unit_that_the_run_has() -> None:
    asked = Context(engine=SIX, baseline=30.0, awaits=Cut(2, 0.0))
    for text, word in (("skip it", CommandWord.SKIP), ("once more", CommandWord.AGAIN), ("one back", CommandWord.BACK)):
        [decision] = decide_text(text, asked)
        assert decision.meaning == Command(word), text
    [decision] = decide_text("seven hundred", replace(asked, awaits=Condition(Quantity.ENGINE_SPEED, 0.0)))
    assert decision.meaning == Condition(Quantity.ENGINE_SPEED, 700.0)
    [decision] = decide_text("thirty", replace(asked, awaits=Baseline(0.0)))
    assert decision.meaning == Baseline(30.0)


@pytest.mark.parametrize(
    ("heard", "short"),
    [("fifty two", True), ("52", True), ("fifty two point", True), ("52.", True), ("fifty two point zero", False),
     ("52.0", False), ("fifty two point oh", False)],
)  # fmt: skip
def test_a_reading_whose_words_go_on_past_the_point_has_lost_no_end(heard: str, short: bool) -> None:
    assert told_short(Piece(Cut(2, 52.0), heard), Context(engine=SIX, baseline=48.6)) is short
