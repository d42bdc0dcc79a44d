"""How much better a technician is understood is learnt from their own answers, and lets no more wrong entries in."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from journal.facts import Answer, Body, Correction, Cut, Engine, JobOpened, Question, Source, Withdrawal
from journal.hearing.types import Candidate
from journal.record.store import Store
from journal.session import Session, open_job
from journal.speaker import Example, Speaker, examples, fitted_offset
from journal.wording import Context, Verdict, decide, decide_text
from journal.wording.decide import shifted
from journal.wording.figures import settings

SIX = Engine(6)
ASKED, TAKEN = 0.93, 0.99
"""How certain what is asked about and what is taken is."""


def known(asked: int, wrong: int = 0, taken: int = 0) -> list[Example]:
    return [
        *(Example(ASKED, at >= wrong) for at in range(asked)),
        *(Example(TAKEN, True) for _ in range(taken)),
    ]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "journal") as store:
        yield store


def job_of(store: Store, technician: str = "Ash") -> Session:
    return Session(store, open_job(store, JobOpened("Pump", SIX), technician), technician, Source.VOICE)


def ask(session: Session, choice: int | None, certainty: float = ASKED) -> None:
    options: tuple[Body, ...] = (Cut(4, 38.0), Cut(4, 39.0))
    question = session.enter(Question("four?", options), heard="four thirty eight", certainty=certainty)
    session.enter(Answer(question.id, choice), heard="first")


def test_nobody_is_known_from_nothing() -> None:
    assert fitted_offset([]) == 0.0


def test_who_is_always_right_when_asked_is_believed_more_with_every_answer() -> None:
    few, many = fitted_offset(known(5)), fitted_offset(known(60, taken=200))
    assert 0.0 <= few < many <= settings()["speaker"]["most"]


def test_who_is_often_wrong_is_asked_more() -> None:
    assert fitted_offset(known(30, wrong=12, taken=30)) < 0.0


def test_it_follows_bayes_rule_for_a_normal_prior(monkeypatch: pytest.MonkeyPatch) -> None:
    """The slope of the log posterior is 0 where it is highest (Gelman et al., section 16.3)."""
    monkeypatch.setitem(settings()["speaker"], "sure", 0.0)
    said = known(30, wrong=9, taken=10)
    offset = fitted_offset(said)
    assert -settings()["speaker"]["most"] < offset < 0
    slope = sum(each.right - shifted(each.certainty, offset) for each in said)
    assert slope - offset / settings()["speaker"]["spread"] ** 2 == pytest.approx(0.0, abs=1e-6)


def test_what_would_have_let_a_wrong_entry_in_is_not_believed_before_it_costs_less_than_asking() -> None:
    """At 50 questions a wrong entry, one of 49 that were asked about is too many, one of 60 is not."""
    allowed = settings()["costs"]["question"] / settings()["costs"]["entry"]
    sure = [Example(0.97, True)] * 400
    for wrong, asked in ((1, 40), (2, 60)):
        said = [*sure[:300], *(Example(0.97, at >= wrong) for at in range(asked))]
        offset = fitted_offset(said)
        let = [each for each in said if each.certainty < 1 - allowed <= shifted(each.certainty, offset)]
        assert sum(not each.right for each in let) <= allowed * len(let)
    few = [*(Example(0.97, at >= 1) for at in range(30)), *([Example(0.6, True)] * 100)]
    assert all(shifted(each.certainty, fitted_offset(few)) < 1 - allowed for each in few[:30])


def test_answers_corrections_and_what_was_taken_back_are_examples(store: Store) -> None:
    session = job_of(store)
    ask(session, 0)
    ask(session, 1)
    ask(session, None)
    _, corrected, undone, went_on = (
        session.enter(Cut(4, value), heard=f"four {value}", certainty=TAKEN) for value in (38.0, 39.0, 40.0, 41.0)
    )
    session.enter(Correction(corrected.id, Cut(4, 38.5)), heard="make it thirty eight point five")
    session.enter(Withdrawal(undone.id), heard="scratch that")
    session.enter(Withdrawal(went_on.id), heard=went_on.heard)
    session.enter(Question("four?", (Cut(4, 30.0),)), heard="four thirty", certainty=ASKED)
    found = list(examples(session.job.entries, "Ash"))
    assert [each.right for each in found] == [True, False, False, True, False, False, True]
    assert list(examples(session.job.entries, "Bert")) == []


def test_what_was_learnt_in_earlier_jobs_holds_for_the_same_technician_alone(store: Store) -> None:
    before = job_of(store)
    for _ in range(40):
        ask(before, 0)
    here, other = job_of(store), job_of(store, "Bert")
    assert Speaker(store, "Ash", here.job_id).offset(here.job) > 0
    assert Speaker(store, "Bert", other.job_id).offset(other.job) == 0
    assert here.speaker is not None and here.speaker.offset(here.job) > 0


def heard(text: str, behind: float) -> list[Candidate]:
    other = text.replace("eight", "nine")
    both = (("whisper", -3.0, -15.0), ("pocketsphinx", -38.0, -46.0))
    return [
        Candidate(words, score - behind * (words == other), listener)
        for listener, score, nothing in both
        for words, score in ((text, score), (other, score), ("", nothing + behind))
    ]


def test_a_session_asks_who_is_known_less_and_can_be_told_not_to(store: Store) -> None:
    session = job_of(store)
    session.type("baseline thirty one")
    doubt = next(
        behind / 10
        for behind in range(60, 0, -1)
        if decide(heard("four cut thirty eight", behind / 10), session.context(session.job), seconds=1.6)[0].verdict
        is Verdict.ASK
    )
    said = heard("four cut thirty eight", doubt)
    for _ in range(80):
        ask(session, 0)
    (known_well,) = session.hear(said, seconds=1.6)
    session.speaker = None
    (unknown,) = session.hear(said, seconds=1.6)
    assert (known_well.verdict, unknown.verdict) == (Verdict.TAKE, Verdict.ASK)
    assert known_well.entry is not None and unknown.entry is not None
    assert known_well.entry.certainty == pytest.approx(unknown.entry.certainty), "it stays what the model says"


def test_only_readings_that_were_heard_go_by_it() -> None:
    context = Context(engine=SIX, baseline=31.5)
    better = replace(context, speaker=1.5)
    for text in ("four cut thirty eight", "scratch that", "note oil on four"):
        assert decide_text(text, context) == decide_text(text, better)
    commands = [Candidate("scratch that", -3.0, "whisper"), Candidate("", -9.0, "whisper")]
    assert decide(commands, context, seconds=0.9) == decide(commands, better, seconds=0.9)


READ_OUT = json.loads(Path(__file__).with_name("read_out.json").read_text(encoding="utf-8"))
"""What voices that the decision is tuned on read out in noise: its chance by weights fitted on other voices, and
whether that was right."""


def _technician(voice: str, *, learns: bool) -> tuple[int, int]:
    """Questions to and wrong entries of one who reads all that out."""
    allowed = settings()["costs"]["question"] / settings()["costs"]["entry"]
    said: list[Example] = []
    asked = wrong = 0
    for certainty, right in READ_OUT[voice]:
        taken = shifted(certainty, fitted_offset(said) if learns else 0.0) >= 1.0 - allowed
        asked += not taken
        wrong += taken and not right
        said.append(Example(certainty, bool(right)))
    return asked, wrong


def test_a_technician_who_is_heard_well_is_asked_less_and_nothing_more_goes_wrong() -> None:
    asked, wrong = _technician("kokoro alpha gongitsune", learns=True)
    asked_before, wrong_before = _technician("kokoro alpha gongitsune", learns=False)
    assert asked < asked_before
    assert wrong == wrong_before


def test_whoever_speaks_nothing_more_goes_wrong_and_few_more_are_asked() -> None:
    with_it = [_technician(voice, learns=True) for voice in READ_OUT]
    without = [_technician(voice, learns=False) for voice in READ_OUT]
    assert all(now[1] <= before[1] for now, before in zip(with_it, without, strict=True))
    assert sum(asked for asked, _ in with_it) < sum(asked for asked, _ in without)


@pytest.mark.parametrize("name", ["spread", "most", "sure", "step", "last", "jobs"])
def test_every_figure_of_it_counts(name: str, store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    for _ in range(3):
        before = job_of(store)
        for choice in (0,) * 12:
            ask(before, choice, certainty=0.5)
    here = job_of(store)

    def told() -> list[float]:
        mixed = [Example(0.96, at % 61 > 0) for at in range(150)]
        sure = [Example(0.3, True)] * 200
        held_back = [*[Example(0.6, True)] * 100, *(Example(0.97, at > 0) for at in range(30))]
        learnt = Speaker(store, "Ash", here.job_id).offset(here.job)
        return [learnt, *map(fitted_offset, (mixed, sure, held_back))]

    was = told()
    monkeypatch.setitem(settings()["speaker"], name, settings()["speaker"][name] * 0.31 if name != "jobs" else 2.0)
    if name == "last":
        monkeypatch.setitem(settings()["speaker"], name, 5.0)
    assert told() != was
