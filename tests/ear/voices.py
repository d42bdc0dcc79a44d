"""Voices that may be trained on, each text spoken anew: none that is reported on, and no blend with one.

Kokoro's three styles for that and mixtures of them, three of flite's voices, espeak-ng's in accents and variants; speed
and pitch vary. `HELD_BACK` are for knowing when to stop.
"""

from __future__ import annotations

import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from random import Random

import numpy as np

from journal.hearing.types import RATE, Sound
from tests.bench import _kokoro

STYLES = ("jf_alpha", "jf_gongitsune", "jf_nezumi")
_FLITE = ("kal16", "kal", "rms")
_ACCENTS = ("en-us", "en-us", "en-gb", "en-gb-scotland", "en-029", "en-gb-x-gbclan", "en-gb-x-gbcwmd")
_VARIANTS = ("", "m1", "m2", "m4", "m5", "m6", "m7", "m8", "f1", "f3", "f4", "f5")
HELD_BACK = ("flite rms", "espeak f3")
"""Not trained on."""


@dataclass(frozen=True)
class Voice:
    """Whose voice, and how quick and high."""

    kind: str
    """`kokoro`, `flite` or `espeak`."""
    name: str
    """The voice of that kind; for Kokoro an accent of espeak-ng's."""
    speed: float
    """Of its own, 1 for as it is."""
    pitch: float = 1.0
    """How much higher all of it is, formants too, 1 for as it is."""
    shares: tuple[float, ...] = ()
    """How much of each of `STYLES` there is in it; they sum up to 1, a share may be below 0."""

    @property
    def held_back(self) -> bool:
        """Whether it is for knowing when to stop."""
        return f"{self.kind} {self.name}" in HELD_BACK or (self.kind == "espeak" and self.name.endswith("+f3"))


def some_voice(kind: str, dice: Random) -> Voice:
    """A voice of that kind."""
    if kind == "flite":
        return Voice(kind, dice.choice(_FLITE), dice.uniform(0.85, 1.3), dice.uniform(0.85, 1.2))
    if kind == "espeak":
        accent, variant = dice.choice(_ACCENTS), dice.choice(_VARIANTS)
        return Voice(kind, f"{accent}+{variant}" if variant else accent, dice.uniform(0.8, 1.2), dice.uniform(0.8, 1.2))
    # A third of one style alone, a third of two, a third of all three and somewhat beyond.
    raw = [dice.random() for _ in STYLES]
    for gone in dice.sample(range(3), dice.choice((2, 1, 0))):
        raw[gone] = 0.0
    shares = np.array(raw) / sum(raw)
    if min(raw) > 0:
        shares = shares + 0.5 * (shares - 1 / 3)
    accent = dice.choice(("en-us", "en-us", "en-us", "en-gb", "en-gb-scotland"))
    return Voice(kind, accent, dice.uniform(0.85, 1.3), dice.uniform(0.74, 1.12), tuple(map(float, shares)))


def speak(text: str, voice: Voice) -> Sound:
    """A text in a voice, at `RATE`, its loudest at a half."""
    import soundfile
    import soxr

    speed = voice.speed / voice.pitch
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "said.wav"
        if voice.kind == "flite":
            stretch = f"duration_stretch={1 / speed:.3f}"
            subprocess.run(["flite", "-voice", voice.name, "--setf", stretch, "-t", text, "-o", path], check=True)
        elif voice.kind == "espeak":
            pace = str(round(160 * speed))
            subprocess.run(["espeak-ng", "-v", voice.name, "-s", pace, "-w", path, text], check=True)
        else:
            _kokoro.say(text, voice.name, dict(zip(STYLES, voice.shares, strict=True)), speed, path)
        sound, rate = soundfile.read(path, dtype="float32")
    # Taken for a recording at another rate, all of it is higher and quicker.
    higher = soxr.resample(sound, rate * voice.pitch, RATE).astype(np.float32)
    return np.asarray(higher * (0.5 / max(1e-6, float(np.abs(higher).max()))), dtype=np.float32)
