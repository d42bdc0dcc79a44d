"""An idling engine's noise, simulated: firing-order harmonics, broadband, impacts, and a compressor running nearby."""

from __future__ import annotations

import numpy as np

from journal.hearing.types import RATE, Sound


def engine(samples: int, seed: int) -> Sound:
    """Noise of a six-cylinder four-stroke engine near 700 rpm, root mean square 1."""
    rng = np.random.default_rng(seed)
    t = np.arange(samples) / RATE
    rpm = rng.uniform(620, 800)
    wander = np.cumsum(rng.standard_normal(samples // 400 + 2))
    speed = 1 + 0.004 * np.interp(t, np.arange(len(wander)) * 400 / RATE, wander / max(1.0, np.abs(wander).max()))
    # Three firings a turn for six cylinders, four strokes; half orders where cylinders differ.
    phase = 2 * np.pi * np.cumsum(rpm / 60 * speed) / RATE
    harmonics = np.zeros(samples)
    for order in np.arange(0.5, 36.5, 0.5):
        firing = order % 3 == 0
        strength = (1.0 if firing else 0.25) / (1 + order / 4) * rng.uniform(0.6, 1.4)
        harmonics += strength * np.sin(order * phase + rng.uniform(0, 2 * np.pi))
    broadband = _shaped(rng.standard_normal(samples), 300.0) * (1 + 0.5 * np.sin(3 * phase))
    impacts = _impacts(samples, phase, rng)
    compressor = _shaped(rng.standard_normal(samples), 1_500.0) * (1 + 0.4 * np.sin(2 * np.pi * 24 * t))
    compressor += 0.5 * np.sin(2 * np.pi * 48 * t + rng.uniform(0, 6))
    parts = ((harmonics, 1.0), (broadband, 0.6), (impacts, 0.35), (compressor, 0.35))
    total = sum(weight * part / (np.sqrt(np.mean(part**2)) + 1e-12) for part, weight in parts)
    return np.asarray(total / np.sqrt(np.mean(np.square(total))), dtype=np.float32)


def mixed(sound: Sound, decibels: float | None, seed: int) -> Sound:
    """Sound with the engine's noise at a speech-to-noise ratio; none for clean.

    The speech's power is that of its louder half, so that pauses do not make the noise look small.
    """
    if decibels is None:
        return sound
    frames = sound[: len(sound) // 320 * 320].reshape(-1, 320)
    power = np.sort((frames**2).mean(axis=1))
    speech = np.sqrt(power[len(power) // 2 :].mean())
    noise = engine(len(sound), seed) * speech / 10 ** (decibels / 20)
    loud = sound + noise
    return np.asarray(loud / max(1.0, float(np.abs(loud).max())), dtype=np.float32)


def _shaped(white: np.ndarray, corner: float) -> np.ndarray:
    spectrum = np.fft.rfft(white)
    frequency = np.fft.rfftfreq(len(white), 1 / RATE)
    return np.fft.irfft(spectrum / np.sqrt(1 + (frequency / corner) ** 2), len(white))


def _impacts(samples: int, phase: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Valve train and injector ticks: decaying rings at 1.5 to 4 kHz, twelve each two turns."""
    ticks = np.flatnonzero(np.diff(np.floor(phase * 6 / (2 * np.pi))) > 0)
    ring = np.arange(int(0.012 * RATE)) / RATE
    found = np.zeros(samples + len(ring))
    for tick in ticks:
        pitch = rng.uniform(1_500, 4_000)
        found[tick : tick + len(ring)] += rng.uniform(0.3, 1.0) * np.exp(-ring * 450) * np.sin(2 * np.pi * pitch * ring)
    return found[:samples]
