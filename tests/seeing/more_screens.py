"""Screens in four layouts that nothing was changed by: drawn on 2026-11-28, for figures of whole runs only."""

from __future__ import annotations

from collections.abc import Sequence

from tests.seeing.screens import Layout, Look, Reading, Screen, Sheet


def cells(shown: Sequence[Reading], look: Look) -> Screen:
    """Ruled cells, two beside each other: label at the top left, unit at the lower left, number at the lower right."""
    down = -(-len(shown) // 2)
    sheet = Sheet((1120, 30 + 180 * down), look)
    for i, reading in enumerate(shown):
        x, y = 20 + 540 * (i % 2), 20 + 180 * (i // 2)
        sheet.pen.rectangle((x, y, x + 530, y + 170), outline=look.soft, width=3)
        sheet.write((x + 18, y + 44), reading.label, 28)
        sheet.write((x + 18, y + 146), reading.shown_unit, 26, soft=True)
        sheet.number((x + 512, y + 146), reading, 66, anchor="rs")
    return sheet.done()


def under(shown: Sequence[Reading], look: Look) -> Screen:
    """A list: label left, number right, the unit small below the number."""
    sheet = Sheet((980, 40 + 118 * len(shown)), look)
    for i, reading in enumerate(shown):
        y = 78 + 118 * i
        sheet.write((40, y + 8), reading.label, 32)
        sheet.number((930, y), reading, 46, anchor="rs")
        sheet.write((930, y + 36), reading.shown_unit, 24, soft=True, anchor="rs")
        sheet.pen.line((30, y + 56, 950, y + 56), fill=look.soft, width=2)
    return sheet.done()


def pillars(shown: Sequence[Reading], look: Look) -> Screen:
    """Columns beside each other: a large number at the top, its unit below it, the label at the foot."""
    sheet = Sheet((40 + 380 * len(shown), 360), look)
    for i, reading in enumerate(shown):
        x = 210 + 380 * i
        sheet.pen.rounded_rectangle((x - 180, 20, x + 180, 340), 18, fill=look.tile, outline=look.soft, width=2)
        sheet.number((x, 140), reading, 84, anchor="ms")
        sheet.write((x, 200), reading.shown_unit, 30, soft=True, anchor="ms")
        sheet.write((x, 300), reading.label, 27, anchor="ms")
    return sheet.done()


def dotted(shown: Sequence[Reading], look: Look) -> Screen:
    """A list with dots from the label to the number, and the unit in square brackets after it."""
    sheet = Sheet((1080, 50 + 66 * len(shown)), look)
    for i, reading in enumerate(shown):
        y = 70 + 66 * i
        box = sheet.write((40, y), reading.label, 30)
        for x in range(int(box[2]) + 24, 680, 14):
            sheet.pen.ellipse((x, y - 4, x + 3, y - 1), fill=look.soft)
        box = sheet.number((830, y), reading, 36, anchor="rs")
        sheet.write((box[2] + 22, y), f"[{reading.shown_unit}]", 28)
    return sheet.done()


FRESH: dict[str, tuple[Layout, int]] = {
    "cells": (cells, 6), "unit below": (under, 7), "pillars": (pillars, 4), "dotted": (dotted, 9),
}  # fmt: skip
"""Layouts with how many numbers each holds."""
FRESH_LOOKS = (
    Look("notos", "figbo", "#eef0ea", "#22262a", "#6b7076", "#ffffff"),
    Look("cascadia", "ubuntmbo", "#101014", "#f4e9d8", "#b0a48f", "#23232a"),
    Look("ubuntu", "notosbo", "#12351f", "#eaffef", "#9cc7a8", "#1b4a2c"),
    Look("", "", "#ffffff", "#101010", "#505050", "#ececec"),
)
"""The last has Pillow's own typeface."""
