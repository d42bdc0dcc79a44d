"""This machine, looked over for `journal doctor`: microphone, recognisers and their speed, models, disk."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from journal.errors import JournalError
from journal.hearing.types import RATE, Expect, Recogniser, Sound, Speakable, WordGraph

_LISTEN_S = 3.0
_QUIET_DB = -65.0
"""A microphone quieter than this against full scale hears nothing."""
_LOUD_DB = -3.0
_POOR_DB = 10.0
"""Below this speech-to-noise ratio the benchmark asks often."""
_SLOW_S = 1.0
_LITTLE_DISK = 500e6


@dataclass(frozen=True)
class Line:
    """One thing looked at."""

    good: bool
    """Whether it will do."""
    text: str
    """What was found, and what to do about it."""


def examine(folder: Path, models_home: Path, device: str | None = None) -> list[Line]:
    """Looks this machine over; takes a few seconds, during which the user should speak.

    Args:
        folder: the journal's folder.
        models_home: its model folder.
        device: part of the microphone's name; none for the default.
    """
    return [*_microphone(device), *_recognisers(models_home), _disk(folder)]


def level_line(sound: Sound) -> Line:
    """What a stretch of sound with speech in it says of the microphone, shape (samples,)."""
    frames = sound[: len(sound) // 320 * 320].reshape(-1, 320)
    power = np.sort((frames.astype(np.float64) ** 2).mean(axis=1)) if len(frames) else np.zeros(1)
    loud = _decibels(float(power[int(0.9 * (len(power) - 1))]))
    quiet = _decibels(float(power[int(0.1 * (len(power) - 1))]))
    peak = _decibels(float(np.max(np.abs(sound), initial=0.0)) ** 2)
    if loud < _QUIET_DB:
        return Line(False, f"microphone is silent ({loud:.0f} dB): unmute it, or choose another with --device")
    said = f"microphone level {loud:.0f} dB, speech over noise about {loud - quiet:.0f} dB"
    if peak > _LOUD_DB and float(np.mean(np.abs(sound) > 0.98)) > 0.001:
        return Line(False, f"{said}: too loud, turn its gain down")
    if loud - quiet < _POOR_DB:
        return Line(False, f"{said}: speak while this runs; if you did, bring the microphone closer to the mouth")
    return Line(True, said)


def _decibels(power: float) -> float:
    return 10 * float(np.log10(power + 1e-12))


def _microphone(device: str | None) -> Iterator[Line]:
    from journal.hearing.microphone import Microphone

    try:
        microphone = Microphone(device)
    except JournalError as error:
        yield Line(False, f"microphone: {error}")
        return
    blocks: list[Sound] = []
    length = 0
    for block in microphone:
        blocks.append(block)
        length += len(block)
        if length >= _LISTEN_S * RATE or microphone.losses:
            microphone.close()
    yield level_line(np.concatenate(blocks) if blocks else np.zeros(RATE, dtype=np.float32))
    if microphone.overruns:
        yield Line(False, f"microphone: sound was dropped {microphone.overruns} times; close other programs")


def _recognisers(models_home: Path) -> Iterator[Line]:
    from journal.hearing.choose import NAMES, recognisers

    graph = WordGraph(((("four", 1),), ()), frozenset({1}))
    jsgf = "#JSGF V1.0;\ngrammar d;\npublic <s> = four;"
    speakable = Speakable(("four",), dict.fromkeys(Expect, jsgf), dict.fromkeys(Expect, graph))
    for name in NAMES[1:]:
        try:
            [one] = recognisers([name], speakable, None, models_home)
        except JournalError as error:
            # Only the usual listener is needed; the others are a choice.
            yield Line(name != "whisper", f"{name}: {error}")
            continue
        seconds = _seconds_for(one)
        slow = ": slow; close other programs, or use --listener pocketsphinx" if seconds > _SLOW_S else ""
        yield Line(not slow, f"{name}: ready, {seconds:.2f} s for two seconds of sound{slow}")


def _seconds_for(recogniser: Recogniser) -> float:
    sound = (0.05 * np.random.default_rng(3).standard_normal(2 * RATE)).astype(np.float32)
    recogniser.hear(sound)
    began = time.perf_counter()
    recogniser.hear(sound)
    return time.perf_counter() - began


def _disk(folder: Path) -> Line:
    there = next((each for each in (folder, *folder.parents) if each.exists()), Path())
    free = shutil.disk_usage(there).free
    if free < _LITTLE_DISK:
        return Line(False, f"disk: {free / 1e6:.0f} MB free for {folder}; make room, sounds and photos need it")
    return Line(True, f"disk: {free / 1e9:.0f} GB free for {folder}")
