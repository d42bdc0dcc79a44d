"""Each recogniser hears clear speech, survives useless sound, and says plainly when it cannot work."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from journal.errors import HearingError
from journal.hearing.choose import recognisers
from journal.hearing.pocketsphinx import PocketSphinx
from journal.hearing.types import RATE, Expect, Recogniser, Sound, Speakable
from journal.wording import Context, Verdict, decide
from journal.wording import speakable as all_that_can_be_said

BOTH = ["ear", "pocketsphinx"]


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


def in_shop(sound: Sound, noise: float) -> Sound:
    """A phrase with what an utterance has about it, beside a hiss of this root mean square."""
    gap = np.zeros(RATE * 3 // 10, dtype=np.float32)
    sound = np.concatenate((gap, sound, gap))
    hiss = np.random.default_rng(3).standard_normal(len(sound)).astype(np.float32)
    return sound + np.float32(noise) * hiss


def test_speech_that_is_no_phrase_is_nothing_to_the_light_one_too(say: Callable[..., Sound]) -> None:
    """Held to the phrases it finds one in nearly anything; how well it fits the sound tells."""
    light = PocketSphinx(all_that_can_be_said(6))
    chats = (
        "hand me the half inch ratchet please",
        "and now the weather for the weekend",
        "did you watch the game last night",
        "the customer called about his truck again",
        "my daughter has a recital on friday",
        "somebody call the parts store back",
    )
    best = [light.hear(in_shop(say(chat), 0)).candidates for chat in chats]
    assert sum(not candidates or candidates[0].text == "" for candidates in best) >= len(chats) / 2
    for candidates in best:
        assert all(decision.verdict is not Verdict.TAKE for decision in decide(candidates, Context()))
    phrase, *others = light.hear(in_shop(say("cylinder four cut, thirty eight"), 0)).candidates
    assert plain(phrase.text) == "cylinder 4 cut 38"
    [nothing] = [each for each in others if not each.text]
    assert nothing.score < phrase.score - 3


def test_the_light_one_takes_in_an_utterance_while_it_is_said(speakable: Speakable, say: Callable[..., Sound]) -> None:
    """What it makes of it grows, and in the end is what it makes of it at once."""
    one, other = (PocketSphinx(speakable) for _ in range(2))
    for text in ("cylinder four cut, thirty eight", "number six out, forty two"):
        sound = in_shop(say(text), 0.003)
        so_far = [one.follow(sound[:end]) for end in range(RATE // 5, len(sound), RATE // 5)]
        assert so_far[0] == ""
        assert text.split()[0] in [text.split()[0] for text in so_far if text]
        assert len(so_far[-1].split()) > len(next(text for text in so_far if text).split())
        assert one.hear(sound) == other.hear(sound)


def test_what_the_light_one_followed_leaves_nothing_in_another_sound(
    speakable: Speakable, say: Callable[..., Sound]
) -> None:
    one = PocketSphinx(speakable)
    sound = in_shop(say("cylinder four cut, thirty eight"), 0.003)
    one.follow(sound)
    one.follow(in_shop(say("number six out, forty two"), 0.003))
    assert plain(one.hear(sound).candidates[0].text) == "cylinder 4 cut 38"
    one.follow(sound)
    assert not any("cut" in each.text for each in one.hear(sound, Expect.NUMBER).candidates), "no reading of a cylinder"


def test_no_frame_is_lost_at_the_end_of_an_utterance(speakable: Speakable, say: Callable[..., Sound]) -> None:
    """PocketSphinx drops the last frames of some lengths where it keeps few of them."""
    one = PocketSphinx(speakable)
    sound = in_shop(say("cylinder four cut, thirty eight"), 0.003)
    for end in range(len(sound) - RATE // 10, len(sound), 160):
        one.hear(sound[:end])
        assert one._decoder.n_frames() == -(-end // 160)


def test_without_a_name_two_that_fail_differently_hear(speakable: Speakable, tmp_path: Path) -> None:
    pytest.importorskip("faster_whisper", reason="the speech extra is not installed")
    assert [each.name for each in recognisers([], speakable, None, tmp_path)] == BOTH


def test_fillers_before_a_phrase_are_none_of_its_text(speakable: Speakable, say: Callable[..., Sound]) -> None:
    [one] = recognisers(["pocketsphinx"], replace(speakable, fillers=frozenset({"cylinder"})), None, Path())
    assert "cylinder" not in one.hear(say("cylinder four cut, thirty eight")).candidates[0].text


def test_an_unknown_recogniser_is_named_with_the_choices(speakable: Speakable, tmp_path: Path) -> None:
    with pytest.raises(HearingError, match="choose of auto, ear, whisper"):
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
