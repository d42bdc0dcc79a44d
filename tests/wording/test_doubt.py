"""A doubtful number is asked about, agreement settles it, and context never changes what was heard."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from journal.facts import Cut, Engine, Note
from journal.hearing.types import Candidate
from journal.wording import Context, Number, Verdict, decide, decide_text
from journal.wording.decide import question
from journal.wording.doubt import alike_numbers

ENGINE = Engine(6)
PLAIN = Context(engine=ENGINE)
RUNNING = Context(engine=ENGINE, baseline=31.5)


def heard(*texts: tuple[str, float], listener: str = "one") -> list[Candidate]:
    return [Candidate(text, math.log(share), listener) for text, share in texts]


@pytest.mark.parametrize(
    ("value", "other"), [(13, 30), (14, 40), (15, 50), (16, 60), (17, 70), (18, 80), (19, 90), (35, 39), (5, 9)]
)
def test_numbers_that_sound_alike_are_known(value: int, other: int) -> None:
    assert other in {v for v, _ in alike_numbers(float(value))}
    assert value in {v for v, _ in alike_numbers(float(other))}


def test_a_teen_that_could_as_well_be_tens_is_asked_about() -> None:
    (decision,) = decide(heard(("cylinder four cut fifteen", 1.0)), PLAIN)
    assert decision.verdict is Verdict.ASK
    assert decision.prompt == "four: fifteen, or fifty?"
    assert (decision.meaning, *decision.alternatives)[:2] == (Cut(4, 15), Cut(4, 50))


def test_typed_words_are_not_doubted_for_their_sound() -> None:
    (decision,) = decide_text("cylinder four cut fifteen", PLAIN)
    assert decision.verdict is Verdict.TAKE


def test_what_the_job_rules_out_needs_no_question() -> None:
    (decision,) = decide(heard(("cylinder four cut thirty", 1.0)), RUNNING)
    assert (decision.verdict, decision.meaning) == (Verdict.TAKE, Cut(4, 30))


def test_a_value_the_job_does_not_expect_is_asked_about_even_when_typed() -> None:
    for text in ("four cut thirteen", "four cut ninety", "four cut three hundred"):
        (decision,) = decide_text(text, RUNNING)
        assert decision.verdict is Verdict.ASK, text


def test_a_reading_whose_tenths_may_be_lost_must_be_surer_than_one_that_has_them() -> None:
    """In a run that shows tenths "thirty eight" may be all that was heard of "thirty eight point two"."""

    candidates = heard(("four cut 38", 0.98), ("four cut 42", 0.02))
    for baseline, verdict in ((31.0, Verdict.TAKE), (31.5, Verdict.ASK)):
        (decision,) = decide(candidates, Context(engine=ENGINE, baseline=baseline))
        assert 0.95 <= decision.certainty < 0.97
        assert decision.verdict is verdict


def test_the_job_does_not_choose_between_meanings_that_sound_the_same() -> None:
    context = Context(engine=Engine(16), next_cylinder=5)
    (decision,) = decide_text("the next one zero percent", context)
    assert decision.verdict is Verdict.ASK
    named = (decision.meaning, *decision.alternatives)
    assert {m.value for m in named if isinstance(m, Cut)} == {0.0, 10.0}


def test_two_listeners_that_agree_settle_what_one_leaves_open() -> None:
    shares = (("cylinder four cut thirty six", 0.8), ("cylinder four cut thirty five", 0.2))
    (alone,) = decide(heard(*shares), PLAIN)
    (together,) = decide(heard(*shares) + heard(*shares, listener="two"), PLAIN)
    assert alone.verdict is Verdict.ASK
    assert together.certainty > alone.certainty


def test_two_listeners_that_disagree_are_a_question_naming_both() -> None:
    both = heard(("four cut thirty six", 1.0)) + heard(("four cut thirty nine", 1.0), listener="two")
    (decision,) = decide(both, RUNNING)
    assert decision.verdict is Verdict.ASK
    assert {decision.meaning, *decision.alternatives} >= {Cut(4, 36), Cut(4, 39)}


def test_a_short_text_for_a_long_sound_is_not_acted_on() -> None:
    (decision,) = decide(heard(("No", 1.0)), PLAIN, free_text="low blift born cylinder four")
    assert decision.verdict is not Verdict.TAKE


def test_a_reading_that_only_an_open_recogniser_heard_is_asked_about_not_lost() -> None:
    (decision,) = decide(heard(("1.", 1.0)), PLAIN, free_text="So cylinder 5 cut is 38.")
    assert (decision.verdict, decision.meaning) == (Verdict.ASK, Cut(5, 38))


def test_figures_run_together_are_asked_about() -> None:
    for text in ("438", "cylinder 438", "4.38", "4/38"):
        (decision,) = decide(heard((text, 1.0)), PLAIN)
        assert (decision.verdict, decision.meaning) == (Verdict.ASK, Cut(4, 38)), text


def test_a_bare_number_counts_only_where_one_is_awaited() -> None:
    waiting = Context(engine=ENGINE, question_options=(Cut(4, 13.0), Cut(4, 30.0)))
    (answer,) = decide_text("thirty", waiting)
    (stray,) = decide_text("thirty", PLAIN)
    assert (answer.verdict, answer.meaning) == (Verdict.TAKE, Number(30))
    assert (stray.verdict, stray.meaning) == (Verdict.LET_GO, None)
    assert "which cylinder" in stray.reason


SAID = st.builds(
    "{} {}".format,
    st.sampled_from(["cylinder four cut", "four", "number two out", "baseline", "engine speed"]),
    st.sampled_from(["thirteen", "thirty", "thirty eight", "38.5", "fifty", "seven hundred", "nine", "thirty five"]),
)


@settings(max_examples=150, deadline=None)
@given(st.lists(SAID, min_size=1, max_size=3), st.floats(5, 800), st.sampled_from(["one", "typed"]))
def test_context_may_question_a_number_but_never_choose_another(texts: list[str], base: float, who: str) -> None:
    candidates = [Candidate(text, -float(place), who) for place, text in enumerate(texts)]
    plain = decide(candidates, PLAIN)
    within = decide(candidates, Context(engine=ENGINE, baseline=base))
    assert [d.meaning for d in within] == [d.meaning for d in plain]


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=60), st.text(max_size=30))
def test_no_text_whatever_raises(text: str, free_text: str) -> None:
    decisions = decide([Candidate(text, -1.0, "one"), Candidate(free_text, -2.0, "two")], RUNNING, free_text=free_text)
    assert decisions


# Words and marks that are likely to trip a parser over.
WORDS = st.sampled_from(
    [
        *("cylinder", "four", "cut", "thirty", "eight", "and", "the", "out", "no", "not", "change", "point", "oh"),
        *("five", "hundred", "thousand", "double", "note", "next", "minus", "half", "engine", "38", "4.5", ",", "."),
        *("%", "=", "/", "-", "code", "spn", "fmi", "push", "rod", "still", "under", "is", "at", "scratch", "that"),
    ]
)


@settings(max_examples=300, deadline=None)
@given(st.lists(WORDS, max_size=14).map(" ".join))
def test_no_words_of_the_grammar_in_any_order_raise(text: str) -> None:
    for decision in decide_text(text, RUNNING):
        assert decision.verdict is Verdict.LET_GO or decision.meaning is not None


def test_a_reading_whose_beginning_was_lost_is_asked_about_while_a_run_goes_on() -> None:
    (decision,) = decide(heard(("2, 4, 38.3", 0.8), ("6, 4, 38.3", 0.2)), RUNNING)
    assert decision.verdict is Verdict.ASK
    assert decision.meaning == Cut(4, 38.3)
    assert all(d.verdict is Verdict.LET_GO for d in decide(heard(("2, 4, 38.3", 0.8), ("6, 4, 38.3", 0.2)), PLAIN))


def spread(listener: str, *texts: tuple[str, float]) -> list[Candidate]:
    """A listener's candidates with their scores, natural log."""
    return [Candidate(text, score, listener) for text, score in texts]


def test_a_listener_that_holds_nothing_for_likelier_lets_go_what_another_had_to_find() -> None:
    found = spread("must find", ("number one bridge flat", -40.0))
    weighed = spread("weighs", ("", -3.0), ("number one bridge flat", -40.0))
    (decision,) = decide(weighed + found, RUNNING, free_text="and now the weather for the weekend")
    assert decision.verdict is Verdict.LET_GO
    (without,) = decide(found, RUNNING)
    assert without.verdict is not Verdict.LET_GO


def test_what_one_missed_and_then_found_likely_is_taken_with_the_other() -> None:
    weighed = spread("weighs", ("blow by heavy", -2.0), ("", -14.0), ("2.", -16.0))
    (decision,) = decide(weighed + spread("must find", ("blow by heavy", -20.0)), RUNNING, free_text="low by heavy")
    assert decision.verdict is Verdict.TAKE


@pytest.mark.parametrize("other", [(), (("", 0.0),), (("power at ten", -20.0),)], ids=["none", "nothing", "another"])
def test_a_number_that_one_of_two_has_heard_is_asked_about(other: tuple[tuple[str, float], ...]) -> None:
    weighed = spread("weighs", ("four cut 41", -2.0), ("", -14.0))
    (decision,) = decide(weighed + spread("must find", *other), RUNNING, free_text="Four cut 41.")
    assert (decision.verdict is Verdict.TAKE) == (not other)


def test_figures_that_the_open_text_has_besides_are_a_question() -> None:
    both = spread("one", ("four cut 41", -2.0), ("", -14.0)) + spread("two", ("four cut forty one", -20.0))
    (whole,) = decide(both, RUNNING, free_text="Four cut 41. Four cut 41.")
    (lost,) = decide(both, RUNNING, free_text="Four cut 41, 47,")
    assert (whole.verdict, lost.verdict) == (Verdict.TAKE, Verdict.ASK)


@pytest.mark.parametrize(
    ("one", "two", "verdict"),
    [
        ("number 4 out 38.2", "number four out thirty eight point two", Verdict.TAKE),
        ("number 4 out 38.", "number four out thirty eight point", Verdict.ASK),
        ("baseline, 31", "baseline thirty one point", Verdict.ASK),
        ("photo overhead", "photo overhead", Verdict.TAKE),
        ("photo overhead cylinder.", "photo overhead cylinder", Verdict.ASK),
        ("blow-by light", "blow by light number", Verdict.ASK),
        ("4 cut 41.", "four cut forty one", Verdict.TAKE),
        ("4 cut 41...", "four cut forty one", Verdict.ASK),
    ],
)
def test_words_that_end_before_their_number_are_a_question(one: str, two: str, verdict: Verdict) -> None:
    both = spread("one", (one, -2.0), ("", -14.0)) + spread("two", (two, -20.0))
    (decision,) = decide(both, RUNNING, free_text=one)
    assert decision.verdict is verdict


def test_a_note_may_end_in_any_word() -> None:
    (decision,) = decide_text("note ask the parts desk for its number", RUNNING)
    assert decision.verdict is Verdict.TAKE


@pytest.mark.parametrize(
    ("other", "verdict"),
    [("number 4 out 38 4", Verdict.ASK), ("number 5 out 38", Verdict.TAKE), ("number 4 out 3", Verdict.TAKE)],
)
def test_figures_that_nearly_were_heard_are_a_question_where_a_reading_is_told_short(
    other: str, verdict: Verdict
) -> None:
    first = spread("one", ("number 4 out 38", -2.0), (other, -3.5), ("", -18.0))
    second = spread("two", ("number four out thirty eight", -20.0))
    (decision,) = decide(first + second, Context(engine=Engine(6), baseline=31.5), free_text="Number 4 out 38.")
    assert decision.verdict is verdict
    (whole,) = decide(first + second, Context(engine=Engine(6), baseline=31), free_text="Number 4 out 38.")
    assert whole.verdict is Verdict.TAKE


@pytest.mark.parametrize(("other", "verdict"), [("engine speed 600 50", Verdict.ASK), ("engine speed 6", Verdict.TAKE)])
def test_a_round_number_that_nearly_had_further_figures_is_a_question(other: str, verdict: Verdict) -> None:
    first = spread("one", ("engine speed 600.", -7.0), (other, -8.5), ("", -19.0))
    second = spread("two", ("engine speed six hundred", -46.0))
    (decision,) = decide(first + second, PLAIN, free_text="engine speaks 600.")
    assert (decision.verdict, getattr(decision.meaning, "value", None)) == (verdict, 600)


def test_what_the_one_that_weighs_holds_less_likely_than_another_is_a_question() -> None:
    """However well it fits the run: thirteen would be below the baseline."""
    second = spread("must find", ("number one out thirty two", -20.0))
    for thirteen, verdict in ((-4.0, Verdict.ASK), (-8.0, Verdict.TAKE)):
        first = spread("weighs", ("number 1 out 13.", thirteen), ("number 1 out 32.", -5.0), ("", -20.0))
        (decision,) = decide(first + second, replace(PLAIN, baseline=31), free_text="number 1 out 32.")
        assert (decision.verdict, decision.meaning) == (verdict, Cut(1, 32))


def test_the_words_are_those_of_the_listener_that_is_surest_of_what_they_mean() -> None:
    first = spread("one", ("number 1 out 13.", -4.0), ("", -20.0))
    second = spread("two", ("number one out thirty", -20.0))
    for decision in decide(first + second, PLAIN, free_text="number 1 out 13."):
        value = getattr(decision.meaning, "value", None)
        assert decision.heard == {13.0: "number 1 out 13.", 30.0: "number one out thirty"}[value]
        assert decision.verdict is Verdict.ASK


def test_a_text_too_short_for_the_time_it_took_is_a_question() -> None:
    both = spread("one", ("blow by light", -2.0), ("", -20.0)) + spread("two", ("blow by light", -20.0))
    for seconds, verdict in ((0.0, Verdict.TAKE), (1.1, Verdict.TAKE), (1.8, Verdict.ASK)):
        (decision,) = decide(both, PLAIN, free_text="Blow by light.", seconds=seconds)
        assert decision.verdict is verdict


@pytest.mark.parametrize(("number", "meaning"), [("691.3", Cut(6, 91.3)), ("41", Number(41)), ("690.5", Number(690.5))])
def test_a_number_that_a_waiting_question_does_not_name_may_be_the_next_reading(number: str, meaning: object) -> None:
    half = Context(engine=ENGINE, baseline=61.2, held_out=(1, 2, 3), question_options=(Cut(5, 690.5),))
    (decision,) = decide(heard((number, 1.0)), half)
    assert decision.meaning == meaning
    assert decision.verdict is (Verdict.TAKE if isinstance(meaning, Number) else Verdict.ASK)


@pytest.mark.parametrize(
    ("text", "verdict"),
    [
        ("half engine four five six out", Verdict.TAKE),
        ("half engine five six out", Verdict.ASK),
        ("port temperature cylinder three 120", Verdict.TAKE),
        ("port temperature cylinder three twelve", Verdict.ASK),
        ("port temperature cylinder three 120 degrees fahrenheit", Verdict.TAKE),
        ("baseline 32.5", Verdict.TAKE),
        ("fuel at 82", Verdict.ASK),
    ],
)
def test_what_can_hardly_be_on_this_job_is_asked_about(text: str, verdict: Verdict) -> None:
    """Common practice, no source: half of six is three, a port under load is hot, a run keeps its baseline."""
    (decision,) = decide_text(text, RUNNING)
    assert decision.verdict is verdict
    assert decision.meaning is not None


def test_a_question_names_only_what_can_be_chosen() -> None:
    """While a question waits the words may be a number alone, which no answer could pick."""
    waiting = replace(RUNNING, question_options=(Cut(5, 38.0), Cut(5, 30.0)))
    (decision,) = decide(heard(("six thirty seven point eight", 1.0)), waiting)
    assert (decision.verdict, decision.prompt) == (Verdict.ASK, "six, thirty-seven point eight?")
    (correction,) = decide(heard(("correct cylinder four, thirteen", 1.0)), RUNNING)
    assert [getattr(m, "value", None) for m in (correction.meaning, *correction.alternatives)][:2] == [13, 30]


def test_a_number_alone_in_a_run_is_asked_about_as_the_reading_it_may_be() -> None:
    heard_so = spread("one", ("239.1", -3.0), ("", -14.0)) + spread("two", ("fifty thirty nine point one", -20.0))
    (decision,) = decide(heard_so, Context(engine=Engine(6), baseline=31.5), free_text="to 39.1")
    assert (decision.verdict, decision.meaning) == (Verdict.ASK, Cut(2, 39.1))


@pytest.mark.parametrize(
    ("text", "verdict"), [("read back cylinder four", Verdict.TAKE), ("scratch that", Verdict.ASK)]
)
def test_a_command_that_changes_nothing_needs_less_certainty(text: str, verdict: Verdict) -> None:
    heard_so = spread("one", (text, -3.0), ("", -15.0)) + spread("two", ("bent lobe", -9.0), ("load five", -9.0))
    (decision,) = decide(heard_so, RUNNING, free_text=text)
    assert decision.verdict is verdict


def test_cylinders_written_together_are_several() -> None:
    (decision,) = decide_text("half engine 456 out", PLAIN)
    assert getattr(decision.meaning, "held_out", None) == (4, 5, 6)
    assert getattr(decide_text("half engine 446 out", PLAIN)[0].meaning, "held_out", None) is None


def test_open_words_need_no_second_listener() -> None:
    text = "Note the customer says it began after a fuel filter"
    both = spread("open", (text, -1.0), ("", -12.0)) + spread("must find", ("correct two four seven", -20.0))
    (decision,) = decide(both, RUNNING, free_text=text)
    assert decision.verdict is Verdict.TAKE
    assert getattr(decision.meaning, "text", "") == "the customer says it began after a fuel filter"


def test_a_question_about_free_words_says_them() -> None:
    assert question(Note("push rod three looks straight"), ()) == "note: push rod three looks straight?"
    assert question(Cut(4, 38.0), ()) == "four, thirty-eight?"


def test_an_unclear_command_is_asked_to_be_said_again() -> None:
    heard_so = spread("one", ("scratch that", -3.0), ("", -15.0)) + spread("two", ("bent lobe", -9.0))
    (decision,) = decide(heard_so, RUNNING, free_text="scratch that")
    assert (decision.verdict, decision.meaning) == (Verdict.ASK, None)
    assert decision.prompt == "scratch that? Say it again."


@pytest.mark.parametrize("word", ["yes", "no", "second"])
def test_an_unclear_answer_is_asked_for_again_only_while_a_question_waits(word: str) -> None:
    heard_so = spread("one", (word, -3.0), ("", -15.0)) + spread("two", ("bent lobe", -9.0))
    (idle,) = decide(heard_so, RUNNING, free_text=word)
    assert (idle.verdict, idle.prompt) == (Verdict.LET_GO, "")
    (waiting,) = decide(heard_so, replace(RUNNING, question_options=(Cut(4, 38.0), Cut(4, 39.0))), free_text=word)
    assert (waiting.verdict, waiting.prompt) == (Verdict.ASK, f"{word}? Say it again.")


@pytest.mark.parametrize(
    ("text", "begun"),
    [
        ("Oil temperature identity.", "oil temperature? Say it again."),
        ("cylinder 1 cut 39 boy 5", "cylinder 1 cut? Say it again."),
        ("who left the door open", ""),
        ("there is no air in the tire", ""),
    ],
)
def test_a_phrase_that_got_lost_is_asked_to_be_said_again(text: str, begun: str) -> None:
    heard_so = spread("one", ("", -15.0), ("10", -28.0)) + spread("two", ("oil temp reads two twenty", -41.0))
    (decision,) = decide(heard_so, RUNNING, free_text=text)
    assert (decision.verdict is Verdict.ASK, decision.prompt) == (bool(begun), begun)


def test_a_number_that_a_waiting_question_names_is_held_against_the_others_it_names() -> None:
    def answered(*options: float) -> Verdict:
        waiting = Context(engine=ENGINE, question_options=tuple(Cut(4, value) for value in options))
        return decide(heard(("nineteen", 0.8), ("ninety", 0.2)), waiting)[0].verdict

    assert answered(19.0, 39.0) is Verdict.TAKE
    assert answered(19.0, 90.0) is not Verdict.TAKE
