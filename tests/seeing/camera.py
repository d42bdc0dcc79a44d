"""A drawn screen photographed by simulation: perspective, blur, glare, moiré, grain, little light, JPEG."""

from __future__ import annotations

import io
import math
import random
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageFilter

Matrix = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Conditions:
    """How a photo is taken."""

    tilt: float = 0.0
    """Between the camera's axis and the screen's, degrees."""
    roll: float = 0.0
    """Turn of the camera about its axis, degrees."""
    blur: float = 0.0
    """Standard deviation of the blur, pixels of the photo."""
    glare: float = 0.0
    """How much of white a reflection adds at its middle, 0 to 1."""
    moire: float = 0.0
    """How much of the brightness the beat of screen and sensor takes away, 0 to 1."""
    grain: float = 0.0
    """Standard deviation of the sensor's noise, grey levels of 255."""
    light: float = 1.0
    """Brightness, 1 as it should be; the grain is that of the sensor and does not become less."""
    jpeg: int = 88
    """Quality of the JPEG."""


@dataclass(frozen=True)
class Photo:
    """A photo of a screen."""

    jpeg: bytes
    onto: Matrix
    """From the screen's pixels to the photo's, 3 by 3."""

    def place(self, at: tuple[float, float]) -> tuple[float, float]:
        """Where a place of the screen is on the photo."""
        x, y, w = self.onto @ np.array([at[0], at[1], 1.0])
        return float(x / w), float(y / w)


def photographed(
    screen: Image.Image, how: Conditions, chance: random.Random, size: tuple[int, int] = (1600, 1200)
) -> Photo:
    """A photo of a screen that fills most of it."""
    onto = _projection(screen.size, how, chance, size)
    back = np.linalg.inv(onto)
    back /= back[2, 2]
    sharp = screen.convert("RGB").resize(screen.size)
    laid = sharp.transform(
        size, Image.Transform.PERSPECTIVE, tuple(back.flatten()[:8]), Image.Resampling.BICUBIC, fillcolor=(70, 66, 60)
    )
    if how.blur:
        laid = laid.filter(ImageFilter.GaussianBlur(how.blur))
    seen = np.asarray(laid).astype(np.float32)
    high, wide = np.mgrid[0 : size[1], 0 : size[0]].astype(np.float32)
    if how.moire:
        for channel in range(3):
            angle, period = chance.uniform(0, math.pi), chance.uniform(5, 40)
            wave = np.sin((wide * math.cos(angle) + high * math.sin(angle)) * (2 * math.pi / period) + 2.1 * channel)
            seen[:, :, channel] *= 1 - how.moire * (0.5 + 0.5 * wave)
    if how.glare:
        x, y = chance.uniform(0.2, 0.8) * size[0], chance.uniform(0.2, 0.8) * size[1]
        across, down = chance.uniform(0.1, 0.3) * size[0], chance.uniform(0.08, 0.2) * size[1]
        spot = np.exp(-(((wide - x) / across) ** 2) - ((high - y) / down) ** 2)
        seen += (255 * how.glare * spot)[:, :, None]
    seen *= how.light
    if how.grain:
        seen += np.random.default_rng(chance.getrandbits(32)).normal(0, how.grain, seen.shape).astype(np.float32)
    file = io.BytesIO()
    Image.fromarray(seen.clip(0, 255).astype(np.uint8)).save(file, "JPEG", quality=how.jpeg)
    return Photo(file.getvalue(), onto)


def _projection(screen: tuple[int, int], how: Conditions, chance: random.Random, size: tuple[int, int]) -> Matrix:
    """From a screen's pixels to a photo's: a pinhole camera with the angle of view of a telephone, about 65 degrees."""
    width, height = screen
    towards = chance.uniform(0, 2 * math.pi)
    pitch, yaw, roll = how.tilt * math.sin(towards), how.tilt * math.cos(towards), how.roll * chance.choice((-1, 1))
    a, b, c = (math.radians(angle) for angle in (pitch, yaw, roll))
    about_x = np.array([[1, 0, 0], [0, math.cos(a), -math.sin(a)], [0, math.sin(a), math.cos(a)]])
    about_y = np.array([[math.cos(b), 0, math.sin(b)], [0, 1, 0], [-math.sin(b), 0, math.cos(b)]])
    about_z = np.array([[math.cos(c), -math.sin(c), 0], [math.sin(c), math.cos(c), 0], [0, 0, 1]])
    turned = about_z @ about_x @ about_y
    focal = 0.785 * max(size)
    from_middle = np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1]])
    corners = [(0, 0), (width, 0), (width, height), (0, height)]
    # As far away as it must be for the whole of it to be on the photo.
    for step in range(400):
        away = max(width, height) * (0.5 + 0.01 * step)
        laid = np.column_stack([turned[:, 0], turned[:, 1], [0, 0, away]]) @ from_middle
        onto = np.array([[focal, 0, size[0] / 2], [0, focal, size[1] / 2], [0, 0, 1]]) @ laid
        points = [onto @ np.array([x, y, 1.0]) for x, y in corners]
        if all(
            p[2] > 0 and 0.02 <= p[0] / p[2] / size[0] <= 0.98 and 0.02 <= p[1] / p[2] / size[1] <= 0.98 for p in points
        ):
            break
    return np.asarray(onto)


def by_chance(chance: random.Random) -> Conditions:
    """Any of it at once, within what a hand-held photo in a shop may have."""
    light = chance.choice((1.0, 1.0, 0.7, 0.35))
    return Conditions(
        tilt=chance.uniform(0, 35),
        roll=chance.uniform(0, 8),
        blur=chance.uniform(0.3, 1.8),
        glare=chance.choice((0.0, 0.0, chance.uniform(0.1, 0.6))),
        moire=chance.choice((0.0, 0.0, chance.uniform(0.05, 0.3))),
        grain=chance.uniform(1, 8),
        light=light,
        jpeg=chance.randint(50, 90),
    )
