"""Impulse responses of rooms by image sources (Allen and Berkley, J. Acoust. Soc. Am. 65, 943, 1979)."""

from __future__ import annotations

import numpy as np

from journal.hearing.modelfile import Floats
from journal.hearing.types import RATE

LENGTH = RATE // 4
"""Samples of an impulse response."""
_SOUND_M_S = 343.0
_MOST = 12
"""Images to each side, in each direction."""


def rooms(count: int, seed: int) -> Floats:
    """So many of them, shape (count, LENGTH), the direct sound first and 1."""
    dice = np.random.default_rng(seed)
    return np.stack([_room(dice) for _ in range(count)])


def _room(dice: np.random.Generator) -> Floats:
    """A box with a head and a microphone in it, walls that take up the same share of sound each."""
    size = np.array([dice.uniform(3, 18), dice.uniform(3, 14), dice.uniform(2.4, 6)])
    reflected = np.sqrt(1 - dice.uniform(0.15, 0.75))
    mouth = size * dice.uniform(0.2, 0.8, 3)
    away = dice.standard_normal(3)
    away *= min(dice.uniform(0.05, 2.5), 0.35 * size.min()) / np.linalg.norm(away)
    ear = np.clip(mouth + away, 0.1, size - 0.1)
    axes = []
    for length, at, to in zip(size, mouth, ear, strict=True):
        n = np.arange(-_MOST, _MOST + 1)
        # An image is the mouth shifted by two lengths, or mirrored; how many walls were met on the way.
        axes.append((np.concatenate((2 * n * length + at, 2 * n * length - at)) - to,
                     np.concatenate((np.abs(2 * n), np.abs(2 * n - 1)))))  # fmt: skip
    (x, met_x), (y, met_y), (z, met_z) = axes
    away_m = np.sqrt(x[:, None, None] ** 2 + y[None, :, None] ** 2 + z[None, None, :] ** 2)
    met = met_x[:, None, None] + met_y[None, :, None] + met_z[None, None, :]
    direct = float(away_m.min())
    at = np.round((away_m - direct) / _SOUND_M_S * RATE).astype(np.int64).ravel()
    strength = (reflected**met * direct / away_m).ravel()
    near = at < LENGTH
    return np.bincount(at[near], strength[near], LENGTH).astype(np.float32)
