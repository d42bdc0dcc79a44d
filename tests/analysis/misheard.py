"""One misheard reading planted in a run that was read right: whether the sum notices, and what it names."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from journal.analysis.run.find import find_run
from journal.analysis.settings import default_settings
from journal.record.job import Reading, Run
from journal.wording.doubt import alike_numbers
from tests.analysis.simulator import as_runs, draw_bench, engine_of, run_bench

BANDS = {
    "a tenth or more off": (0.1, math.inf),
    "half a tenth to a tenth off": (0.05, 0.1),
    "under half a tenth off": (0.0, 0.05),
}
"""By what fraction, from the first up to the second, a misheard number differs from the right one."""


@dataclass
class Misheard:
    """Counts over planted runs."""

    planted: int = 0
    noticed: int = 0
    named: int = 0
    """The likeliest suspect is the planted reading."""
    right: int = 0
    """And its sound-alike is the number that was really said."""


@dataclass
class Clean:
    """Counts over the same runs with nothing planted."""

    runs: int = 0
    false_alarms: int = 0


def misheard_study(
    runs_of_each: int, seed: int = 7, sizes: tuple[int, ...] = (4, 6, 8)
) -> tuple[dict[str, Misheard], Clean]:
    """A slip of every band in single passes with a baseline before and after; the same runs unplanted give alarms."""
    rng = np.random.default_rng(seed)
    found, clean = {band: Misheard() for band in BANDS}, Clean()
    settings = default_settings()
    for n in sizes:
        bench = draw_bench(n, runs_of_each, seed + n, passes=1, settle_seconds=9.0)
        engine = engine_of(bench)
        for run in as_runs(bench, run_bench(bench, seed)):
            clean.runs += 1
            clean.false_alarms += not find_run(run, engine, settings).trusted
            for band, out in found.items():
                planted = _plant(run, rng, *BANDS[band])
                if planted is None:
                    continue
                wrong, said, entry = planted
                out.planted += 1
                finding = find_run(wrong, engine, settings)
                out.noticed += not finding.trusted
                if finding.suspects and finding.suspects[0].entry == entry:
                    out.named += 1
                    out.right += finding.suspects[0].instead == said
    return found, clean


def _plant(run: Run, rng: np.random.Generator, least: float, most: float) -> tuple[Run, float, str] | None:
    """The run with one reading replaced by a number of this band that it is often heard as; what was said, the entry.

    None where no reading sounds like such a number.
    """
    readings = list(_readings(run))
    for at in rng.permutation(len(readings)):
        reading = readings[at]
        said = reading.value
        assert said is not None
        alike = [(v, p) for v, p in alike_numbers(said) if v > 0 and least * said <= abs(v - said) < most * said]
        if not alike:
            continue
        chances = np.array([p for _, p in alike])
        value = alike[int(rng.choice(len(alike), p=chances / chances.sum()))][0]
        wrong = {reading.entry: replace(reading, value=value)}
        return (
            replace(
                run,
                baselines=tuple(wrong.get(r.entry, r) for r in run.baselines),
                cuts=tuple(wrong.get(r.entry, r) for r in run.cuts),
            ),
            said,
            reading.entry,
        )
    return None


def _readings(run: Run) -> Iterator[Reading]:
    yield from run.baselines
    yield from run.cuts
