"""The plain phrases become the entries they name, and what is not for the tool becomes nothing."""

from __future__ import annotations

import tomllib
from importlib import resources

import pytest

from journal.facts import Baseline, Check, Cut, Engine, Note, RunKind, RunStarted, Subject
from journal.hearing.types import Candidate, Expect
from journal.wording import Context, Verdict, decide, decide_text, describe, read_back, speakable, spell

SIX = Context(engine=Engine(6, (1, 5, 3, 6, 2, 4)), baseline=31.5, next_cylinder=4)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("cylinder four cut, thirty eight", Cut(4, 38)),
        ("six thirty eight", Cut(6, 38)),
        ("Cylinder 4 cut, 38.", Cut(4, 38)),
        ("4-38", Cut(4, 38)),
        ("cylinder 4 cut 30 8", Cut(4, 38)),
        ("four no change", Cut(4, None, no_change=True)),
        ("next, thirty nine", Cut(4, 39)),
        ("baseline 31.5", Baseline(31.5)),
        ("blow by light on cylinder 3.", Check(Subject.BLOW_BY, "light", 3)),
        ("half engine, four five six out", RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6))),
        ("note Cylinder four, smells of Fuel", Note("Cylinder four, smells of Fuel")),
    ],
)
def test_a_plain_phrase_is_taken(text: str, expected: object) -> None:
    (decision,) = decide_text(text, SIX)
    assert (decision.verdict, decision.meaning) == (Verdict.TAKE, expected)


@pytest.mark.parametrize(
    "text", ["I'll be back at four thirty", "he cut me off", "number four team won thirty to two", "", "?!", "sixteen"]
)
def test_what_is_not_for_the_tool_gives_nothing(text: str) -> None:
    (decision,) = decide_text(text, SIX)
    assert (decision.verdict, decision.meaning) == (Verdict.LET_GO, None)


def test_the_engine_decides_how_numbers_split() -> None:
    (on_a_sixteen,) = decide_text("sixteen thirty", Context(engine=Engine(16)))
    assert on_a_sixteen.meaning == Cut(16, 30)
    (on_a_six,) = decide_text("sixteen thirty", SIX)
    assert on_a_six.verdict is Verdict.LET_GO
    assert "sixteen" in on_a_six.reason


def test_an_unbelievable_value_that_sounds_like_a_believable_one_is_asked_about() -> None:
    heard = [("thirteen", -3.0), ("thirty", -3.5)]
    said = [Candidate(f"cylinder four cut {number}", score, "whisper") for number, score in heard]
    (decision,) = decide([*said, Candidate("", -15.0, "whisper")], SIX, free_text="cylinder 4 cut 13", seconds=2.0)
    assert decision.verdict is Verdict.ASK
    assert decision.meaning == Cut(4, 13)
    assert decision.alternatives == (Cut(4, 30),)
    assert decision.prompt == "four: thirteen, or thirty?"


def test_what_is_read_back_and_shown_is_short() -> None:
    assert read_back(Cut(4, 38)) == "four, thirty-eight"
    assert describe(Cut(4, 38)) == "cylinder 4 cut: 38"
    assert spell(1950) == "one nine five zero"


def test_only_the_engines_cylinders_are_listened_for() -> None:
    graph = speakable(6).graph[Expect.ANYTHING]
    after_cylinder = dict(graph.arcs[dict(graph.arcs[graph.start])["cylinder"]])
    assert "six" in after_cylinder
    assert "seven" not in after_cylinder


def test_every_word_that_is_listened_for_can_be_pronounced() -> None:
    pocketsphinx = pytest.importorskip("pocketsphinx", reason="PocketSphinx is not installed")
    known = pocketsphinx.Decoder(lm=None, loglevel="FATAL").lookup_word
    own = tomllib.loads(resources.files("journal.hearing").joinpath("pronunciations.toml").read_text("utf-8"))
    assert [word for word in speakable(16).words if known(word) is None and word not in own] == []
    assert known("xqzzk") is None
