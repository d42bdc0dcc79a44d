"""What people say and what recognisers write becomes exactly the entries it should, and chat becomes none."""

from __future__ import annotations

import pytest

from journal.facts import Arrangement, Engine
from journal.hearing.types import Candidate
from journal.wording import Context, Verdict, decide, decide_text

from . import gold_heard, gold_nothing, gold_typed

SIX = Context(engine=Engine(6, (1, 5, 3, 6, 2, 4)), next_cylinder=4)
SIXTEEN = Context(
    engine=Engine(16, arrangement=Arrangement.VEE, banks=(tuple(range(1, 17, 2)), tuple(range(2, 17, 2))))
)


def meant(gold: gold_typed.Gold) -> tuple[object, ...]:
    return gold[1] if isinstance(gold[1], tuple) else (gold[1],)


@pytest.mark.parametrize(
    ("context", "gold"),
    [(SIX, g) for g in gold_typed.ON_A_SIX] + [(SIXTEEN, g) for g in gold_typed.ON_A_SIXTEEN],
    ids=lambda value: value[0] if isinstance(value, tuple) else "",
)
def test_what_is_typed_is_taken_as_meant(context: Context, gold: gold_typed.Gold) -> None:
    decisions = decide_text(gold[0], context)
    assert tuple(d.meaning for d in decisions) == meant(gold)
    assert {d.verdict for d in decisions} == {Verdict.TAKE}


def test_the_typed_gold_set_is_as_large_as_promised() -> None:
    said = {text for text, _ in (*gold_typed.ON_A_SIX, *gold_typed.ON_A_SIXTEEN)}
    assert len(said) >= 400


@pytest.mark.parametrize("text", gold_nothing.NOTHING)
def test_what_is_not_for_the_tool_gives_nothing(text: str) -> None:
    decisions = decide_text(text, SIX)
    assert [(d.verdict, d.meaning) for d in decisions] == [(Verdict.LET_GO, None)]
    assert decisions[0].reason


def test_what_is_not_for_the_tool_is_hardly_ever_asked_about_by_its_text_alone() -> None:
    """By a listener that only writes a text, nothing is entered, and nineteen in twenty are let go."""
    made = [decide([Candidate(text, -1.0, "one")], SIX) for text in gold_nothing.NOTHING]
    assert not [d for decisions in made for d in decisions if d.verdict is Verdict.TAKE]
    asked = [decisions for decisions in made if any(d.verdict is Verdict.ASK for d in decisions)]
    assert len(asked) <= 0.05 * len(made)


def test_the_set_of_what_gives_nothing_is_as_large_as_promised() -> None:
    assert len(set(gold_nothing.NOTHING)) >= 100


def test_what_a_recogniser_wrote_is_understood_or_asked_about() -> None:
    """Nothing wrong is entered, and nineteen in twenty are named as meant."""
    named, wrong = 0, []
    for gold in gold_heard.HEARD:
        decisions = decide([Candidate(gold[0], -1.0, "one")], SIX)
        named += tuple(d.meaning for d in decisions) == meant(gold)
        wrong += [gold for d in decisions if d.verdict is Verdict.TAKE and d.meaning not in meant(gold)]
    assert wrong == []
    assert named >= 0.95 * len(gold_heard.HEARD)


@pytest.mark.parametrize("gold", gold_heard.GARBLED, ids=lambda gold: gold[0])
def test_a_garbled_text_is_never_taken_for_something_else(gold: gold_typed.Gold) -> None:
    taken = [d for d in decide([Candidate(gold[0], -1.0, "one")], SIX) if d.verdict is Verdict.TAKE]
    assert all(d.meaning in meant(gold) for d in taken)


def test_the_set_of_what_recognisers_write_is_as_large_as_promised() -> None:
    assert len({text for text, _ in gold_heard.HEARD}) >= 100
