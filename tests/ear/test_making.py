"""What the ear is trained on: nothing that is reported on, numbers written as they are said, rooms that are rooms."""

from __future__ import annotations

from random import Random

import numpy as np
import pytest
from num2words import num2words

from journal.hearing.types import RATE

pytest.importorskip("soundfile", reason="the speech extra is not installed")

from tests.bench._phrases import CHAT, DICTATED
from tests.bench._voices import REPORTED
from tests.ear.data import spliced, trimmed
from tests.ear.rooms import LENGTH, rooms
from tests.ear.texts import lines, number, written
from tests.ear.voices import HELD_BACK, STYLES, some_voice


@pytest.mark.parametrize(
    ("said", "text"),
    [
        ("cylinder three cut, thirty eight point two", "Cylinder 3 cut, 38.2."),
        ("seven oh five", "705."),
        ("twelve hundred", "1200."),
        ("three thousand three hundred", "3300."),
        ("six hundred fifty", "650."),
        ("three eight", "3 8."),
        ("forty one and a half", "41 and a half."),
        ("that one is dead", "That one is dead."),
        ("who left the door open", "Who left the door open."),
    ],
)
def test_numbers_are_written_in_figures(said: str, text: str) -> None:
    assert written(said) == text


def test_numbers_below_ten_thousand_are_those_of_num2words() -> None:
    for value in (*range(130), *range(130, 10_000, 97)):
        said = num2words(value).replace("-", " ").replace(",", "").replace(" and ", " ")
        assert written(said) == f"{value}.", said


def test_every_number_that_is_said_has_figures() -> None:
    dice = Random(5)
    for _ in range(500):
        said = number(dice)
        figures = written(said).removesuffix(".").replace(" and a half", "").replace(" ", "")
        assert figures.replace(".", "", 1).isdigit(), said


def test_nothing_that_is_reported_on_is_said() -> None:
    made = lines(4_000, 1)
    said = {line.said.lower() for line in made}
    assert not said & {text.lower() for text in CHAT}
    assert not any(text in said for text in DICTATED if text.startswith(("note", "complaint")))
    assert 0.15 < sum(line.open for line in made) / len(made) < 0.45
    assert lines(50, 2) == lines(50, 2) != lines(50, 3)


def test_no_voice_that_is_reported_on_speaks() -> None:
    """Neither a style of Kokoro's for reporting, nor a voice or variant that the report has."""
    assert not set(STYLES) & {"jm_kumo", "jf_tebukuro"}
    dice = Random(1)
    names = {
        f"{voice.kind} {voice.name}"
        for kind in ("flite", "espeak")
        for voice in (some_voice(kind, dice) for _ in range(900))
    }
    reported = {name.split()[-1] for name in REPORTED if name.startswith(("flite", "espeak"))}
    assert reported == {"slt", "awb", "f2", "m3"}
    assert not [name for name in names if any(name.endswith(part) for part in reported) or "x-rp" in name]
    held = {voice.held_back for voice in (some_voice("flite", dice) for _ in range(50))}
    assert held == {True, False}, HELD_BACK
    assert all(abs(sum(some_voice("kokoro", dice).shares) - 1) < 1e-9 for _ in range(200))


def test_words_are_spliced_with_pauses() -> None:
    word = np.concatenate((np.zeros(4_000), np.full(3_200, 0.4), np.zeros(4_000))).astype(np.float32)
    short = trimmed(word)
    assert 3_200 < len(short) < 5_000
    joined = spliced([short, short, short], Random(1))
    assert 3 * len(short) < len(joined) < 3 * (len(short) + 0.4 * RATE)
    assert (np.abs(joined) > 0.3).sum() == 3 * 3_200


def test_rooms_ring_longer_the_less_their_walls_take_up() -> None:
    made = rooms(12, 1)
    assert made.shape == (12, LENGTH)
    assert np.allclose(made[:, 0], 1, atol=0.35), "the direct sound first"
    later = (made[:, LENGTH // 2 :] ** 2).sum(1)
    assert (later < (made[:, : LENGTH // 8] ** 2).sum(1)).all()
    assert later.max() > 5 * later.min()
