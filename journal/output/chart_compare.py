"""Several runs to one picture: side by side, share against injection pressure, before and after the repair."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from journal.analysis.findings import Contribution, RunFinding, Standing
from journal.facts import Engine
from journal.output.chart_parts import INK, WIDTH, frame, line, mark, whisker, word

_LEFT, _RIGHT, _TOP = 68.0, 344.0, 46.0
_LOW = (Standing.DEAD, Standing.WEAK)
_DASHES = ("", "7 3", "2 3", "9 3 2 3", "4 2 4 6", "12 4")


def comparison_chart(runs: Sequence[RunFinding], engine: Engine) -> str:
    """Runs side by side: each cylinder's strength against the middle of its peers, a line for each run."""
    shown = [run for run in runs if run.contributions]
    most = _most(c for run in shown for c in run.contributions)
    body = [word(4, 14, "Runs side by side", size=13, bold=True)]
    y = _TOP
    for run in shown:
        body.append(word(4, y - 12, f"{run.number}: {run.title}", size=11))
        y += 13
    top = y - 8
    rows: list[str] = []
    for cylinder in engine.numbers:
        found = [(run, c) for run in shown for c in run.contributions if c.cylinder == cylinder]
        if not found:
            continue
        rows.append(word(16, y + 4, str(cylinder), "end", bold=True))
        for run, c in found:
            rows += [word(56, y + 4, f"run {run.number}", "end", 11), *_point(c, y, most)]
            y += 14
        y += 6
        rows.append(line(4, y - 9, WIDTH - 4, y - 9, 0.5, faint=True))
    body += [*_axis(top, y - 9, most), *rows]
    said = "; ".join(f"run {run.number}, {run.title}: " + ", ".join(map(_said, run.contributions)) for run in shown)
    numbers = "-".join(str(run.number) for run in shown)
    return frame(f"runs-{numbers}-side-by-side", "Runs side by side", said + ".", y + 28, body)


def before_after_chart(before: RunFinding, after: RunFinding, engine: Engine) -> str:
    """Before and after the repair: an arrow for each cylinder from what it pulled to what it pulls."""
    most = _most([*before.contributions, *after.contributions])
    was = {c.cylinder: c for c in before.contributions}
    body = [
        word(4, 14, "Before and after the repair", size=13, bold=True),
        word(4, 30, f"from run {before.number} (small) to run {after.number} (large)", size=11),
    ]
    y, rows = _TOP + 12, []
    for now in after.contributions:
        rows.append(word(18, y + 4, str(now.cylinder), "end", bold=True))
        then = was.get(now.cylinder)
        rows += _point(now, y, most)
        if then is not None:
            x0, x1 = _at(then.strength, most), _at(now.strength, most)
            if abs(x1 - x0) > 26:
                rows.append(_arrow(x0 + (8 if x1 > x0 else -8), x1 - (9 if x1 > x0 else -9), y))
            rows.append(mark(x0, y, then.standing, 3.5))
        y += 20
    body += [*_axis(_TOP, y - 8, most), *rows]
    said = "; ".join(
        f"cylinder {c.cylinder} " + (f"from {_short(was[c.cylinder])} to " if c.cylinder in was else "") + _short(c)
        for c in after.contributions
    )
    return frame(f"runs-{before.number}-{after.number}-repair", "Before and after the repair", said + ".", y + 28, body)


def pressure_chart(points: Sequence[tuple[str, float, RunFinding]], engine: Engine) -> str:
    """Strength against injection pressure.

    Args:
        points: what to call each pressure, where it stands on the axis (any scale, rising), and its run.
        engine: the engine, for the order of its cylinders.
    """
    bottom, height = 205.0, 168.0
    lowest, highest = points[0][1], points[-1][1]
    most = _most(c for _, _, run in points for c in run.contributions)

    def x(place: float) -> float:
        return 46 + (place - lowest) / ((highest - lowest) or 1.0) * 240

    def y(strength: float) -> float:
        return bottom - min(max(strength, 0.0), most) / most * height

    body = [word(4, 14, "Strength against injection pressure", size=13, bold=True)]
    for part in (0.0, 0.5, 1.0):
        body += [
            line(40, y(part), 292, y(part), 1 if part == 0 else 0.7, "" if part == 0 else "3 3", faint=part > 0),
            word(36, y(part) + 4, f"{100 * part:.0f} %", "end", 11),
        ]
    for n, (label, place, _) in enumerate(points):
        anchor = "start" if n == 0 else "end" if n == len(points) - 1 else "middle"
        body += [line(x(place), bottom, x(place), bottom + 4), word(x(place), bottom + 17, label, anchor, 11)]
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
    return frame(f"runs-{numbers}-pressure", "Strength against injection pressure", said + ".", bottom + 28, body)


def _of(cylinder: int, points: Sequence[tuple[str, float, RunFinding]]) -> list[Contribution]:
    return [f for _, _, run in points for f in run.contributions if f.cylinder == cylinder]


def _labels(ends: list[tuple[float, str]], low: Sequence[int]) -> list[str]:
    """The cylinders at the ends of their lines; those that would print over each other share one label."""
    groups: list[tuple[float, list[str]]] = []
    for at, name in sorted(ends):
        if groups and at - groups[-1][0] < 12:
            groups[-1][1].append(name)
        else:
            groups.append((at, [name]))
    out = []
    for at, names in groups:
        names.sort(key=int)
        out.append(word(296, at + 4, " ".join(names), size=11, bold=any(int(n) in low for n in names)))
    return out


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
            word(_at(part, most), bottom + 12, f"{100 * part:.0f} %", "middle", 11),
        ]
    out.append(word(_at(0.0, most), bottom + 26, "of the middle of its peers, with 95 % intervals", size=11))
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
