"""The decoder agrees with ctranslate2's, and the search writes only what the grammar can say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from journal.hearing.figures import sayings
from journal.hearing.types import Expect, Sound, Speakable, WordGraph

pytest.importorskip("faster_whisper", reason="the speech extra is not installed")

from journal.hearing.weights import shipped_model
from journal.hearing.whisper import Whisper, period
from journal.hearing.writing import sentences


@pytest.fixture(scope="module")
def whisper(speakable: Speakable) -> Whisper:
    return Whisper(speakable)


def test_next_token_scores_are_those_of_ctranslate2(whisper: Whisper, say: Callable[..., Sound]) -> None:
    """ctranslate2 is the outside reference: its free greedy decode of the same encoded sound, with its logits.

    Ours are made with weights of 8 bits; they may be as far from its float ones as its own of 8 bits are.
    """
    encoded = whisper._encoded(say("cylinder four cut, thirty eight"))
    tokens, exact = _reference(whisper, encoded, "float32")
    theirs_tokens, theirs = _reference(whisper, encoded, "int8")
    assert theirs_tokens == tokens
    heard = whisper._decoder.listen(encoded)
    texts = whisper._decoder.begin(heard, whisper._prompt)
    errors, their_errors = [], []
    for token, reference, rounded in zip(tokens, exact, theirs, strict=True):
        likely = reference > -8
        assert int(texts.scores[0].argmax()) == token
        errors.append(np.abs(texts.scores[0][likely] - reference[likely]))
        their_errors.append(np.abs(rounded[likely] - reference[likely]))
        texts = whisper._decoder.step(heard, texts, [0], [token])
    assert np.concatenate(errors).mean() < np.concatenate(their_errors).mean()
    assert np.concatenate(errors).max() < 0.4


def _reference(whisper: Whisper, encoded: Any, kind: str) -> tuple[list[int], list[Any]]:
    """The tokens of ctranslate2's greedy decode, and the log-probabilities at each."""
    import ctranslate2

    model = ctranslate2.models.Whisper(str(shipped_model()), compute_type=kind)
    result = model.generate(
        ctranslate2.StorageView.from_array(encoded[None]),
        [whisper._prompt],
        beam_size=1,
        max_length=20,
        suppress_tokens=[],
        suppress_blank=False,
        return_logits_vocab=True,
    )[0]
    scores = []
    for logits in result.logits[0]:
        row = np.array(logits, dtype=np.float64).ravel()
        scores.append(row - row.max() - np.log(np.exp(row - row.max()).sum()))
    return list(result.sequences_ids[0]), scores[: len(result.sequences_ids[0])]


@pytest.mark.parametrize(
    "text",
    [
        " cylinder four cut thirty eight",
        " Cylinder 4 cut, 38.",
        " cylinder four cut thirty-eight",
        " Number 4 out, 30 8",
        " No. 4 out 38.5",
    ],
)
def test_a_sentence_may_be_written_in_all_usual_ways(whisper: Whisper, text: str) -> None:
    assert may_write(whisper, text)


@pytest.mark.parametrize(
    "text", [" cylinder nine cut 38", " cylinder 4", " cylinder 4 cut 38 dogs", " 4 cut 138", " 4-38"]
)
def test_what_is_no_sentence_cannot_be_written(whisper: Whisper, text: str) -> None:
    assert not may_write(whisper, text)


def may_write(whisper: Whisper, text: str) -> bool:
    writing = whisper._writing[Expect.ANYTHING]
    state = 0
    for token in whisper._encode(text):
        options = writing.options(state)
        if token not in options.tokens:
            return False
        state = writing.after(options, token)
        if state < 0:
            return False
    return writing.options(state).may_end


@pytest.mark.parametrize(
    "chat", ["did you watch the game last night", "hand me the half inch ratchet please", "who left the door open"]
)
def test_chat_is_let_go(whisper: Whisper, say: Callable[..., Sound], chat: str) -> None:
    sound = say(chat)
    hearing = whisper.hear(sound)
    assert hearing.candidates[0].text == "", "nothing said for the tool is the likeliest"
    assert hearing.free_text
    pressed = whisper.weigh(sound, ["cylinder four cut thirty eight", "blow by heavy"])
    assert pressed.candidates[0].text == "", "whatever another listener makes of it"


def test_a_text_that_another_heard_gets_its_likelihood(whisper: Whisper, say: Callable[..., Sound]) -> None:
    sound = say("blow by heavy")
    whisper.hear(sound)
    weighed = whisper.weigh(sound, ["blow by heavy", "cylinder four cut thirty eight"])
    scores = {c.text.lower().strip(".").replace("-", " "): c.score for c in weighed.candidates}
    assert max(scores, key=scores.__getitem__) == "blow by heavy"
    assert scores["blow by heavy"] > scores[""]
    assert whisper.weigh(say("blow by light"), ["blow by light"]).candidates == (), "only the sound heard last"


def test_figures_are_said_in_every_usual_way() -> None:
    assert ("seven", "oh", "five") in sayings("705")
    assert ("one", "ninety") in sayings("190")
    assert ("thirty", "three", "hundred") in sayings("3300")
    assert ("three", "thousand", "three", "hundred") in sayings("3300")
    assert ("double", "two") in sayings("22")
    assert ("four", "thirty", "eight") in sayings("438")
    assert all(len(words) >= 2 for words in sayings("705"))


def test_words_in_no_phrase_s_order_are_heard_too(speakable: Speakable, say: Callable[..., Sound]) -> None:
    said = "thirty eight with number four cut"
    words = WordGraph((tuple((word, 0) for word in (*speakable.words, "with")),), frozenset({0}))
    sound = say(said)
    held = Whisper(speakable).hear(sound)
    free = Whisper(replace(speakable, any_order=words)).hear(sound)
    assert "with number" not in " ".join(c.text.lower() for c in held.candidates)
    assert "with number" in free.candidates[0].text.lower()
    assert free.candidates[0].score > next(c.score for c in free.candidates if not c.text), "likelier than nothing"


def test_a_phrase_is_heard_as_without_words_in_any_order(speakable: Speakable, say: Callable[..., Sound]) -> None:
    words = WordGraph((tuple((word, 0) for word in speakable.words),), frozenset({0}))
    sound = say("cylinder four cut, thirty eight")
    assert Whisper(replace(speakable, any_order=words)).hear(sound) == Whisper(speakable).hear(sound)


def test_a_contraction_is_written_as_one() -> None:
    """ "number 4's", "four's": two words of the graph."""
    whisper = Whisper(Speakable((), {Expect.ANYTHING: sentences(["number four is cut"])}))
    for text in (" number 4's cut", " Number four's cut", " number four is cut"):
        assert may_write(whisper, text)
    assert not may_write(whisper, " number's four cut")


@pytest.mark.parametrize(
    ("said", "once"), [("six comes up six comes up six comes", 3), ("no no no", 1), ("one two three", 3), ("", 0)]
)
def test_what_is_said_again_is_known(said: str, once: int) -> None:
    assert period(said.split()) == once


def test_words_in_any_order_are_not_said_again_and_again(speakable: Speakable, say: Callable[..., Sound]) -> None:
    """A text that repeats itself is likelier for each token; the search must not be filled with such."""
    words = WordGraph((tuple((word, 0) for word in (*speakable.words, "with")),), frozenset({0}))
    found = Whisper(replace(speakable, any_order=words)).hear(say("thirty eight with number four cut"))
    texts = [c.text.lower().strip(".").split() for c in found.candidates if c.text]
    assert all(period(text) == len(text) for text in texts), texts
