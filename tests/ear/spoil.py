"""Clean utterances in, what a microphone beside an engine makes of them out, on whatever JAX runs on.

Rooms, noise of engines of 1 to 16 cylinders with knock, a turbine's whine, fans, a compressor, blows, a second voice;
then the microphone: its band, gain, clipping, and a headset's 8 bits (mu-law, ITU-T G.711).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np

from journal.hearing.types import RATE

Array = Any
_ORDERS = 40
"""Half orders of an engine's speed."""
_FRAME = 320
_THROWS = 256
"""Enough for one utterance and its noise."""
_HOW_OFTEN = ((0.75, 1), (0.8, 1), (0.6, 0.8), (0.25, 0.4), (0.3, 0.8), (0.35, 0.8), (0.4, 0.8), (0.3, 0.3))
"""How often each part of the noise is there, and how loud at most."""


def placed(sounds: Array, start: Array, length: Array, rate: Array, lead: Array, samples: int) -> tuple[Array, Array]:
    """Utterances out of all sounds, each in a window of its own, and its last sample there.

    Args:
        sounds: all samples one after the other.
        start: the first of each.
        length: how many of each.
        rate: how much quicker, and higher, each is.
        lead: samples of nothing before each.
        samples: of a window.
    """
    at = (jnp.arange(samples)[None] - lead[:, None]) * rate[:, None]
    inside = (at >= 0) & (at < length[:, None] - 1)
    whole = jnp.where(inside, jnp.floor(at), 0).astype(jnp.int32)
    part = at - whole
    here, after = (sounds[start[:, None] + whole + n].astype(jnp.float32) / 32_768 for n in (0, 1))
    return jnp.where(inside, here * (1 - part) + after * part, 0.0), lead + length / rate


def spoilt(key: Array, clean: Array, end: Array, rooms: Array, decibels: Array) -> Array:
    """What a microphone makes of them.

    Args:
        key: of the dice.
        clean: utterances, shape (utterances, samples).
        end: the last sample of each.
        rooms: impulse responses to choose from.
        decibels: speech to noise of each; 60 or more for hardly any.
    """
    count, samples = clean.shape
    key, noisy = jax.random.split(key)
    some = _dice(key, count)
    room = rooms[(some(0, 1)[:, 0] * len(rooms)).astype(jnp.int32)]
    size = samples + rooms.shape[1]
    in_room = jnp.fft.irfft(jnp.fft.rfft(clean, size) * jnp.fft.rfft(room, size), size)[:, :samples]
    x = jnp.where(some(0, 1) < 0.6, in_room, clean)
    other = jnp.roll(x, 1, axis=0) * 10 ** (-some(12, 26) / 20)
    x = x + jnp.where(some(0, 1) < 0.12, other, 0.0)
    tail = some(0.2, 0.8) * RATE
    there = (jnp.arange(samples)[None] < end[:, None] + tail).astype(jnp.float32)
    loud = jnp.sqrt(_power(x))
    x = (x + noise(noisy, count, samples) * loud * 10 ** (-decibels[:, None] / 20)) * there
    x = _in_band(x, some(0, 1) < 0.18, some(20, 250), some(3_800, 8_000), some(-0.25, 0.25))
    most = jnp.abs(x).max(1, keepdims=True) + 1e-6
    x = jnp.where(some(0, 1) < 0.12, jnp.clip(x, -most * (held := some(0.25, 0.8)), most * held), x)
    x = x / (jnp.abs(x).max(1, keepdims=True) + 1e-6)
    coded = jnp.round(jnp.sign(x) * jnp.log1p(255 * jnp.abs(x)) / np.log(256.0) * 127) / 127
    x = jnp.where(some(0, 1) < 0.08, jnp.sign(coded) * (256.0 ** jnp.abs(coded) - 1) / 255, x)
    return x * jnp.exp(some(np.log(0.06), 0.0)) * there


def noise(key: Array, count: int, samples: int) -> Array:
    """So many noises, root mean square 1, shape (count, samples)."""
    key, white_key, blow_key = jax.random.split(key, 3)
    some = _dice(key, count)
    even = jax.random.normal(white_key, (5, count, samples))
    spectra = iter(jnp.fft.rfft(even[:4]))

    t = jnp.arange(samples)[None] / RATE
    hertz = jnp.linspace(0, RATE / 2, samples // 2 + 1)[None]
    # By how much time seems to run on where speeds wander slowly, seconds.
    wander = sum(some(0.0005, 0.004) * jnp.sin(2 * np.pi * some(0.1, 1.0) * t + some(0, 6.3)) for _ in range(3))
    turns = some(7, 38) * (t + wander)
    cylinders = jnp.floor(some(1, 17))
    # A cylinder fires every second turn.
    firing = turns * cylinders / 2
    beat = jnp.cos(2 * np.pi * firing)
    slope, uneven = some(0.2, 1.8), some(0.05, 0.6)
    strengths, phases = some(0.3, 1.6, _ORDERS), some(0, 6.3, _ORDERS)

    def order(n: Array, total: Array) -> Array:
        weight = jnp.where((n + 1) % cylinders == 0, 1.0, uneven) * (n + 1.0) ** -slope
        return total + weight * strengths[:, n][:, None] * jnp.sin(np.pi * (n + 1) * turns + phases[:, n][:, None])

    orders = jax.lax.fori_loop(0, _ORDERS, order, jnp.zeros((count, samples)))
    bump = 1 + some(0, 5) * jnp.exp(-(((hertz - some(100, 5_000)) / some(100, 1_500)) ** 2))
    broad = jnp.fft.irfft(next(spectra) * bump * (hertz + some(30, 800)) ** -some(0.0, 1.4), samples)
    broad = broad * (1 + some(0, 1) * beat)
    ringing = jnp.exp(-(((hertz - some(700, 5_500)) / some(150, 900)) ** 2))
    knock = jnp.fft.irfft(next(spectra) * ringing, samples) * jnp.exp(-some(3, 25) * (firing % 1))
    whine = sum(some(0, 1) * jnp.sin(2 * np.pi * some(700, 7_000) * (t + some(0, 10) * wander)) for _ in range(3))
    blades = 2 * np.pi * some(40, 400) * t
    fan = jnp.fft.irfft(next(spectra) / (1 + (hertz / some(300, 3_000)) ** 2), samples) * (
        1 + some(0, 0.6) * jnp.sin(blades)
    )
    fan = fan / (fan.std(1, keepdims=True) + 1e-9) + some(0, 0.8) * jnp.sin(blades)
    strokes = 2 * np.pi * some(8, 55) * t
    compressor = jnp.fft.irfft(next(spectra) / (1 + (hertz / some(600, 4_000)) ** 2), samples)
    compressor = compressor * jnp.clip(1 + some(0.2, 1.5) * jnp.sin(strokes), 0.0, None)
    drawn = jax.random.uniform(blow_key, (count, samples))
    often = some(0.00002, 0.001)
    struck = jnp.where(drawn < often, 0.2 + 0.8 * drawn / often, 0.0)
    ring = jnp.exp(-some(25, 500) * t) * jnp.sin(2 * np.pi * some(250, 5_000) * t)
    blows = jnp.fft.irfft(jnp.fft.rfft(struck) * jnp.fft.rfft(ring), samples)
    parts = (orders, broad, knock, whine, fan, compressor, blows, even[4])
    total = jnp.zeros((count, samples))
    for part, (often, most) in zip(parts, _HOW_OFTEN, strict=True):
        weight = jnp.where(some(0, 1) < often, some(0.1, 1.0) * most, 0.01)
        total = total + weight * part / (part.std(1, keepdims=True) + 1e-6)
    return total / (total.std(1, keepdims=True) + 1e-6)


def _dice(key: Array, count: int) -> Callable[..., Array]:
    """Throws of dice between two bounds, a row for each utterance: all drawn at once, which is quick to compile."""
    drawn, used = jax.random.uniform(key, (count, _THROWS)), 0

    def some(low: float, high: float, columns: int = 1) -> Array:
        nonlocal used
        used += columns
        return low + (high - low) * drawn[:, used - columns : used]

    return some


def _power(x: Array) -> Array:
    """Of the speech, pauses aside: each frame counts by its own power."""
    frames = (x[:, : x.shape[1] // _FRAME * _FRAME].reshape(len(x), -1, _FRAME) ** 2).mean(-1)
    return 0.7 * (frames**2).sum(1, keepdims=True) / (frames.sum(1, keepdims=True) + 1e-12)


def _in_band(x: Array, telephone: Array, low: Array, high: Array, tilt: Array) -> Array:
    """What a microphone, or a telephone, passes."""
    hertz = jnp.linspace(0, RATE / 2, x.shape[1] // 2 + 1)[None]
    low, high = jnp.where(telephone, 300.0, low), jnp.where(telephone, 3_400.0, high)
    gain = ((hertz + 200) / 1_000) ** tilt / jnp.sqrt(1 + (low / (hertz + 1)) ** 4) / jnp.sqrt(1 + (hertz / high) ** 16)
    return jnp.fft.irfft(jnp.fft.rfft(x) * gain, x.shape[1])
