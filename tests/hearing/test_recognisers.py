"""Each recogniser hears clear speech, survives useless sound, and says plainly when it cannot work."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from journal.errors import HearingError
from journal.hearing.choose import recognisers
from journal.hearing.types import RATE, Expect, Recogniser, Sound, Speakable
from journal.wording import Context, Verdict, decide

BOTH = ["whisper", "pocketsphinx"]


@pytest.fixture(scope="session")
def loaded(speakable: Speakable, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Recogniser]:
    pytest.importorskip("faster_whisper", reason="the speech extra is not installed")
    nowhere = tmp_path_factory.mktemp("models")
    return {r.name: r for r in recognisers(BOTH, speakable, None, nowhere)}


def plain(text: str) -> str:
    words = {"thirty eight": "38", "four": "4", "forty two": "42", "six": "6"}
    text = text.lower().strip(" .").replace(",", "").replace("-", " ")
    for word, figure in words.items():
        text = text.replace(word, figure)
    return text


@pytest.mark.parametrize("name", BOTH)
@pytest.mark.parametrize("voice", ["slt", "rms"])
def test_a_clear_reading_is_heard(
    loaded: dict[str, Recogniser], say: Callable[..., Sound], name: str, voice: str
) -> None:
    hearing = loaded[name].hear(say("cylinder four cut, thirty eight", voice))
    assert "cylinder 4 cut 38" in [plain(c.text) for c in hearing.candidates]
    scores = [c.score for c in hearing.candidates]
    assert scores == sorted(scores, reverse=True)
    assert all(score <= 0 for score in scores)
    assert {c.listener for c in hearing.candidates} == {name}


@pytest.mark.parametrize("name", BOTH)
@pytest.mark.parametrize("expect", list(Expect))
@pytest.mark.parametrize(
    "sound",
    [
        np.zeros(0, dtype=np.float32),
        np.zeros(RATE, dtype=np.float32),
        np.ones(RATE, dtype=np.float32) * 3,
        np.random.default_rng(5).standard_normal(40 * RATE).astype(np.float32),
    ],
    ids=["nothing", "digital silence", "clipped", "forty seconds of noise"],
)
def test_useless_sound_is_survived(loaded: dict[str, Recogniser], name: str, expect: Expect, sound: Sound) -> None:
    hearing = loaded[name].hear(sound, expect)
    assert all(np.isfinite(c.score) for c in hearing.candidates)


def test_silence_does_not_spoil_what_follows(loaded: dict[str, Recogniser], say: Callable[..., Sound]) -> None:
    for recogniser in loaded.values():
        for _ in range(5):
            recogniser.hear(np.zeros(RATE, dtype=np.float32))
        best = recogniser.hear(say("cylinder four cut, thirty eight")).candidates[0]
        assert plain(best.text) == "cylinder 4 cut 38"


def test_speech_that_is_no_phrase_is_nothing_to_the_light_one_too(
    loaded: dict[str, Recogniser], say: Callable[..., Sound]
) -> None:
    """Held to the phrases it must find one in anything; how well it fits the sound tells."""
    chats = (
        "hand me the half inch ratchet please",
        "and now the weather for the weekend",
        "did you watch the game last night",
        "the customer called about his truck again",
        "my daughter has a recital on friday",
        "somebody call the parts store back",
    )
    best = [loaded["pocketsphinx"].hear(say(chat)).candidates for chat in chats]
    assert sum(candidates[0].text == "" for candidates in best) >= len(chats) / 2
    for candidates in best:
        assert all(decision.verdict is not Verdict.TAKE for decision in decide(candidates, Context()))
    phrase, *others = loaded["pocketsphinx"].hear(say("cylinder four cut, thirty eight")).candidates
    assert plain(phrase.text) == "cylinder 4 cut 38"
    [nothing] = [each for each in others if not each.text]
    assert nothing.score < phrase.score - 3


def test_without_a_name_two_that_fail_differently_hear(speakable: Speakable, tmp_path: Path) -> None:
    pytest.importorskip("faster_whisper", reason="the speech extra is not installed")
    assert [each.name for each in recognisers([], speakable, None, tmp_path)] == BOTH


def test_fillers_before_a_phrase_are_none_of_its_text(speakable: Speakable, say: Callable[..., Sound]) -> None:
    [one] = recognisers(["pocketsphinx"], replace(speakable, fillers=frozenset({"cylinder"})), None, Path())
    assert "cylinder" not in one.hear(say("cylinder four cut, thirty eight")).candidates[0].text


def test_an_unknown_recogniser_is_named_with_the_choices(speakable: Speakable, tmp_path: Path) -> None:
    with pytest.raises(HearingError, match="choose of auto, whisper"):
        recognisers(["parrot"], speakable, None, tmp_path)


def test_vosk_without_a_model_says_how_to_get_one(
    speakable: Speakable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("VOSK_MODEL_PATH", raising=False)
    with pytest.raises(HearingError, match="journal models fetch"):
        recognisers(["vosk"], speakable, None, tmp_path)


def test_a_damaged_model_is_one_clear_line(speakable: Speakable, tmp_path: Path) -> None:
    pytest.importorskip("faster_whisper", reason="the speech extra is not installed")
    (tmp_path / "model.bin").write_bytes(b"rubbish")
    with pytest.raises(HearingError, match="cannot be loaded"):
        recognisers(["whisper"], speakable, tmp_path, tmp_path)
