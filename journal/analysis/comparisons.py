"""Runs against each other: idle with half engine, low with high injection pressure, before with after the repair."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from journal.analysis.causes_words import wander
from journal.analysis.findings import Comparison, Contribution, Level, Remark, RunFinding, Standing
from journal.analysis.settings import Settings
from journal.analysis.shared import shared_by, telling
from journal.facts import PressureLevel, RunKind, RunStarted
from journal.facts.units import convert
from journal.record.job import Job

LOW = frozenset({Standing.DEAD, Standing.WEAK})
_NAMED = {PressureLevel.LOW: 0.0, None: 1.0, PressureLevel.HIGH: 2.0}


@dataclass(frozen=True)
class Judged:
    """A run that judged at least one cylinder, with how it was made."""

    start: RunStarted
    """Its kind and conditions."""
    finding: RunFinding
    """What it says."""

    def of(self, cylinder: int) -> Contribution | None:
        """What it says of one cylinder; none without a reading."""
        return next((c for c in self.finding.contributions if c.cylinder == cylinder), None)


def judged_runs(job: Job, runs: Sequence[RunFinding]) -> list[Judged]:
    """The runs with contributions, in order."""
    starts = {run.id: run.start for run in job.runs}
    return [Judged(starts[r.run], r) for r in runs if r.contributions and r.run in starts]


def compare(job: Job, runs: tuple[RunFinding, ...], settings: Settings) -> tuple[Comparison, ...]:
    """What the runs say when put side by side, and what the low cylinders share."""
    judged = judged_runs(job, runs)
    found = [
        *_under_load(judged, settings),
        *_by_pressure(judged, settings),
        *_after_repair(judged, settings),
        *_repeated(judged, settings),
        *_in_common(job, judged),
    ]
    return tuple(found)


def pressure_of(start: RunStarted) -> tuple[bool, float]:
    """Whether a run's injection pressure is a number, and the number in MPa; else 0, 1, 2 for low, as it is, high."""
    if start.pressure_value is not None:
        return True, convert(start.pressure_value, start.pressure_unit, "MPa")
    return False, _NAMED[start.pressure]


def pressure_words(start: RunStarted) -> str:
    """A run's injection pressure in few words."""
    if start.pressure_value is not None:
        return f"{start.pressure_value:g} {start.pressure_unit}"
    return f"{start.pressure} pressure" if start.pressure is not None else "the usual pressure"


def pressure_series(judged: Sequence[Judged]) -> list[list[Judged]]:
    """Runs alike but for the injection pressure, lowest first, the last one of each pressure; two or more each."""
    groups: dict[tuple[object, ...], dict[tuple[bool, float], Judged]] = {}
    for run in judged:
        start = run.start
        key = (start.run, start.quantity, start.held_out, start.after_repair)
        groups.setdefault(key, {})[pressure_of(start)] = run
    series = []
    for by_pressure in groups.values():
        numbered = [p for p in by_pressure if p[0]]
        usable = sorted(numbered if len(numbered) > 1 else [p for p in by_pressure if not p[0]])
        if len(usable) > 1:
            series.append([by_pressure[p] for p in usable])
    return series


def before_and_after(judged: Sequence[Judged]) -> tuple[Judged, Judged] | None:
    """The last run after a repair with the last one before it under the same conditions; none without both."""
    after = [run for run in judged if run.start.after_repair]
    if not after:
        return None
    now = after[-1]
    before = [
        run
        for run in judged
        if not run.start.after_repair
        and (run.start.run, run.start.held_out, run.start.pressure, run.start.pressure_value)
        == (now.start.run, now.start.held_out, now.start.pressure, now.start.pressure_value)
    ]
    return (before[-1], now) if before else None


def _difference(a: Contribution, b: Contribution) -> float:
    """How many standard uncertainties b's strength stands above a's."""
    return (b.strength - a.strength) / max(math.hypot(a.strength_u, b.strength_u), 1e-6)


def _said(c: Contribution) -> str:
    return f"{c.standing} ({max(0, round(100 * c.strength))} %)"


def _remark(text: str, *contributions: Contribution | None) -> Remark:
    entries = dict.fromkeys(e for c in contributions if c is not None for e in c.entries)
    return Remark(Level.REMARK, text, tuple(entries))


def _comparison(
    title: str, judged: Iterable[Judged], remarks: Sequence[Remark], cylinders: Iterable[int]
) -> Comparison:
    return Comparison(title, tuple(j.finding.run for j in judged), tuple(remarks), tuple(sorted(set(cylinders))))


def _under_load(judged: Sequence[Judged], settings: Settings) -> list[Comparison]:
    """The last plain run of the whole engine against the half-engine runs of the same state of repair."""
    found = []
    for repaired in (False, True):
        plain = [j for j in judged if j.start.after_repair == repaired and pressure_of(j.start) == (False, 1.0)]
        whole = [j for j in plain if j.start.run != RunKind.HALF_ENGINE]
        halves = [j for j in plain if j.start.run == RunKind.HALF_ENGINE]
        if not whole or not halves:
            continue
        at_idle = whole[-1]
        pairs = {}
        for half in halves:
            for loaded in half.finding.contributions:
                idle = at_idle.of(loaded.cylinder)
                if idle is not None:
                    pairs[loaded.cylinder] = (idle, loaded)
        remarks, about = [], []
        for cylinder, (idle, loaded) in sorted(pairs.items()):
            text = _load_sentence(idle, loaded, settings)
            if text:
                about.append(cylinder)
                remarks.append(_remark(f"cylinder {cylinder} {text}", idle, loaded))
        if not remarks:
            remarks.append(_remark("no cylinder is low at idle or under load"))
        title = "Idle against half engine" + (", after the repair" if repaired else "")
        found.append(_comparison(title, (at_idle, *halves), remarks, about))
    return found


def _load_sentence(idle: Contribution, loaded: Contribution, settings: Settings) -> str:
    both = f"is {_said(idle)} at idle and {_said(loaded)} with half the engine held out"
    if loaded.standing in LOW and idle.standing in LOW:
        return f"{both}: low in both"
    if loaded.standing in LOW:
        clearly = _difference(idle, loaded) < -settings.compare_z
        return f"{both}: weak only under load" if clearly else f"{both}, a difference the readings do not settle"
    if idle.standing in LOW:
        return f"{both}: low at idle only"
    if Standing.UNCLEAR in (idle.standing, loaded.standing) and idle.standing != loaded.standing:
        return both
    return ""


def _by_pressure(judged: Sequence[Judged], settings: Settings) -> list[Comparison]:
    found = []
    for series in pressure_series(judged):
        first, last = series[0], series[-1]
        numbers = {c.cylinder for j in series for c in j.finding.contributions if c.standing in LOW}
        remarks = []
        for cylinder in sorted(numbers):
            low, high = first.of(cylinder), last.of(cylinder)
            if low is not None and high is not None:
                remarks.append(_remark(_pressure_sentence(cylinder, series, low, high, settings), low, high))
        if not remarks:
            remarks.append(_remark("no cylinder is low at any of these injection pressures"))
        title = f"Injection pressure: {pressure_words(first.start)} against {pressure_words(last.start)}"
        found.append(_comparison(title, series, remarks, numbers))
    return found


def _pressure_sentence(
    cylinder: int, series: Sequence[Judged], low: Contribution, high: Contribution, settings: Settings
) -> str:
    z = _difference(low, high)
    where = [pressure_words(series[0].start), pressure_words(series[-1].start)]
    both = f"cylinder {cylinder} is {_said(low)} at {where[0]} and {_said(high)} at {where[1]}"
    if abs(z) <= settings.compare_z:
        return f"{both}: injection pressure makes no difference that the readings show ({wander(z)})"
    if z < 0:
        return f"{both}: it pulls less with more pressure, by {wander(z)}"
    gain = f"recovers by {round(100 * (high.strength - low.strength))} points, {wander(z)}"
    for before, after in pairwise(series):
        a, b = before.of(cylinder), after.of(cylinder)
        if a is not None and b is not None and a.standing is Standing.DEAD and b.standing is not Standing.DEAD:
            between = f"{pressure_words(before.start)} and {pressure_words(after.start)}"
            return f"{both}: {gain}; it fires only above a pressure between {between}"
    return f"{both}: {gain}"


def _after_repair(judged: Sequence[Judged], settings: Settings) -> list[Comparison]:
    pair = before_and_after(judged)
    if pair is None:
        return []
    before, after = pair
    remarks, about = [], []
    for now in after.finding.contributions:
        was = before.of(now.cylinder)
        if was is None or not (was.standing in LOW or now.standing in LOW):
            continue
        about.append(now.cylinder)
        change = f"cylinder {now.cylinder} was {_said(was)} and is {_said(now)}"
        z = _difference(was, now)
        if now.standing in LOW:
            text = f"{change}: not mended" if was.standing in LOW else f"{change}: low now and not before"
        elif now.standing is Standing.UNCLEAR:
            text = f"{change}: not shown to be mended yet"
        elif z > settings.compare_z:
            text = f"{change}: mended, a change {wander(z)}"
        else:
            text = f"{change}, a change the readings do not settle ({wander(z)})"
        remarks.append(_remark(text, was, now))
    if not remarks:
        remarks.append(_remark("no cylinder is low before or after"))
    return [_comparison("Before against after the repair", pair, remarks, about)]


def _repeated(judged: Sequence[Judged], settings: Settings) -> list[Comparison]:
    """Runs made twice under the same conditions: whether they agree."""
    found = []
    latest: dict[RunStarted, Judged] = {}
    for run in judged:
        start = run.start
        key = RunStarted(
            start.run, start.quantity, start.unit, start.held_out, start.pressure, start.pressure_value,
            start.pressure_unit, start.after_repair,
        )  # fmt: skip
        before = latest.get(key)
        latest[key] = run
        if before is None:
            continue
        remarks, about = [], []
        for now in run.finding.contributions:
            was = before.of(now.cylinder)
            if was is not None and abs(_difference(was, now)) > settings.compare_z:
                about.append(now.cylinder)
                text = f"cylinder {now.cylinder} was {_said(was)} and is {_said(now)}: the two runs disagree"
                remarks.append(_remark(text, was, now))
        if not remarks:
            remarks.append(_remark("the two runs agree within their uncertainty"))
        title = f"Run {before.finding.number} against its repeat, run {run.finding.number}"
        found.append(_comparison(title, (before, run), remarks, about))
    return found


def _in_common(job: Job, judged: Sequence[Judged]) -> list[Comparison]:
    """What the cylinders low in the latest run of the whole engine share."""
    whole = [j for j in judged if not j.start.held_out]
    if not whole:
        return []
    low = [c for c in whole[-1].finding.contributions if c.standing in LOW]
    numbers = tuple(c.cylinder for c in low)
    if len(low) < 2:
        return []
    shared = telling(shared_by(numbers, job.engine))
    remarks = []
    for one in shared:
        names = " and ".join(map(str, one.cylinders))
        verb = "stand side by side" if one.what == "neighbouring bores" else f"share a {one.what}"
        remarks.append(
            _remark(
                f"cylinders {names} {verb}: of {len(low)} low cylinders by chance {100 * one.chance:.0f} % would", *low
            )
        )
    if not remarks:
        remarks.append(
            _remark("they share no bank, driver, harness branch or bore wall that chance would not explain", *low)
        )
    return [_comparison("What the low cylinders share", whole[-1:], remarks, numbers)]
