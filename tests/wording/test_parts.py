"""What is understood by its parts does not hang on their order, on fillers, contractions or where a breath is taken."""

from __future__ import annotations

import re
import tomllib
from importlib import resources

from hypothesis import given, settings
from hypothesis import strategies as st

from journal.facts import Check, Condition, Cut, Engine, Quantity, Subject
from journal.wording import Context, Meaning, Verdict, decide_text, spell
from journal.wording.lexicon import lexicon, outcomes, said_words
from journal.wording.near import Near, near
from journal.wording.tokens import tokenise

RUNNING = Context(engine=Engine(6), baseline=31.0, next_cylinder=2)
FILLERS = st.sampled_from(["okay ", "right, ", "so ", "uh, ", "now then, ", "", ""])
ACTS = ("out", "off", "killed", "knocked out", "isolated", "disabled", "cut", "dropped", "shut off")


def meant(text: str, context: Context = RUNNING) -> Meaning | None:
    """The one thing taken or asked about."""
    decisions = decide_text(text, context)
    assert len(decisions) == 1, (text, decisions)
    return decisions[0].meaning


@st.composite
def readings(draw: st.DrawFn) -> tuple[str, Cut]:
    cylinder = draw(st.integers(1, 6))
    value = draw(st.integers(31, 39)) + draw(st.sampled_from([0, 0.5]))
    act = draw(st.sampled_from(ACTS))
    number, amount = spell(cylinder), spell(value)
    who = draw(st.sampled_from([f"number {number}", f"cylinder {number}", f"{number}"]))
    is_ = draw(st.sampled_from(["'s", " is", ""]))
    text = draw(
        st.sampled_from(
            [
                f"{who}{is_} {act}, {amount}",
                f"{who} {act} and it goes to {amount}",
                f"{amount} with {who} {act}",
                f"with {who} {act} it reads {amount}",
                f"{amount} on cylinder {number}",
                f"{who} {act}, fuel came up to {amount}",
            ]
        )
    )
    return draw(FILLERS) + text, Cut(cylinder, float(value))


@settings(deadline=None, max_examples=150)
@given(readings())
def test_a_reading_means_the_same_in_any_order_and_with_any_filler(said: tuple[str, Cut]) -> None:
    text, cut = said
    assert meant(text) == cut, text


@settings(deadline=None, max_examples=60)
@given(st.lists(st.tuples(st.integers(1, 6), st.integers(31, 39)), min_size=2, max_size=4, unique_by=lambda r: r[0]))
def test_several_readings_in_a_breath_are_those_of_a_breath_each(read: list[tuple[int, int]]) -> None:
    one_by_one = [Cut(cylinder, float(value)) for cylinder, value in read]
    parts = [f"number {spell(cylinder)} out {spell(value)}" for cylinder, value in read]
    for joint in (", ", " and ", ". "):
        assert [d.meaning for d in decide_text(joint.join(parts), RUNNING)] == one_by_one, joint.join(parts)


SUBJECTS = {
    "compression": (Subject.COMPRESSION, ("low", "good", "weak")),
    "the connector": (Subject.CONNECTOR, ("good", "corroded", "loose")),
    "wiring": (Subject.WIRING, ("sound", "chafed", "faulty")),
    "lash": (Subject.LASH, ("tight", "loose", "in limits")),
}


@settings(deadline=None, max_examples=80)
@given(st.sampled_from(sorted(SUBJECTS)), st.integers(0, 2), st.integers(1, 6), FILLERS)
def test_a_check_means_the_same_in_any_order(name: str, which: int, cylinder: int, filler: str) -> None:
    subject, words = SUBJECTS[name]
    word, number = words[which], spell(cylinder)
    ways = [f"{name} on {number} is {word}", f"{name}'s {word} on cylinder {number}", f"number {number} {name} {word}"]
    found = {meant(filler + way, Context(engine=Engine(6))) for way in ways}
    assert len(found) == 1, found
    (check,) = found
    assert isinstance(check, Check)
    assert (check.subject, check.cylinder) == (subject, cylinder)


@settings(deadline=None, max_examples=60)
@given(st.integers(600, 2200), st.sampled_from(["revs are", "engine speed's", "turning", "rpm is"]))
def test_a_condition_by_any_name(value: int, name: str) -> None:
    context = Context(engine=Engine(6))
    assert meant(f"{name} {value}", context) == Condition(Quantity.ENGINE_SPEED, float(value))
    assert meant(f"{value} rpm", context) == Condition(Quantity.ENGINE_SPEED, float(value))


def test_what_is_denied_is_never_taken_for_what_is_said() -> None:
    context = Context(engine=Engine(6))
    for text in ("number four isn't cut, thirty eight", "compression on three is not low", "no smoke"):
        for decision in decide_text(text, context):
            meaning = decision.meaning
            assert decision.verdict is not Verdict.TAKE or not isinstance(meaning, Cut)
            if isinstance(meaning, Check):
                assert meaning.outcome not in ("low", "white", "black", "blue")


def test_every_outcome_is_one_of_its_subject() -> None:
    from journal.facts import OUTCOMES

    for (subject, _), (outcome, _) in outcomes().items():
        assert outcome in OUTCOMES[Subject(subject)], (subject, outcome)


def test_every_list_is_in_order_and_says_a_word_once() -> None:
    tables = tomllib.loads(resources.files("journal.wording").joinpath("parts.toml").read_text("utf-8"))
    for role, values in tables.items():
        for value, said in values.items() if role != "outcome" else ():
            assert said == sorted(set(said), key=lambda words: re.sub(r"[\[\]()]", "", words)), f"[{role}] {value}"


def test_contractions_and_articles_do_not_count() -> None:
    assert [w.text for w in said_words(tokenise("The cylinder's out, it isn't leaking"))] == [
        "cylinder", "is", "out", "it", "isn't", "leaking",
    ]  # fmt: skip


def test_a_word_is_known_by_its_likeness_only_where_it_means_nothing_itself() -> None:
    assert lexicon().alike("conector") == "connector"
    assert lexicon().alike("connector") == ""
    assert lexicon().alike("qwerty") == ""


def test_talk_is_near_nothing_and_statements_about_the_engine_are_worth_keeping() -> None:
    assert near("would you hold the torch a minute") is Near.NOTHING
    assert near("the water pump is weeping") is Near.NOTE
    assert near("number four's water pump is weeping") is Near.SAYING
    assert near("the batteries are at eleven point six") is Near.SAYING
    assert near("cut zorp thirty eight blim") is Near.LOST
