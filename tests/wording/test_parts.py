"""What is understood by its parts does not hang on their order, on fillers, contractions or where a breath is taken."""

from __future__ import annotations

import re
import tomllib
from importlib import resources

from hypothesis import given, settings
from hypothesis import strategies as st

from journal.facts import (
    Baseline,
    Check,
    Condition,
    Cut,
    Engine,
    Note,
    PartAnswer,
    PartState,
    PartWanted,
    Quantity,
    RepairDone,
    Subject,
)
from journal.wording import Context, Meaning, Verdict, decide_text, spell
from journal.wording.lexicon import lexicon, outcomes, said_words
from journal.wording.near import Near, near
from journal.wording.tokens import tokenise
from journal.wording.types import Command, CommandWord

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


IN_ORDER = st.lists(st.integers(1, 6), min_size=2, max_size=4, unique=True).flatmap(
    lambda cylinders: st.tuples(
        st.just(cylinders), st.lists(st.integers(31, 39), min_size=len(cylinders), max_size=len(cylinders))
    )
)


@settings(deadline=None, max_examples=40)
@given(IN_ORDER, st.sampled_from(["in that order", "respectively"]), st.booleans())
def test_numbers_in_the_order_of_cylinders_are_one_for_each(
    said: tuple[list[int], list[int]], order: str, first: bool
) -> None:
    cylinders, values = said
    named, read = (", ".join(spell(n) for n in numbers) for numbers in (cylinders, values))
    text = f"cylinders {named}, {read} {order}" if first else f"{read} on cylinders {named} {order}"
    found = [d.meaning for d in decide_text(text, RUNNING)]
    assert found == [Cut(c, float(v)) for c, v in zip(cylinders, values, strict=True)], text


@settings(deadline=None, max_examples=40)
@given(st.integers(1, 6), st.integers(1, 6), st.integers(32, 38))
def test_how_far_it_rose_is_no_reading_where_it_is_said_what_it_rose_to(cylinder: int, rise: int, value: int) -> None:
    for text in (
        "number {} out, up {} to {}",
        "number {} cut, it jumped {} to {}",
        "cylinder {} off, went up {} to {}",
    ):
        words = text.format(spell(cylinder), spell(rise), spell(value))
        assert meant(words) == Cut(cylinder, float(value)), words


@settings(deadline=None, max_examples=20)
@given(st.integers(1, 6), st.integers(2, 8))
def test_only_how_far_it_rose_is_asked_about_as_what_it_comes_to(cylinder: int, rise: int) -> None:
    (decision,) = decide_text(f"number {spell(cylinder)} out, up by {spell(rise)}", RUNNING)
    assert decision.verdict is Verdict.ASK
    assert decision.meaning == Cut(cylinder, 31.0 + rise)


@settings(deadline=None, max_examples=30)
@given(
    st.sampled_from(["all six", "all of them", "everything", "every cylinder", "all the cylinders"]),
    st.sampled_from(["lit", "firing", "working", "running", "pulling", "hitting"]),
    st.integers(28, 33),
)
def test_with_all_cylinders_at_work_it_is_the_baseline(who: str, state: str, value: int) -> None:
    for text in (f"{who} {state}, {spell(value)}", f"{spell(value)} with {who} {state}"):
        assert meant(text, Context(engine=Engine(6))) == Baseline(float(value)), text


@settings(deadline=None, max_examples=20)
@given(st.integers(2, 6), st.sampled_from(["as well", "too", "likewise"]))
def test_the_same_check_of_another_cylinder(cylinder: int, word: str) -> None:
    last = Check(Subject.AIR_TEST, "holds", 1)
    assert meant(f"{spell(cylinder)} {word}", Context(engine=Engine(6), last=last)) == Check(
        Subject.AIR_TEST, "holds", cylinder
    )


def test_the_same_as_the_last_reading_and_the_same_as_before_the_cut_are_told_apart() -> None:
    read = Context(engine=Engine(6), baseline=31.0, next_cylinder=2, already_cut=((1, 36.0),), last=Cut(1, 36.0))
    assert [d.meaning for d in decide_text("number two's just the same as that one", read)] == [Cut(2, 36.0)]
    (same,) = decide_text("number two, same fuel as before", read)
    assert same.meaning == Cut(2, None, no_change=True)


def test_going_back_to_a_cylinder_is_no_baseline() -> None:
    (decision,) = decide_text("back on number one again, thirty six", RUNNING)
    assert decision.meaning == Cut(1, 36.0)
    (put_back,) = decide_text("number one's back on, thirty one", RUNNING)
    assert put_back.meaning == Baseline(31.0)


def test_what_was_done_another_day_is_a_note_and_no_repair() -> None:
    context = Context(engine=Engine(6))
    for text in ("fuel filters were changed fifty hours back", "injectors were replaced at nine thousand hours"):
        (decision,) = decide_text(text, context)
        assert isinstance(decision.meaning, Note), text
    (decision,) = decide_text("replaced the fuel filters", context)
    assert isinstance(decision.meaning, RepairDone)


def test_how_far_a_wanted_part_has_come() -> None:
    wanted = PartWanted("injector", 1, 3)
    context = Context(engine=Engine(6), parts=((wanted, PartAnswer("part", PartState.WANTED)),))
    for text, state in (
        ("the injector's on order", PartState.ORDERED),
        ("injector has arrived", PartState.ARRIVED),
        ("the injector has been fitted", PartState.FITTED),
        ("we don't need that injector after all", PartState.NOT_NEEDED),
    ):
        (decision,) = decide_text(text, context)
        assert (decision.verdict, decision.meaning) == (Verdict.TAKE, PartAnswer("part", state)), text
    for nothing in ("the pushrod's on order", "the harness has arrived"):
        assert all(d.verdict is Verdict.LET_GO for d in decide_text(nothing, context)), nothing


def test_requests_in_other_words_and_none_where_more_is_said() -> None:
    for text, word in (
        ("undo that would you", CommandWord.SCRATCH),
        ("what is still remaining", CommandWord.MISSED),
        ("sorry what was that", CommandWord.REPEAT),
        ("what's four down as", CommandWord.READ_BACK),
        ("give us a minute", CommandWord.HOLD),
    ):
        (decision,) = decide_text(text, RUNNING)
        assert isinstance(decision.meaning, Command) and decision.meaning.word is word, text
    for text in ("undo that bolt would you", "what is still remaining of the beer", "would you hold the torch for us"):
        assert not any(isinstance(d.meaning, Command) for d in decide_text(text, RUNNING)), text


def test_two_figures_that_may_be_tenths_are_asked_about() -> None:
    (decision,) = decide_text("we're at eight six now with nothing cut", Context(engine=Engine(6)))
    assert decision.verdict is Verdict.ASK
