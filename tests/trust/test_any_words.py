"""No words whatever break the journal: they are taken, asked about or let go, and what is taken makes sense."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import fields

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from journal.analysis import diagnose
from journal.facts import Cut, Engine, Injection, JobOpened, Quantity
from journal.facts.codec import body_from_json, body_to_json
from journal.output.lines import findings_text, job_text
from journal.record.replay import replay
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording import Context, Decision, Verdict, decide_text
from journal.wording.complete import certain, complete
from journal.wording.types import Command, Number
from tests.trust.effort import tries
from tests.trust.sentences import sentences

SIX = Engine(6, (1, 5, 3, 6, 2, 4), injection=Injection.HYDRAULIC)

numbers = st.floats(allow_nan=False, allow_infinity=False, width=32)
cylinders = st.integers(1, 6)
contexts = st.builds(
    Context,
    engine=st.sampled_from([SIX, None]),
    quantity=st.sampled_from(list(Quantity)),
    baseline=st.none() | numbers,
    already_cut=st.lists(st.tuples(cylinders, numbers), max_size=6).map(tuple),
    held_out=st.lists(cylinders, max_size=6, unique=True).map(tuple),
    next_cylinder=st.none() | cylinders,
    question_options=st.just(()) | st.just((Cut(4, 13.0), Cut(4, 30.0))),
)


def makes_sense(decision: Decision, context: Context) -> bool:
    """Whether a decision can be acted on: certain to a degree, finite, and about a cylinder that is there."""
    if not 0 <= decision.certainty <= 1:
        return False
    if decision.verdict is not Verdict.LET_GO and decision.meaning is None:
        return False
    for meaning in (decision.meaning, *decision.alternatives):
        if meaning is None:
            continue
        values = [getattr(meaning, field.name) for field in fields(meaning)]
        if any(isinstance(value, float) and not math.isfinite(value) for value in values):
            return False
        cylinder = getattr(meaning, "cylinder", None)
        if cylinder is not None and not 1 <= cylinder <= (context.engine.cylinders if context.engine else 20):
            return False
        if not isinstance(meaning, Command | Number) and body_from_json(body_to_json(meaning)) != meaning:
            return False
    return True


@given(text=sentences(), context=contexts)
@example(text="eight to", context=Context(engine=SIX))
@tries(300, 100_000)
def test_any_words_become_decisions_that_make_sense(text: str, context: Context) -> None:
    decisions = decide_text(text, context)
    assert all(makes_sense(decision, context) for decision in decisions)
    assert all(decision.prompt for decision in decisions if decision.verdict is Verdict.ASK)
    assert certain(decisions) or not complete(decisions, context)


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with Store.open(tmp_path_factory.mktemp("any words") / "journal") as opened:
        yield opened


@given(said=st.lists(sentences(), min_size=1, max_size=30))
@tries(12, 1_500)
def test_any_session_can_be_replayed_judged_and_shown(said: list[str], store: Store) -> None:
    job_id = open_job(store, JobOpened("Test bench", SIX), "Ash")
    session = Session(store, job_id)
    acknowledged = [o.entry.id for text in said for o in session.type(text) if o.entry is not None]
    kept = [entry.id for entry in store.entries(job_id)]
    assert set(acknowledged) <= set(kept)
    assert len(kept) == len(acknowledged) + 1
    job = store.job(job_id)
    assert replay(list(reversed(job.entries))) == job
    assert job_text(job)
    assert findings_text(diagnose(job))


def test_a_decision_that_makes_no_sense_would_be_noticed() -> None:
    context = Context(engine=SIX)
    assert makes_sense(Decision(Verdict.TAKE, Cut(4, 38.0)), context)
    assert not makes_sense(Decision(Verdict.TAKE, Cut(7, 38.0)), context)
    assert not makes_sense(Decision(Verdict.TAKE, None), context)
