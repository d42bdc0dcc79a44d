"""Several runs to one picture: side by side, share against injection pressure, before and after the repair."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from itertools import pairwise

from journal.analysis.findings import Contribution, RunFinding, Standing
from journal.facts import Engine
from journal.output.chart_parts import INK, WIDTH, frame, heading, line, mark, whisker, word

_LEFT, _RIGHT = 74.0, 306.0
_FIRST, _LAST = 54.0, 232.0
_LINE_LETTERS = 44
"""How many letters a line of words holds."""
_LABEL_LETTERS = 8
"""How many letters there is room for beside the end of a line."""
_AXIS_LETTERS = 24
"""How many letters the axis of pressures holds."""
_LOW = (Standing.DEAD, Standing.WEAK)
_DASHES = ("", "7 3", "2 3", "9 3 2 3", "4 2 4 6", "12 4")


def comparison_chart(runs: Sequence[RunFinding], engine: Engine) -> str:
    """Runs side by side: each cylinder's strength against the middle of its peers, a line for each run."""
    shown = [run for run in runs if run.contributions]
    most = _most(c for run in shown for c in run.contributions)
    body, y = heading("Runs side by side")
    for run in shown:
        for words in textwrap.wrap(f"{run.number}: {run.title}", _LINE_LETTERS, subsequent_indent="    "):
            y += 17
            body.append(word(4, y, words))
    top = y + 8
    y += 22
    rows: list[str] = []
    for cylinder in engine.numbers:
        found = [(run, c) for run in shown for c in run.contributions if c.cylinder == cylinder]
        if not found:
            continue
        rows.append(word(22, y + 5, str(cylinder), "end", bold=True))
        for run, c in found:
            rows += [word(66, y + 5, f"run {run.number}", "end"), *_point(c, y, most)]
            y += 17
        y += 6
        rows.append(line(4, y - 9, WIDTH - 4, y - 9, 0.5, faint=True))
    body += [*_axis(top, y - 9, most), *rows]
    said = "; ".join(f"run {run.number}, {run.title}: " + ", ".join(map(_said, run.contributions)) for run in shown)
    numbers = "-".join(str(run.number) for run in shown)
    return frame(f"runs-{numbers}-side-by-side", "Runs side by side", said + ".", y + 50, body)


def before_after_chart(before: RunFinding, after: RunFinding, engine: Engine) -> str:
    """Before and after the repair: an arrow for each cylinder from what it pulled to what it pulls."""
    most = _most([*before.contributions, *after.contributions])
    was = {c.cylinder: c for c in before.contributions}
    body, high = heading("Before and after the repair")
    body.append(word(4, high + 17, f"from run {before.number} (small) to run {after.number} (large)"))
    top = high + 30
    y, rows = top + 12, []
    for now in after.contributions:
        rows.append(word(22, y + 5, str(now.cylinder), "end", bold=True))
        then = was.get(now.cylinder)
        rows += _point(now, y, most)
        if then is not None:
            x0, x1 = _at(then.strength, most), _at(now.strength, most)
            if abs(x1 - x0) > 26:
                rows.append(_arrow(x0 + (8 if x1 > x0 else -8), x1 - (9 if x1 > x0 else -9), y))
            rows.append(mark(x0, y, then.standing, 3.5))
        y += 22
    body += [*_axis(top, y - 8, most), *rows]
    said = "; ".join(
        f"cylinder {c.cylinder} " + (f"from {_short(was[c.cylinder])} to " if c.cylinder in was else "") + _short(c)
        for c in after.contributions
    )
    return frame(f"runs-{before.number}-{after.number}-repair", "Before and after the repair", said + ".", y + 50, body)


def pressure_chart(points: Sequence[tuple[str, float, RunFinding]], engine: Engine) -> str:
    """Strength against injection pressure.

    Args:
        points: what to call each pressure, where it stands on the axis (any scale, rising), and its run.
        engine: the engine, for the order of its cylinders.
    """
    bottom, height = 222.0, 168.0
    lowest, highest = points[0][1], points[-1][1]
    most = _most(c for _, _, run in points for c in run.contributions)

    def x(place: float) -> float:
        return _FIRST + (place - lowest) / ((highest - lowest) or 1.0) * (_LAST - _FIRST)

    def y(strength: float) -> float:
        return bottom - min(max(strength, 0.0), most) / most * height

    body, _ = heading("Strength against injection pressure")
    for part in (0.0, 0.5, 1.0):
        wide, dashes = (1, "") if part == 0 else (0.7, "3 3")
        body += [
            line(_FIRST - 6, y(part), _LAST + 6, y(part), wide, dashes, faint=part > 0),
            word(_FIRST - 9, y(part) + 5, f"{100 * part:.0f} %", "end"),
        ]
    # Words that would run into each other stand on two lines in turn.
    crowded = sum(len(label) + 2 for label, _, _ in points) > _AXIS_LETTERS
    for n, (label, place, _) in enumerate(points):
        anchor = "start" if n == 0 else "end" if n == len(points) - 1 else "middle"
        below = bottom + 20 + (17 if crowded and n % 2 else 0)
        body += [line(x(place), bottom, x(place), bottom + 4), word(x(place), below, label, anchor)]
    ends: list[tuple[float, str]] = []
    low = [c for c in engine.numbers if any(f.standing in _LOW for f in _of(c, points))]
    for cylinder in [c for c in engine.numbers if c not in low] + low:
        track = [(x(p), y(f.strength), f) for _, p, run in points for f in run.contributions if f.cylinder == cylinder]
        if not track:
            continue
        faint = cylinder not in low
        dashes = "" if faint else _DASHES[low.index(cylinder) % len(_DASHES)]
        for (x0, y0, _), (x1, y1, _) in pairwise(track):
            body.append(line(x0, y0, x1, y1, 0.8 if faint else 1.8, dashes, faint=faint))
        body += [mark(px, py, f.standing, 3.5 if faint else 5) for px, py, f in track]
        ends.append((track[-1][1], str(cylinder)))
    body += _labels(ends, low)
    said = "; ".join(f"{label}: " + ", ".join(map(_said, run.contributions)) for label, _, run in points)
    numbers = "-".join(str(run.number) for _, _, run in points)
    return frame(f"runs-{numbers}-pressure", "Strength against injection pressure", said + ".", bottom + 46, body)


def _of(cylinder: int, points: Sequence[tuple[str, float, RunFinding]]) -> list[Contribution]:
    return [f for _, _, run in points for f in run.contributions if f.cylinder == cylinder]


def _labels(ends: list[tuple[float, str]], low: Sequence[int]) -> list[str]:
    """The cylinders at the ends of their lines; those that would print over each other share one label."""
    groups: list[tuple[float, list[str]]] = []
    for at, name in sorted(ends):
        if groups and at - groups[-1][0] < 16:
            groups[-1][1].append(name)
        else:
            groups.append((at, [name]))
    out = []
    for at, names in groups:
        names.sort(key=int)
        bold = any(int(n) in low for n in names)
        rows = textwrap.wrap(_short_list(names), _LABEL_LETTERS, break_on_hyphens=False)
        out += [word(_LAST + 10, at + 5 + 16 * row, words, bold=bold) for row, words in enumerate(rows)]
    return out


def _short_list(names: Sequence[str]) -> str:
    """Cylinders in as few letters as there is room for: `1 2 5-8`."""
    runs: list[list[int]] = []
    for number in map(int, names):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return " ".join(f"{run[0]}-{run[-1]}" if len(run) > 2 else " ".join(map(str, run)) for run in runs)


def _most(contributions: Iterable[Contribution]) -> float:
    strengths = [c.strength + 2 * c.strength_u for c in contributions]
    return min(max([1.3, *strengths]), 3.0)


def _at(strength: float, most: float) -> float:
    return _LEFT + min(max(strength, 0.0), most) / most * (_RIGHT - _LEFT)


def _point(c: Contribution, y: float, most: float) -> list[str]:
    low, high = c.strength - 1.96 * c.strength_u, c.strength + 1.96 * c.strength_u
    return [whisker(_at(low, most), _at(high, most), y), mark(_at(c.strength, most), y, c.standing)]


def _axis(top: float, bottom: float, most: float) -> list[str]:
    out = []
    for part in (0.0, 0.5, 1.0):
        out += [
            line(_at(part, most), top, _at(part, most), bottom, 1, "" if part == 0 else "3 3", faint=part > 0),
            word(_at(part, most), bottom + 16, f"{100 * part:.0f} %", "middle"),
        ]
    out.append(word(4, bottom + 34, "of the middle of its peers,"))
    out.append(word(4, bottom + 51, "with 95 % intervals"))
    return out


def _arrow(x0: float, x1: float, y: float) -> str:
    head = -5 if x1 > x0 else 5
    return (
        f'<path fill="none" stroke="{INK}" stroke-width="1.2" '
        f'd="M{x0:.1f} {y:.1f}H{x1:.1f}m{head} -3l{-head} 3l{head} 3"/>'
    )


def _short(c: Contribution) -> str:
    return f"{c.standing} {max(0, round(100 * c.strength))} %"


def _said(c: Contribution) -> str:
    return f"cylinder {c.cylinder} {_short(c)}"
