"""Screens drawn for tests and benchmark: readings in several layouts, typefaces and colours, with what is on them.

All of it is our own invention. The layouts of `TUNED` may be looked at while the reading is changed; those of
`REPORTED` are for figures only.
"""

from __future__ import annotations

import io
import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache

import pymupdf_fonts
from PIL import Image, ImageDraw, ImageFont

from journal.facts import Quantity as Q


@dataclass(frozen=True)
class Reading:
    """A number on a screen and all there is to know of it."""

    label: str
    written: str
    value: float
    unit: str
    """As the journal writes it; empty where the journal has no such unit or none is shown."""
    shown_unit: str
    quantity: Q | None


@dataclass(frozen=True)
class Screen:
    """A drawn screen."""

    image: Image.Image
    readings: tuple[tuple[Reading, tuple[float, float]], ...]
    """Each with the middle of its number, pixels."""


# label, quantity, unit as kept, unit as shown, least, most, decimals
_SHOWN: tuple[tuple[tuple[str, ...], Q | None, str, tuple[str, ...], float, float, int], ...] = (
    (("Fuel delivery", "Injection quantity", "Fuel quantity", "Fuelling"),
     Q.FUEL_PER_STROKE, "mm3", ("mm³/st", "mm3", "mm³"), 18, 95, 1),
    (("Fuel delivery", "Injected quantity", "Fuel qty"),
     Q.FUEL_PER_STROKE, "mg", ("mg/st", "mg"), 18, 95, 1),
    (("Fuel rate", "Fuel consumption", "Fuel flow"),
     Q.FUEL_RATE, "L/h", ("L/h", "l/h"), 1.2, 60, 2),
    (("Engine speed", "Eng. speed", "Engine RPM", "Speed"),
     Q.ENGINE_SPEED, "rpm", ("rpm", "1/min", "r/min"), 580, 2300, 0),
    (("Injection pressure", "Inj. pressure actual", "Rail pressure", "Injection press."),
     Q.INJECTION_PRESSURE, "MPa", ("MPa",), 5, 140, 1),
    (("Rail pressure", "Injection pressure actual"),
     Q.INJECTION_PRESSURE, "bar", ("bar",), 250, 1450, 0),
    (("Injection pressure desired", "Desired inj. pressure", "Rail pressure setpoint"),
     Q.DESIRED_INJECTION_PRESSURE, "MPa", ("MPa",), 5, 140, 1),
    (("Coolant temperature", "Coolant temp.", "Engine coolant temp"),
     Q.COOLANT_TEMPERATURE, "degC", ("°C",), 61, 98, 1),
    (("Coolant temp", "Water temp"),
     Q.COOLANT_TEMPERATURE, "degF", ("°F",), 140, 205, 0),
    (("Oil temperature", "Oil temp."),
     Q.OIL_TEMPERATURE, "degC", ("°C",), 55, 110, 0),
    (("Oil pressure", "Engine oil pressure"),
     Q.OIL_PRESSURE, "kPa", ("kPa",), 140, 480, 0),
    (("Boost pressure", "Boost", "Charge pressure"),
     Q.BOOST_PRESSURE, "kPa", ("kPa",), 2, 190, 1),
    (("Engine load", "Load", "Calculated load"),
     Q.LOAD, "%", ("%",), 6, 99, 0),
    (("Crankcase pressure",),
     Q.CRANKCASE_PRESSURE, "kPa", ("kPa",), 0.1, 2.8, 2),
    (("Battery voltage", "Supply voltage"),
     None, "", ("V",), 23.1, 28.9, 1),
    (("Intake air temp", "Ambient temperature"),
     None, "degC", ("°C",), 9, 48, 0),
    (("Vehicle speed",),
     None, "", ("km/h",), 0, 80, 0),
    (("Accelerator pedal", "Throttle position"),
     None, "%", ("%",), 0, 100, 0),
)  # fmt: skip


def readings(chance: random.Random, count: int, decimal: str) -> list[Reading]:
    """So many readings of different labels, as a screen with that decimal sign writes them."""
    made: list[Reading] = []
    for labels, quantity, unit, shown, least, most, decimals in chance.sample(_SHOWN, len(_SHOWN)):
        label = chance.choice(labels)
        if any(label == other.label or (quantity and quantity is other.quantity) for other in made):
            continue
        value = round(chance.uniform(least, most), decimals)
        written = f"{value:.{decimals}f}".replace(".", decimal)
        made.append(Reading(label, written, value, unit, chance.choice(shown), quantity))
        if len(made) == count:
            break
    return made


@dataclass(frozen=True)
class Look:
    """Typefaces and colours."""

    text: str
    """Typeface of labels, by its name among the package's."""
    figures: str
    ground: str
    ink: str
    soft: str
    """Colour of units and lines."""
    tile: str


FIRST_LOOKS = (
    Look("notos", "notosbo", "#f3f3ee", "#161616", "#55585c", "#ffffff"),
    Look("notos", "ubuntm", "#10151a", "#e8eef2", "#93a4b0", "#1d2730"),
    Look("ubuntu", "ubuntubo", "#0b2a4a", "#ffffff", "#b9d3ec", "#123a63"),
)
LOOKED_AT = (
    Look("figo", "figbo", "#ffffff", "#202020", "#6a6a6a", "#eef1f4"),
    Look("figo", "fimo", "#000000", "#7dff9b", "#43b45f", "#0c1a10"),
    Look("cascadia", "cascadiab", "#26221c", "#ffd9a0", "#c29a62", "#3a3228"),
    Look("spacemo", "spacembo", "#dfe6da", "#1c2b18", "#4d5f47", "#cfd9c8"),
)


REPORTED_LOOKS = (
    Look("", "", "#fbf7ef", "#2a1f14", "#7b6a58", "#f0e6d6"),
    Look("ubuntm", "ubuntmbo", "#071018", "#9fe8ff", "#4f8ea3", "#0f2130"),
    Look("figit", "notosbo", "#3a3a3a", "#ffffff", "#c8c8c8", "#4a4a4a"),
    Look("notosit", "cascadiab", "#e9eef7", "#0d2f66", "#5b77a6", "#d6e0f0"),
)
"""The first has Pillow's own typeface."""
TUNED_LOOKS = (*FIRST_LOOKS, *LOOKED_AT)


@cache
def font(name: str, size: int) -> ImageFont.FreeTypeFont:
    """One of the package's typefaces, or Pillow's own where it has no name."""
    if not name:
        own = ImageFont.load_default(size)
        assert isinstance(own, ImageFont.FreeTypeFont)
        return own
    return ImageFont.truetype(io.BytesIO(pymupdf_fonts.myfont(name)), size)


class Sheet:
    """A drawing of a screen that remembers where its numbers are."""

    def __init__(self, size: tuple[int, int], look: Look) -> None:
        self.look = look
        self.image = Image.new("RGB", size, look.ground)
        self.pen = ImageDraw.Draw(self.image)
        self.readings: list[tuple[Reading, tuple[float, float]]] = []

    def write(
        self,
        at: tuple[float, float],
        text: str,
        size: int,
        *,
        bold: bool = False,
        soft: bool = False,
        anchor: str = "ls",
    ) -> tuple[float, float, float, float]:
        """Text at its baseline; where it came to stand."""
        face = font(self.look.figures if bold else self.look.text, size)
        self.pen.text(at, text, font=face, fill=self.look.soft if soft else self.look.ink, anchor=anchor)
        box = self.pen.textbbox(at, text, font=face, anchor=anchor)
        return box[0], box[1], box[2], box[3]

    def number(
        self, at: tuple[float, float], reading: Reading, size: int, *, anchor: str = "ls", bold: bool = True
    ) -> tuple[float, float, float, float]:
        """A reading's number."""
        box = self.write(at, reading.written, size, bold=bold, anchor=anchor)
        self.readings.append((reading, ((box[0] + box[2]) / 2, (box[1] + box[3]) / 2)))
        return box

    def done(self) -> Screen:
        return Screen(self.image, tuple(self.readings))


def rows(shown: Sequence[Reading], look: Look) -> Screen:
    """A list: label, number, unit, each in a column."""
    sheet = Sheet((1100, 90 + 76 * len(shown)), look)
    for i, reading in enumerate(shown):
        y = 90 + 76 * i
        sheet.write((50, y), reading.label, 32)
        sheet.number((760, y), reading, 36, anchor="rs")
        sheet.write((790, y), reading.shown_unit, 28, soft=True)
        sheet.pen.line((40, y + 22, 1060, y + 22), fill=look.tile, width=2)
    return sheet.done()


def ruled(shown: Sequence[Reading], look: Look) -> Screen:
    """A ruled table with a heading over each column."""
    sheet = Sheet((1200, 130 + 70 * len(shown)), look)
    for x, heading in ((40, "Name"), (620, "Value"), (860, "Unit")):
        sheet.write((x, 60), heading, 28, soft=True)
    for i, reading in enumerate(shown):
        y = 128 + 70 * i
        sheet.pen.rectangle((20, y - 46, 1180, y + 24), outline=look.soft)
        sheet.write((40, y), reading.label, 30)
        sheet.number((620, y), reading, 32, bold=False)
        sheet.write((860, y), reading.shown_unit, 30)
    for x in (600, 840):
        sheet.pen.line((x, 82, x, 82 + 70 * len(shown)), fill=look.soft)
    return sheet.done()


def tiles(shown: Sequence[Reading], look: Look) -> Screen:
    """Tiles, three beside each other: label on top, a large number, its unit after it."""
    down = -(-len(shown) // 3)
    sheet = Sheet((1260, 40 + 230 * down), look)
    for i, reading in enumerate(shown):
        x, y = 30 + 410 * (i % 3), 30 + 230 * (i // 3)
        sheet.pen.rounded_rectangle((x, y, x + 385, y + 205), 16, fill=look.tile)
        sheet.write((x + 22, y + 50), reading.label, 26, soft=True)
        box = sheet.number((x + 22, y + 150), reading, 78)
        sheet.write((box[2] + 14, y + 150), reading.shown_unit, 30, soft=True)
    return sheet.done()


def inline(shown: Sequence[Reading], look: Look) -> Screen:
    """Plain lines: "Label: number unit"."""
    sheet = Sheet((900, 70 + 62 * len(shown)), look)
    for i, reading in enumerate(shown):
        y = 75 + 62 * i
        box = sheet.write((40, y), f"{reading.label}: ", 32)
        box = sheet.number((box[2] + 12, y), reading, 32, bold=False)
        sheet.write((box[2] + 12, y), reading.shown_unit, 32)
    return sheet.done()


def dials(shown: Sequence[Reading], look: Look) -> Screen:
    """Gauges: a number within an arc, its unit under it, its label under the arc."""
    down = -(-len(shown) // 3)
    sheet = Sheet((1240, 30 + 340 * down), look)
    for i, reading in enumerate(shown):
        x, y = 210 + 410 * (i % 3), 170 + 340 * (i // 3)
        sheet.pen.arc((x - 140, y - 140, x + 140, y + 140), 140, 400, fill=look.soft, width=14)
        sheet.pen.arc((x - 140, y - 140, x + 140, y + 140), 140, 140 + 26 * (3 + i % 6), fill=look.ink, width=14)
        sheet.number((x, y + 14), reading, 60, anchor="ms")
        sheet.write((x, y + 62), reading.shown_unit, 26, soft=True, anchor="ms")
        sheet.write((x, y + 158), reading.label, 28, anchor="ms")
    return sheet.done()


def panes(shown: Sequence[Reading], look: Look) -> Screen:
    """Two lists beside each other, the unit in brackets after the label."""
    half = -(-len(shown) // 2)
    sheet = Sheet((1400, 80 + 72 * half), look)
    for i, reading in enumerate(shown):
        x, y = 40 + 690 * (i // half), 80 + 72 * (i % half)
        sheet.write((x, y), f"{reading.label} [{reading.shown_unit}]", 27)
        sheet.number((x + 640, y), reading, 32, anchor="rs")
    sheet.pen.line((705, 20, 705, 60 + 72 * half), fill=look.soft, width=2)
    return sheet.done()


def strip(shown: Sequence[Reading], look: Look) -> Screen:
    """One row of a table: labels as headings, units under them, the numbers below."""
    sheet = Sheet((420 * len(shown) + 40, 260), look)
    for i, reading in enumerate(shown):
        x = 240 + 420 * i
        sheet.write((x, 60), reading.label, 25, anchor="ms")
        sheet.write((x, 100), f"({reading.shown_unit})", 24, soft=True, anchor="ms")
        sheet.pen.line((x - 150, 125, x + 150, 125), fill=look.soft, width=2)
        sheet.number((x, 200), reading, 44, anchor="ms")
    return sheet.done()


def cards(shown: Sequence[Reading], look: Look) -> Screen:
    """Cards, two beside each other: a large number with its unit at the top right, the label under it."""
    down = -(-len(shown) // 2)
    sheet = Sheet((980, 30 + 210 * down), look)
    for i, reading in enumerate(shown):
        x, y = 25 + 475 * (i % 2), 25 + 210 * (i // 2)
        sheet.pen.rectangle((x, y, x + 450, y + 190), fill=look.tile, outline=look.soft, width=2)
        box = sheet.number((x + 24, y + 110), reading, 84)
        sheet.write((box[2] + 16, y + 66), reading.shown_unit, 30, soft=True)
        sheet.write((x + 24, y + 166), reading.label, 28)
    return sheet.done()


Layout = Callable[[Sequence[Reading], Look], Screen]


def chips(shown: Sequence[Reading], look: Look) -> Screen:
    """Two columns of bars: label at the left end, number and unit at the right end."""
    down = -(-len(shown) // 2)
    sheet = Sheet((1420, 30 + 104 * down), look)
    for i, reading in enumerate(shown):
        x, y = 25 + 695 * (i % 2), 25 + 104 * (i // 2)
        sheet.pen.rounded_rectangle((x, y, x + 670, y + 84), 40, fill=look.tile)
        sheet.write((x + 34, y + 54), reading.label, 26)
        box = sheet.write((x + 640, y + 56), reading.shown_unit, 24, soft=True, anchor="rs")
        sheet.number((box[0] - 12, y + 56), reading, 40, anchor="rs")
    return sheet.done()


def stacked(shown: Sequence[Reading], look: Look) -> Screen:
    """Two columns: label and, at the far end of its line, the unit; the number on the line below."""
    down = -(-len(shown) // 2)
    sheet = Sheet((1060, 40 + 150 * down), look)
    for i, reading in enumerate(shown):
        x, y = 40 + 520 * (i % 2), 40 + 150 * (i // 2)
        sheet.write((x, y + 34), reading.label, 26, soft=True)
        sheet.write((x + 450, y + 34), reading.shown_unit, 26, soft=True, anchor="rs")
        sheet.number((x, y + 104), reading, 56)
        sheet.pen.line((x, y + 124, x + 450, y + 124), fill=look.soft, width=2)
    return sheet.done()


def logged(shown: Sequence[Reading], look: Look) -> Screen:
    """A table of three moments: labels with units as headings, a row for each moment."""
    sheet = Sheet((170 + 330 * len(shown), 330), look)
    for row in range(3):
        sheet.write((30, 160 + 70 * row), f"Step {'ABC'[row]}", 28)
    for i, reading in enumerate(shown):
        x = 320 + 330 * i
        sheet.write((x, 50), reading.label, 24, anchor="ms")
        sheet.write((x, 88), reading.shown_unit, 24, soft=True, anchor="ms")
        for row in range(3):
            point = max(reading.written.rfind("."), reading.written.rfind(","))
            decimals = len(reading.written) - point - 1 if point >= 0 else 0
            value = round(reading.value * (1 + 0.03 * row), decimals)
            written = f"{value:.{decimals}f}".replace(".", reading.written[point] if point >= 0 else ".")
            sheet.number(
                (x, 160 + 70 * row), replace(reading, value=value, written=written), 34, anchor="ms", bold=False
            )
    return sheet.done()


def limits(shown: Sequence[Reading], look: Look) -> Screen:
    """A table with the least and the most so far beside each number."""
    sheet = Sheet((1380, 120 + 68 * len(shown)), look)
    for x, heading in ((40, "Measured"), (560, "Now"), (780, "Min"), (1000, "Max"), (1220, "Unit")):
        sheet.write((x, 56), heading, 26, soft=True)
    for i, reading in enumerate(shown):
        y = 118 + 68 * i
        sheet.write((40, y), reading.label, 30)
        sheet.number((560, y), reading, 32)
        for x, of in ((780, 0.9), (1000, 1.1)):
            point = max(reading.written.rfind("."), reading.written.rfind(","))
            decimals = len(reading.written) - point - 1 if point >= 0 else 0
            value = round(reading.value * of, decimals)
            written = f"{value:.{decimals}f}".replace(".", reading.written[point] if point >= 0 else ".")
            sheet.number((x, y), replace(reading, value=value, written=written, quantity=None), 32)
        sheet.write((1220, y), reading.shown_unit, 28, soft=True)
    return sheet.done()


Layout = Callable[[Sequence[Reading], Look], Screen]

TUNED: dict[str, tuple[Layout, int]] = {
    "list": (rows, 9), "ruled table": (ruled, 8), "tiles": (tiles, 6), "lines": (inline, 8), "gauges": (dials, 6),
    "two panes": (panes, 10), "headings": (strip, 4), "cards": (cards, 6),
}  # fmt: skip
"""Layouts with how many numbers each holds. The last four were reported on once, on 2026-11-27, before they were looked
at."""
REPORTED: dict[str, tuple[Layout, int]] = {
    "bars": (chips, 8), "stacked": (stacked, 6), "moments": (logged, 4), "limits": (limits, 7),
}  # fmt: skip
