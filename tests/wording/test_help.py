"""Every outcome of every check can be said, every example on the cheat sheet works, and the sheet is one page."""

from __future__ import annotations

from dataclasses import replace

import pytest

from journal.facts import (
    LEAK_PLACES,
    MEASURED_AS,
    OUTCOMES,
    PARTS,
    PER_CYLINDER,
    Check,
    Cut,
    Engine,
    Quantity,
    RunKind,
    RunStarted,
    Subject,
)
from journal.wording import Context, Verdict, cheat_sheet, decide_text, how_to_say, phrases
from journal.wording.types import CommandWord
from journal.wording.vocabulary import vocabulary

SIX = Context(
    engine=Engine(6), run=RunStarted(RunKind.IDLE), next_cylinder=4, question_options=(Check(Subject.OIL, "low"),)
)
PAGE_LINES = 80
"""Lines of a printed page at 9 points; common practice, no source."""


@pytest.mark.parametrize(("subject", "outcome"), [(s, o) for s, outcomes in OUTCOMES.items() for o in outcomes])
def test_every_outcome_of_every_check_can_be_said(subject: Subject, outcome: str) -> None:
    (decision,) = decide_text(how_to_say(subject, outcome, 4), SIX)
    assert decision.verdict is Verdict.TAKE
    assert isinstance(decision.meaning, Check)
    assert (decision.meaning.subject, decision.meaning.outcome) == (subject, outcome)
    assert decision.meaning.cylinder == 4 or subject not in PER_CYLINDER


@pytest.mark.parametrize("part", PARTS)
def test_every_part_can_be_said_to_be_damaged(part: str) -> None:
    (decision,) = decide_text(f"broken {part} cylinder three", SIX)
    assert decision.meaning == Check(Subject.OVERHEAD, "damaged", 3, part=part)


@pytest.mark.parametrize("place", LEAK_PLACES)
def test_every_place_a_cylinder_can_leak_to_can_be_said(place: str) -> None:
    (decision,) = decide_text(f"air test cylinder three leaks to {place}", SIX)
    assert decision.meaning == Check(Subject.AIR_TEST, "leaks", 3, place=place)


@pytest.mark.parametrize(("group", "example"), [(g.title, line.say) for g in phrases() for line in g.lines])
def test_every_example_on_the_cheat_sheet_is_taken(group: str, example: str) -> None:
    context = replace(SIX, question_options=(), awaits=Cut(4, 0.0)) if group == "While the journal leads" else SIX
    assert {d.verdict for d in decide_text(example, context)} == {Verdict.TAKE}, example


def test_the_cheat_sheet_is_one_page_of_plain_text() -> None:
    lines = cheat_sheet().splitlines()
    assert len(lines) <= PAGE_LINES
    assert max(map(len, lines)) <= 100


def test_every_request_to_the_journal_has_its_words() -> None:
    said = {phrase.set["word"] for phrase in vocabulary().phrases if phrase.kind == "command" and not phrase.framed}
    assert said == {str(word) for word in CommandWord}


def test_every_condition_that_can_be_recorded_has_its_words() -> None:
    said = {
        phrase.set["quantity"] for phrase in vocabulary().phrases if phrase.kind == "condition" and not phrase.framed
    }
    measured_by_checks = set(MEASURED_AS.values()) - {Quantity.FUEL_PRESSURE}
    assert said == {str(q) for q in Quantity} - {str(q) for q in measured_by_checks} - {"fuel per stroke"}
