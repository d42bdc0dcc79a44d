"""Speaks each demo job's script with free synthetic voices beside a simulated engine, into 16 kHz mono FLAC.

Run with `python demo/make_sound.py [JOB …]` in the project's environment, with Debian's `flite` installed.

Voices: `rms` (male) and `slt` (female) of the flite package, built at Carnegie Mellon University from recordings
made for that purpose. Their licence, in Debian's copyright file for flite, lets anyone "use and distribute this
software and its documentation without restriction", modify and sell it, so what they say may be redistributed too.
The engine is our own simulation; no recording of an engine is used.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile

RATE = 16_000
HERE = Path(__file__).resolve().parent
Sound = npt.NDArray[np.float64]

SPEECH_LEVEL = 0.017
"""Root mean square of the voice while it speaks, full scale 1."""
SPEECH_OVER_ENGINE_DB = 22.0
"""How far the voice stands over the engine: a close microphone beside a unit at idle."""
SPEECH_OVER_ROOM_DB = 40.0
"""The same with the engine stopped."""
STRETCH = 1.1
"""How much slower than their own pace the voices speak: someone who reads numbers off a display takes care."""
PAUSE = 0.75
"""Silence after each line, seconds."""


def speak(words: str, voice: str) -> Sound:
    """The words as the voice says them, shape (samples,), at `RATE`, with the root mean square of `SPEECH_LEVEL`."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "line.wav"
        subprocess.run(
            ["flite", "-voice", voice, "--setf", f"duration_stretch={STRETCH}", "-t", words, "-o", str(path)],
            check=True,
        )
        sound, rate = soundfile.read(path)
    if rate != RATE:
        raise SystemExit(f"voice {voice} speaks at {rate} Hz: use one of 16 kHz")
    loud = np.flatnonzero(np.abs(sound) > 0.002 * np.abs(sound).max())
    sound = sound[loud[0] : loud[-1] + 1]
    return np.asarray(sound * SPEECH_LEVEL / np.sqrt(np.mean(sound**2)))


def engine(samples: int, cylinders: int, dead: list[int], order: list[int], rpm: float, seed: int) -> Sound:
    """A four-stroke engine's noise with the dead cylinders missing, shape (samples,), root mean square 1.

    Each firing is a low thump and a short ringing of the block; fan and intake add broadband noise that falls with
    frequency. The speed wanders a little, as at idle.
    """
    chance = np.random.default_rng(seed)
    seconds = samples / RATE
    thump = _ringing(95.0, 0.03) + 0.5 * _ringing(210.0, 0.03)
    knock = 0.35 * _ringing(1350.0, 0.004) + 0.2 * _ringing(2400.0, 0.004)
    sound = np.zeros(samples + len(thump))
    at, firing = 0.0, 0
    while at < seconds:
        cylinder = order[firing % cylinders]
        start = int(at * RATE)
        strength = chance.normal(1.0, 0.1) * (0.08 if cylinder in dead else 1.0)
        sound[start : start + len(thump)] += strength * thump
        sound[start : start + len(knock)] += strength * chance.uniform(0.5, 1.2) * knock
        # Two turns of the crankshaft a cycle.
        at += 120.0 / rpm / cylinders * (1 + 0.02 * chance.standard_normal())
        firing += 1
    sound = sound[:samples]
    return _level(_level(sound) + 0.5 * _falling_noise(samples, chance))


def room(samples: int, seed: int) -> Sound:
    """A quiet workshop's noise, shape (samples,), root mean square 1."""
    return _falling_noise(samples, np.random.default_rng(seed))


def _ringing(hertz: float, decay: float) -> Sound:
    time = np.arange(int(6 * decay * RATE)) / RATE
    return np.asarray(np.sin(2 * np.pi * hertz * time) * np.exp(-time / decay))


def _falling_noise(samples: int, chance: np.random.Generator) -> Sound:
    spectrum = np.fft.rfft(chance.standard_normal(samples))
    hertz = np.fft.rfftfreq(samples, 1 / RATE)
    return _level(np.fft.irfft(spectrum / (1 + (hertz / 300.0) ** 1.5), samples))


def _level(sound: Sound) -> Sound:
    return np.asarray(sound / np.sqrt(np.mean(sound**2)))


def record(part: dict[str, Any], job: dict[str, Any], script: dict[str, Any], seed: int) -> Sound:
    """One part of the script as it would be recorded, shape (samples,), at `RATE`."""
    pause = np.zeros(int(PAUSE * RATE))
    pieces = [pause]
    for line in part["line"]:
        pieces += [speak(line["say"], line.get("voice", part["voice"])), pause]
    speech = np.concatenate(pieces)
    if part.get("engine_noise", True):
        layout = job["engine"]
        background = engine(
            len(speech),
            layout["cylinders"],
            part.get("dead", script.get("dead", [])),
            layout["firing_order"],
            part.get("rpm", 700.0),
            seed,
        )
        over = SPEECH_OVER_ENGINE_DB
    else:
        background, over = room(len(speech), seed), SPEECH_OVER_ROOM_DB
    return np.clip(speech + background * SPEECH_LEVEL * 10 ** (-over / 20), -1, 1)


def main(jobs: list[str]) -> None:
    """Make the recordings of these jobs, or of all."""
    for folder in [HERE / name for name in jobs] or sorted(p.parent for p in HERE.glob("*/script.toml")):
        job = tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))
        script = tomllib.loads((folder / "script.toml").read_text(encoding="utf-8"))
        for number, part in enumerate(script["part"], start=1):
            sound = record(part, job, script, seed=number)
            soundfile.write(folder / part["file"], sound, RATE, subtype="PCM_16", format="FLAC")
            size = (folder / part["file"]).stat().st_size
            print(f"{folder.name}/{part['file']}: {len(sound) / RATE:.0f} s, {size / 1024:.0f} KiB")


if __name__ == "__main__":
    main(sys.argv[1:])
