"""Simulated runs through the analysis, counted against the truth: the benchmark runs many, the tests a few."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from journal.analysis.findings import RunFinding, Standing
from journal.analysis.run.find import find_runs
from journal.analysis.settings import default_settings
from tests.analysis.simulator import Bench, as_runs, draw_bench, engine_of, run_bench

SIZES = (4, 5, 6, 8, 10, 12, 16)
"""Numbers of cylinders in the study."""

COARSE_SIZES = (8, 10, 12, 16)
"""Numbers of cylinders where the display is too coarse."""

LOW = (Standing.DEAD, Standing.WEAK)
HEALTHY_ABOVE = 0.9
"""Strength from which a simulated cylinder counts as healthy; the faults lie at 0.8 and below."""


KINDS = ("dead", "to 60 %", "60 to 80 %", "healthy")
BANDS = ("clear", "fair", "coarse")


@dataclass
class Counts:
    """What was called what, over cylinders."""

    of: dict[str, dict[str, int]] = field(default_factory=dict)

    def add(self, group: str, called: str) -> None:
        row = self.of.setdefault(group, {})
        row[called] = row.get(called, 0) + 1

    def all(self, group: str) -> int:
        return sum(self.of.get(group, {}).values())

    def share(self, groups: Sequence[str], *called: str) -> float:
        """Per cent of the groups that was called one of these; 0 of empty groups."""
        total = sum(map(self.all, groups))
        return 100 * sum(self.of.get(g, {}).get(c, 0) for g in groups for c in called) / total if total else 0.0


@dataclass
class Study:
    """The counts of a study.

    Groups are named `dead`, `to 60 %`, `60 to 80 %` or `healthy`, then how a healthy cylinder's rise compares with the
    uncertainty of one reading: `clear` from five times its 95 % uncertainty, `fair` from five times its standard
    uncertainty, `coarse` below; or `half low` where half the cylinders or more are low.
    """

    ours: Counts = field(default_factory=Counts)
    rule: Counts = field(default_factory=Counts)
    runs: int = 0
    cylinders: int = 0
    covered: int = 0
    distrusted: int = 0
    settled_by: int = 0
    """Unclear cylinders told how many repeats, or which display, would settle it."""


def study(runs_of_each: int, seed: int = 1, sizes: tuple[int, ...] = SIZES, passes: int = 3) -> Study:
    """Simulate and count."""
    out = Study()
    for n in sizes:
        _take(out, draw_bench(n, runs_of_each, seed * 1000 + n, passes=passes, settle_seconds=_settle(n)), seed)
    return out


def coarse_study(runs_of_each: int, seed: int = 3, passes: int = 3) -> Study:
    """The hard part by itself: whole steps, little fuel, many cylinders, and always one or two faults up to 60 %."""
    out = Study()
    for n in COARSE_SIZES:
        rng = np.random.default_rng(seed * 1000 + n)
        strength = 1 + 0.03 * np.clip(rng.standard_normal((runs_of_each, n)), -2.5, 2.5)
        for engine in strength:
            faults = rng.choice(n, rng.integers(1, 3), replace=False)
            engine[faults] = rng.uniform(0.3, 0.6, len(faults))
        fuel = np.exp(rng.uniform(math.log(8), math.log(30), runs_of_each))
        bench = draw_bench(
            n,
            runs_of_each,
            seed * 1000 + n,
            passes=passes,
            settle_seconds=_settle(n),
            strength=strength,
            fuel=fuel,
            step=np.ones(runs_of_each),
        )
        _take(out, bench, seed)
    return out


def _settle(cylinders: int) -> float:
    return 5.0 if cylinders > 6 else 9.0


def _take(out: Study, bench: Bench, seed: int) -> None:
    """Run the bench and count."""
    readings = run_bench(bench, seed)
    engine = engine_of(bench)
    for r, finding in enumerate(find_runs(as_runs(bench, readings), engine, default_settings())):
        out.runs += 1
        out.distrusted += not finding.trusted
        _count(out, bench, r, finding, readings.share[r], readings.baselines[r], readings.cuts[r])


def _count(
    out: Study, bench: Bench, r: int, finding: RunFinding, truth: np.ndarray, bases: np.ndarray, cuts: np.ndarray
) -> None:
    strength = bench.strength[r]
    base = float(bases.mean())
    rise = base / (1 - 1 / strength.sum()) - base
    one_reading = math.sqrt(bench.step[r] ** 2 / 12 + (bench.wander[r] * base) ** 2)
    band = "clear" if rise >= 10 * one_reading else "fair" if rise >= 5 * one_reading else "coarse"
    half_low = 2 * int((strength < HEALTHY_ABOVE).sum()) >= bench.cylinders
    rises = cuts.mean(axis=0) - base
    for c in finding.contributions:
        e = float(strength[c.cylinder - 1])
        kind = "dead" if e == 0 else "to 60 %" if e <= 0.6 else "60 to 80 %" if e < HEALTHY_ABOVE else "healthy"
        group = f"{kind} half low" if half_low else f"{kind} {band}"
        out.ours.add(group, c.standing.value)
        low_by_rule = rises[c.cylinder - 1] < 0.5 * rises.mean()
        out.rule.add(group, "low" if low_by_rule else "not low")
        out.cylinders += 1
        out.covered += c.low <= truth[c.cylinder - 1] <= c.high
        if c.standing is Standing.UNCLEAR:
            out.settled_by += c.repeats_needed is not None or "finer display" in c.why


@dataclass
class Settling:
    """What became of unclear cylinders that were told how many readings would settle it, once those were taken."""

    told: int = 0
    settled: int = 0
    wrong: int = 0
    """Settled against the truth: a healthy one called low, or one of up to 60 % called even or strong."""


def settling_study(runs_of_each: int, seed: int = 6, sizes: tuple[int, ...] = SIZES) -> Settling:
    """Engines gone through once; where that leaves a cylinder unclear, gone through again as often as was said."""
    out = Settling()
    for n in sizes:
        bench = draw_bench(n, runs_of_each, seed * 1000 + n, passes=1, settle_seconds=_settle(n))
        engine, asked = engine_of(bench), {}
        runs = as_runs(bench, run_bench(bench, seed))
        for r, finding in enumerate(find_runs(runs, engine, default_settings())):
            for c in finding.contributions:
                if c.standing is Standing.UNCLEAR and c.repeats_needed is not None:
                    asked.setdefault(c.repeats_needed, []).append((r, c.cylinder))
        for passes, which in sorted(asked.items()):
            _settle_them(out, bench, passes, which, seed)
    return out


def _settle_them(out: Settling, bench: Bench, passes: int, which: list[tuple[int, int]], seed: int) -> None:
    rows = sorted({r for r, _ in which})
    again = replace(
        bench,
        strength=bench.strength[rows],
        fuel=bench.fuel[rows],
        step=bench.step[rows],
        wander=bench.wander[rows],
        drift=bench.drift[rows],
        passes=passes,
    )
    runs = as_runs(again, run_bench(again, seed + passes))
    found = dict(zip(rows, find_runs(runs, engine_of(again), default_settings()), strict=True))
    for r, cylinder in which:
        standing = next(c.standing for c in found[r].contributions if c.cylinder == cylinder)
        strength = float(bench.strength[r, cylinder - 1])
        out.told += 1
        out.settled += standing is not Standing.UNCLEAR
        healthy_accused = strength >= HEALTHY_ABOVE and standing in LOW
        out.wrong += healthy_accused or (strength <= 0.6 and standing in (Standing.EVEN, Standing.STRONG))
