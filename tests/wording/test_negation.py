"""A "not" that was said is never lost: it changes the meaning, or it turns a take into a question or nothing."""

from __future__ import annotations

import pytest

from journal.facts import Check, Cut, Engine
from journal.wording import Context, Verdict, decide_text
from journal.wording.types import Command, CommandWord, Number

SIX = Context(engine=Engine(6, (1, 5, 3, 6, 2, 4)), baseline=30.0)


@pytest.mark.parametrize(
    ("text", "outcome", "crank_turned"),
    [
        ("cylinder three holds air, crank not turned", "holds", False),
        ("cylinder three holds air, crank did not turn", "holds", False),
        ("wiring not sound on three", "faulty", None),
        ("cylinder three wiring is not good", "faulty", None),
        ("overhead not sound", "damaged", None),
        ("cylinder three does not hold air", "leaks", None),
    ],
)
def test_a_negated_outcome_is_its_opposite(text: str, outcome: str, crank_turned: bool | None) -> None:
    (decision,) = decide_text(text, SIX)
    assert isinstance(decision.meaning, Check)
    assert (decision.meaning.outcome, decision.meaning.crank_turned) == (outcome, crank_turned)


@pytest.mark.parametrize(
    "text",
    [
        "four not thirty eight",
        "cylinder four not cut, thirty eight",
        "do not scratch that",
        "not idle cut-out test",
        "blow-by is not heavy",
        "baseline isn't thirty",
        "no air test on three holds",
        "cylinders are not back in",
        "pressure override is not off",
    ],
)
def test_a_not_that_no_phrase_knows_is_never_taken(text: str) -> None:
    assert all(d.verdict is not Verdict.TAKE for d in decide_text(text, SIX)), text


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("the first", CommandWord.FIRST),
        ("the second", CommandWord.SECOND),
        ("first", CommandWord.FIRST),
        ("second one", CommandWord.SECOND),
        ("neither", CommandWord.NEITHER),
    ],
)
def test_an_answer_is_understood_while_a_question_waits(text: str, word: CommandWord) -> None:
    waiting = Context(engine=SIX.engine, baseline=30.0, question_options=(Cut(4, 37.0), Cut(4, 39.0)))
    assert [(d.verdict, d.meaning) for d in decide_text(text, waiting)] == [(Verdict.TAKE, Command(word))]


@pytest.mark.parametrize("text", ["thirty eight", "38", "seven oh five", "3", "three eight"])
def test_a_bare_number_is_understood_when_one_is_expected(text: str) -> None:
    expecting = Context(expects_number=True)
    (decision,) = decide_text(text, expecting)
    assert decision.verdict is Verdict.TAKE
    assert isinstance(decision.meaning, Number)
