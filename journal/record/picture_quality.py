"""Whether a photo is worth having, said while the person is still at the engine: sharpness and exposure."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from PIL import Image

Grey = npt.NDArray[np.float32]
"""A grey picture, shape (height, width), 0 black to 255 white."""

_EDGE = 700
"""Longest edge of the grey picture that is measured, pixels: coarse enough for grain to average out."""
_WINDOW = 16
"""Length of the stretch of pixels in which an edge is looked for."""
_STEP = 40.0
"""Least difference in grey over a window for an edge worth measuring."""
_FEWEST = 50
"""Fewer edges than that, and there is nothing to see in the picture."""
WIDEST_EDGE = 3.6
"""A picture whose crispest edges are wider than that many pixels is called blurred."""
DARK, BRIGHT = 28.0, 232.0
"""Nine tenths of a picture under, or over, such a grey make it too dark or too bright."""


def quality_warning(image: Image.Image) -> str:
    """What is wrong with a picture and what to do; empty when nothing is."""
    grey = image.convert("L")
    values = np.asarray(grey.convert("F").reduce(-(-max(grey.size) // _EDGE)), dtype=np.float32)
    if float(np.quantile(values, 0.9)) < DARK:
        return "too dark: take it again with a light"
    if float(np.quantile(values, 0.1)) > BRIGHT:
        return "too bright: take it again without the glare"
    return "blurred: take it again" if edge_width(values) > WIDEST_EDGE else ""


def edge_width(grey: Grey) -> float:
    """Width in pixels of the crispest tenth of the edges in a picture; infinite where it has next to none.

    An edge's width is its height in grey over its steepest step from pixel to pixel, in windows along rows and columns:
    1 for a perfect edge. The idea of judging blur by the spread of edges is that of P. Marziliano, F. Dufaux,
    S. Winkler and T. Ebrahimi, "A no-reference perceptual blur metric", ICIP 2002 (cited from memory). Taking the
    crispest lets a sharp subject stand before a soft background.
    """
    heights, steps = zip(*(_edges(lines) for lines in (grey, grey.T)), strict=True)
    height, step = np.concatenate(heights), np.concatenate(steps)
    edges = height >= _STEP
    if int(edges.sum()) < _FEWEST:
        return float("inf")
    return float(np.quantile(height[edges] / step[edges], 0.1))


def _edges(lines: Grey) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Height and steepest step of every window along the lines; windows overlap by half."""
    heights, steps = [], []
    for start in (0, _WINDOW // 2):
        rest = lines[:, start:]
        count = rest.shape[1] // _WINDOW
        windows = rest[:, : count * _WINDOW].reshape(lines.shape[0], count, _WINDOW)
        each = np.abs(np.diff(windows, axis=2))
        steepest = each.argmax(axis=2)
        # An edge cut in two by the end of a window looks steeper than it is; it lies in the middle of another window.
        whole = (steepest >= _WINDOW // 4) & (steepest < 3 * _WINDOW // 4)
        heights.append((windows.max(axis=2) - windows.min(axis=2))[whole])
        steps.append(each.max(axis=2)[whole])
    return np.concatenate(heights), np.concatenate(steps)
