"""What may have been said is found behind what listeners write, and counts for as much as they share of it."""

from __future__ import annotations

import pytest

from journal.facts import Cut, Engine
from journal.hearing.types import Candidate
from journal.wording import Context, Verdict, decide
from journal.wording.belief import gather
from journal.wording.evidence import told_short
from journal.wording.hypotheses import FREE, Hypothesis, hypotheses
from journal.wording.types import Command
from journal.wording.understood import Piece

RUNNING = Context(engine=Engine(6), baseline=61.5, next_cylinder=6)


def whisper(texts: dict[str, float], nothing: float = -15.0) -> list[Candidate]:
    """What Whisper heard with its scores, natural log."""
    return [Candidate(text, score, "whisper") for text, score in (texts | {"": nothing}).items()]


def meant(found: list[Hypothesis], *meanings: object) -> Hypothesis:
    """The one of that meaning."""
    return next(each for each in found if each.meanings == meanings)


def test_figures_run_together_speak_for_what_a_listener_heard_apart() -> None:
    heard = whisper({"6 91.3": -2.0, "691.3": -1.0})
    found = hypotheses(heard, "691.3", RUNNING)
    six = meant(found, Cut(6, 91.3))
    assert six.scores["whisper"] == pytest.approx(-1.0, abs=0.5)
    assert six.mended == {FREE: "run together"}
    apart, unsaid = (decide(heard, RUNNING, free_text=text, seconds=1.5)[0] for text in ("691.3", "Kulin 78"))
    assert apart.meaning == unsaid.meaning == Cut(6, 91.3)
    assert apart.certainty > unsaid.certainty


@pytest.mark.parametrize("times", [2, 3, 5])
def test_what_a_listener_says_over_and_over_was_said_once(times: int) -> None:
    found = hypotheses(whisper({" ".join(["4 cut 38.5"] * times): -1.0}), "", RUNNING)
    assert meant(found, Cut(4, 38.5))


def test_what_makes_no_sense_here_is_no_rival() -> None:
    """Nothing waits for a number, so that "691.3" leaves no doubt that cylinder six was meant."""
    told = gather(whisper({"6 91.3": -1.0, "691.3": -0.9, "cylinder 6 91.4": -6.0}), RUNNING, "", 1.5)
    six = meant(list(told.hypotheses), Cut(6, 91.3))
    assert told.of(six)["whisper: ahead"] > 4.0


@pytest.mark.parametrize(
    ("heard", "short"), [("4 cut 63", True), ("4 cut 63.0", False), ("4 cut 63 point zero", False)]
)
def test_a_tenth_that_is_told_as_none_is_not_lost(heard: str, short: bool) -> None:
    assert told_short(Piece(Cut(4, 63.0), heard), RUNNING) is short


@pytest.mark.parametrize("word", ["yes", "no"])
def test_an_answer_that_is_heard_while_nothing_was_asked_is_not_acted_on(word: str) -> None:
    (decision,) = decide(whisper({word: -1.0}), RUNNING, free_text=word, seconds=0.5)
    assert decision.verdict is not Verdict.TAKE
    assert not isinstance(decision.meaning, Command)


def test_a_note_that_the_open_text_does_not_have_is_less_likely() -> None:
    heard = whisper({"Note torque wrench is gone": -9.0}, nothing=-16.0)
    opened, unopened = (
        decide(heard, RUNNING, free_text=f"{first} torque wrench is gone", seconds=2.0)[0] for first in ("Note", "No")
    )
    assert opened.certainty > unopened.certainty


def test_a_listeners_less_likely_words_take_back_no_doubt_about_its_likelier_ones() -> None:
    """Words in any order are asked about, though the same listener could have written a phrase that means as much."""
    loose, plain = "killed four and it showed sixty eight", "four cut sixty eight"
    alone = meant(hypotheses(whisper({loose: -1.0, plain: -14.0}), "", RUNNING), Cut(4, 68.0))
    assert (alone.heard, alone.pieces[0].asked) == (plain, True)
    (decision,) = decide(whisper({loose: -1.0, plain: -14.0}), RUNNING, free_text=loose, seconds=2.5)
    assert (decision.verdict, decision.meaning) == (Verdict.ASK, Cut(4, 68.0))
    agreed = [*whisper({loose: -1.0}), Candidate(plain, -40.0, "pocketsphinx")]
    assert not meant(hypotheses(agreed, "", RUNNING), Cut(4, 68.0)).pieces[0].asked


def test_a_text_that_means_nothing_speaks_for_nothing_where_it_is_the_likeliest() -> None:
    for sense, score in ((0.0, -5.0), (1.0, -1.0)):
        told = gather(whisper({"the radio is on": score, "four cut sixty three": -3.0}), RUNNING, "", 1.5)
        nothing = next(each for each in told.hypotheses if not each.pieces)
        assert told.of(nothing).get("whisper: senseless", 0.0) == sense


def test_words_said_over_and_over_are_as_many_as_said_once_and_figures_among_them_are_told() -> None:
    for free_text, words, figures in (("Baseland 25 Baseland 25", 2.0, 1.0), ("the radio is on", 4.0, 0.0)):
        told = gather(whisper({"4 cut 63": -3.0}), RUNNING, free_text, 1.5)
        nothing = next(each for each in told.hypotheses if not each.pieces)
        assert told.of(nothing)["words"] == words
        assert told.of(nothing).get("figures", 0.0) == figures
