"""Answers are spoken or sounded one after the other, never block listening, and are not heard by the microphone."""

from __future__ import annotations

import threading
import time

import numpy as np
import pytest

from journal.errors import BadInput
from journal.hearing.types import RATE
from journal.output.speaking import _WORDS_PER_MINUTE, Answerer, _in_words, answerer, tone, unheard
from journal.wording import Verdict


def test_the_three_tones_differ_and_are_as_high_as_said() -> None:
    for verdict, pitch in ((Verdict.TAKE, 880), (Verdict.LET_GO, 330)):
        sound = tone(verdict)
        spectrum = np.abs(np.fft.rfft(sound))
        assert abs(np.argmax(spectrum) * RATE / len(sound) - pitch) < 10
    asked = tone(Verdict.ASK)
    assert len(asked) == 2 * len(tone(Verdict.TAKE))
    assert np.abs(asked).max() <= 0.3


def test_answers_are_given_in_order_without_making_the_caller_wait() -> None:
    given: list[str] = []
    go = threading.Event()

    def give(verdict: Verdict, text: str) -> None:
        go.wait(5)
        given.append(text)

    answers = Answerer(give)
    answers.answer(Verdict.TAKE, "four, thirty-eight")
    answers.answer(Verdict.ASK, "five: thirteen, or thirty?")
    assert answers.sounding
    assert given == []
    go.set()
    answers.close()
    assert given == ["four, thirty-eight", "five: thirteen, or thirty?"]


def test_the_microphone_hears_silence_while_an_answer_sounds() -> None:
    loud = np.ones(160, dtype=np.float32)
    states = iter([False, True, True, False])
    heard = list(unheard([loud] * 4, lambda: next(states)))
    assert [float(block.max()) for block in heard] == [1.0, 0.0, 0.0, 1.0]


def test_a_loudspeaker_that_fails_does_not_end_the_session() -> None:
    def give(verdict: Verdict, text: str) -> None:
        raise OSError("unplugged")

    answers = Answerer(give)
    answers.answer(Verdict.TAKE, "four, thirty-eight")
    deadline = time.monotonic() + 5
    while not answers.failed and time.monotonic() < deadline:
        time.sleep(0.01)
    assert "unplugged" in answers.failed
    answers.answer(Verdict.TAKE, "five, thirty-nine")
    answers.close()


def test_silence_answers_nothing() -> None:
    answers = answerer("silent")
    answers.answer(Verdict.TAKE, "four, thirty-eight")
    assert not answers.sounding
    answers.close()


def test_an_unknown_way_is_refused_with_the_ways_there_are() -> None:
    with pytest.raises(BadInput, match="spoken, tones, silent"):
        answerer("loud")


def test_the_system_voice_is_driven_through_its_library(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("pyttsx3", reason="pyttsx3 is not installed")
    from pyttsx3.drivers import dummy  # the library's own driver without sound

    done: list[tuple[str, object]] = []
    say, set_property = dummy.DummyDriver.say, dummy.DummyDriver.setProperty
    monkeypatch.setattr(dummy.DummyDriver, "say", lambda s, text: (done.append(("say", text)), say(s, text))[1])
    monkeypatch.setattr(
        dummy.DummyDriver, "setProperty", lambda s, name, to: (done.append((name, to)), set_property(s, name, to))[1]
    )
    give = _in_words("dummy")
    give(Verdict.LET_GO, "")
    assert done == [], "nothing to say makes no voice"
    give(Verdict.TAKE, "four, thirty-eight")
    assert done == [("rate", _WORDS_PER_MINUTE), ("say", "four, thirty-eight")]
