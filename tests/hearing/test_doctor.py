"""The doctor's word on a microphone comes from its sound, and what is lacking here is told in lines."""

from __future__ import annotations

import re
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from click.testing import CliRunner

from journal.cli.main import group
from journal.hearing import doctor, microphone
from journal.hearing.doctor import Line, examine, level_line
from journal.hearing.types import RATE, Sound, Speakable


def hiss() -> Sound:
    return (0.001 * np.random.default_rng(1).standard_normal(3 * RATE)).astype(np.float32)


def speech() -> Sound:
    sound = hiss()
    sound[RATE : 2 * RATE] += (0.1 * np.random.default_rng(2).standard_normal(RATE)).astype(np.float32)
    return sound


def test_the_doctor_knows_a_silent_a_noisy_a_loud_and_a_good_microphone() -> None:
    assert "silent" in level_line(np.zeros(3 * RATE, dtype=np.float32)).text
    assert "speak while" in level_line(hiss() * 20).text
    assert level_line(speech()).good
    assert "too loud" in level_line(speech() * 20).text


def test_levels_are_against_full_scale_and_the_ratio_is_near_what_was_put_in() -> None:
    """White noise of deviation 0.1 has -20 dBFS, of 0.001 -60 dBFS: 40 dB apart."""
    level, over = map(float, re.findall(r"-?\d+", level_line(speech()).text))
    assert abs(level - -20) <= 1
    assert abs(over - 40) <= 2, "the noise is taken from the quietest tenth, which lies a little low"


def test_without_speech_only_the_level_is_judged() -> None:
    line = level_line(hiss() * 20, spoken=False)
    assert line == Line(True, "microphone: level -34 dBFS")


class OneMicrophone:
    """A microphone that hears what it is made with."""

    overruns = 3

    def __init__(self, sound: Sound) -> None:
        self.blocks = np.array_split(sound, 40) if len(sound) else []

    def __iter__(self) -> Iterator[Sound]:
        yield from self.blocks

    def close(self) -> None:
        self.blocks = []


@pytest.fixture
def plugged_in(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Sound]]:
    """What the microphone hears, to be filled by the test; recognisers are left out."""
    heard: list[Sound] = []
    monkeypatch.setattr(microphone, "Microphone", lambda _device: OneMicrophone(heard[0]))
    monkeypatch.setattr(microphone, "input_devices", lambda: {0: "Headset"})
    monkeypatch.setattr(doctor, "NAMES", ("auto",))
    yield heard


NOTHING = Speakable((), {})


def test_the_user_is_asked_to_speak_before_the_sound_is_judged(plugged_in: list[Sound], tmp_path: Path) -> None:
    plugged_in.append(speech())
    lines = [line.text for line in examine(tmp_path, tmp_path, None, NOTHING, spoken=True)]
    assert lines[0] == "microphones: Headset"
    assert lines[1].startswith("say a reading now")
    assert "dB over noise" in lines[2]
    assert "sound was dropped 3 times; close other programs" in lines[3]


def test_nobody_is_asked_where_nobody_can_answer(plugged_in: list[Sound], tmp_path: Path) -> None:
    plugged_in.append(hiss())
    lines = [line.text for line in examine(tmp_path, tmp_path, None, NOTHING, spoken=False)]
    assert not any("say a reading" in line or "over noise" in line for line in lines)


def test_a_microphone_that_delivers_nothing_is_told(plugged_in: list[Sound], tmp_path: Path) -> None:
    plugged_in.append(np.zeros(0, dtype=np.float32))
    bad = [line.text for line in examine(tmp_path, tmp_path, None, NOTHING, spoken=False) if not line.good]
    assert bad == ["microphone: it delivers no sound; plug it in again, or choose another with --device"]


def test_without_portaudio_a_line_says_what_to_install(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    monkeypatch.setattr(doctor, "NAMES", ("auto",))
    lines = list(examine(tmp_path, tmp_path, None, NOTHING, spoken=False))
    assert not lines[0].good
    assert "apt install libportaudio2" in lines[0].text


def test_without_the_speech_extra_each_recogniser_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    for module in ("sounddevice", "ctranslate2", "vosk", "pocketsphinx"):
        monkeypatch.setitem(sys.modules, module, None)
    lines = list(examine(tmp_path, tmp_path, None, NOTHING, spoken=False))
    [ear] = [line for line in lines if line.text.startswith("ear:")]
    assert ear == Line(False, "ear: Whisper is not installed; install the speech extra")
    [vosk] = [line for line in lines if line.text.startswith("vosk")]
    assert vosk.good, "only the usual listener is needed"
    assert "journal models fetch vosk" in vosk.text or "install the speech extra" in vosk.text


def test_a_recogniser_is_timed_and_a_slow_one_says_what_to_do(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    heard = []
    listener = SimpleNamespace(hear=lambda sound: heard.append(len(sound) / RATE))
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    monkeypatch.setattr(doctor, "NAMES", ("auto", "ear", "whisper"))
    monkeypatch.setattr(doctor, "recognisers", lambda *_: [listener])
    texts = [line.text for line in examine(tmp_path, tmp_path, None, NOTHING, spoken=False)]
    assert any(text.startswith("ear: ready, 0.00 s for a phrase") for text in texts)
    assert heard == [2.0, 2.0]
    monkeypatch.setattr(doctor, "_SLOW_S", -1.0)
    lines = list(examine(tmp_path, tmp_path, None, NOTHING, spoken=False))
    assert any("slow; close other programs, or use --listener pocketsphinx" in x.text and not x.good for x in lines)


def test_a_full_disk_and_a_folder_that_cannot_be_written_are_told(
    plugged_in: list[Sound], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plugged_in.append(speech())
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    assert "cannot be written" in list(examine(blocked / "journal", tmp_path, None, NOTHING, spoken=False))[-1].text
    there = list(examine(tmp_path / "not" / "yet", tmp_path, None, NOTHING, spoken=False))[-1]
    assert there.good
    assert "can be written" in there.text
    monkeypatch.setattr(shutil, "disk_usage", lambda _: SimpleNamespace(free=1e6))
    full = list(examine(tmp_path, tmp_path, None, NOTHING, spoken=False))[-1]
    assert not full.good
    assert "1 MB free" in full.text


def test_the_command_prints_the_lines_and_fails_in_one_when_something_needs_a_hand(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "sounddevice", None)
    monkeypatch.setattr(doctor, "NAMES", ("auto",))
    result = CliRunner().invoke(group, ["doctor"])
    assert "! microphone: no sound system" in result.output
    assert "+ disk: " in result.output
    assert str(result.exception) == "1 of these need a hand, marked ! above"
