"""The pieces every chart is drawn from: marks, bars, whiskers, words, and the frame with its text alternative."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from html import escape

from journal.analysis.findings import Standing

INK = "currentColor"
"""Lines and words take the colour of the text around the chart; stand-alone that is black."""

WIDTH = 320.0
"""Every chart's width in its own units; it scales to whatever it is put in, 330 pixels on a phone that is 390 wide."""

LETTERS = 14.0
"""The smallest letters, in those units: on that phone they are 14 pixels high or more."""

_TITLE, _TITLE_LINE, _TITLE_LETTERS = 15.0, 18.0, 36
"""Letters of a title, from one of its lines to the next, and how many letters one of them holds."""


@dataclass(frozen=True)
class Look:
    """How a standing is drawn; the pattern and the mark say it without the colour."""

    colour: str
    """Fill, of a medium tone so that a dark or a light line shows on it."""
    pattern: str
    """`solid`, `stripes`, `dots`, `rails` or `hollow`."""


LOOKS: dict[Standing, Look] = {
    Standing.DEAD: Look("#c8553d", "hollow"),
    Standing.WEAK: Look("#d9a441", "stripes"),
    Standing.EVEN: Look("#4f93b8", "solid"),
    Standing.STRONG: Look("#5f4ba0", "rails"),
    Standing.UNCLEAR: Look("#9a9a9a", "dots"),
}
"""Checked against simulated colour blindness in `tests/output/test_charts.py`; the page may restyle them by class."""


def frame(name: str, title: str, description: str, height: float, body: list[str]) -> str:
    """A whole SVG; `name` keeps its identifiers apart from those of other charts on the page."""
    safe = "".join(ch if ch.isalnum() else "-" for ch in name)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" class="chart" viewBox="0 0 {WIDTH:g} {height:g}" role="img" '
        f'aria-labelledby="{safe}-title {safe}-desc" font-family="system-ui, sans-serif" font-size="{LETTERS:g}" '
        f'color="#1c1c1c"><title id="{safe}-title">{escape(title)}</title>'
        f'<desc id="{safe}-desc">{escape(description)}</desc>' + "".join(body) + "</svg>"
    )


def word(x: float, y: float, text: str, anchor: str = "start", bold: bool = False) -> str:
    """Words with their baseline at y."""
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{LETTERS:g}" text-anchor="{anchor}" fill="{INK}"{weight}>'
        f"{escape(text)}</text>"
    )


def heading(text: str) -> tuple[list[str], float]:
    """A chart's title in as many lines as it takes, and how far down they reach."""
    rows = textwrap.wrap(text, _TITLE_LETTERS)
    return [
        f'<text class="title" x="4" y="{15 + _TITLE_LINE * row:g}" font-size="{_TITLE:g}" fill="{INK}" '
        f'font-weight="600">{escape(words)}</text>'
        for row, words in enumerate(rows)
    ], _TITLE_LINE * len(rows)


def line(x0: float, y0: float, x1: float, y1: float, width: float = 1, dashes: str = "", faint: bool = False) -> str:
    """A straight line in the ink."""
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    pale = ' stroke-opacity="0.45"' if faint else ""
    return (
        f'<line x1="{x0:.1f}" y1="{y0:.1f}" x2="{x1:.1f}" y2="{y1:.1f}" stroke="{INK}" '
        f'stroke-width="{width:g}"{dashed}{pale}/>'
    )


def bar(x: float, y: float, width: float, height: float, standing: Standing) -> str:
    """A horizontal bar in the standing's colour and pattern."""
    look = LOOKS[standing]
    width = max(width, 1.5)
    opacity = {"solid": 1.0, "hollow": 0.0}.get(look.pattern, 0.35)
    parts = [
        f'<rect class="bar {standing.value}" x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" '
        f'fill="{look.colour}" fill-opacity="{opacity:g}" stroke="{look.colour}" stroke-width="1.5"/>'
    ]
    d = ""
    if look.pattern == "stripes":
        d = "".join(f"M{x + dx:.1f} {y:.1f}v{height:g}" for dx in _every(4, width))
    elif look.pattern == "rails":
        d = "".join(f"M{x:.1f} {y + height * part:.1f}h{width:.1f}" for part in (0.33, 0.67))
    elif look.pattern == "dots":
        spots = ((dx, part) for n, dx in enumerate(_every(4, width)) for part in ((0.3, 0.7) if n % 2 else (0.5,)))
        d = "".join(f"M{x + dx - 0.8:.1f} {y + height * part:.1f}h1.6" for dx, part in spots)
    if d:
        parts.append(f'<path fill="none" stroke="{look.colour}" stroke-width="1.6" d="{d}"/>')
    return "".join(parts)


def _every(gap: float, width: float) -> list[float]:
    return [gap * n for n in range(1, int(width / gap) + 1) if gap * n < width]


def whisker(low: float, high: float, y: float) -> str:
    """A 95 % interval, horizontal."""
    return f'<path fill="none" stroke="{INK}" stroke-width="1.3" d="M{low:.1f} {y - 3:.1f}v6m0 -3H{high:.1f}m0 -3v6"/>'


def mark(x: float, y: float, standing: Standing, size: float = 5) -> str:
    """The standing's own mark, centred: a cross, a half-filled ring, a disc, a double ring, an open lozenge."""
    look, s = LOOKS[standing], size
    common = f'class="mark {standing.value}" stroke="{look.colour}" stroke-width="2"'
    if standing == Standing.DEAD:
        arms = f"l{2 * s:g} {2 * s:g}m0 {-2 * s:g}l{-2 * s:g} {2 * s:g}"
        return f'<path {common} fill="none" d="M{x - s:.1f} {y - s:.1f}{arms}"/>'
    if standing == Standing.WEAK:
        half = f'<path fill="{look.colour}" d="M{x - s:.1f} {y:.1f}a{s:g} {s:g} 0 0 0 {2 * s:g} 0z"/>'
        return f'<circle {common} fill="none" cx="{x:.1f}" cy="{y:.1f}" r="{s:g}"/>{half}'
    if standing == Standing.EVEN:
        return f'<circle {common} fill="{look.colour}" cx="{x:.1f}" cy="{y:.1f}" r="{s - 1:g}"/>'
    if standing == Standing.STRONG:
        dot = f'<circle fill="{look.colour}" cx="{x:.1f}" cy="{y:.1f}" r="{s - 2.5:g}"/>'
        return f'<circle {common} fill="none" cx="{x:.1f}" cy="{y:.1f}" r="{s:g}"/>{dot}'
    return f'<path {common} fill="none" d="M{x:.1f} {y - s:.1f}l{s:g} {s:g}l{-s:g} {s:g}l{-s:g} {-s:g}z"/>'
