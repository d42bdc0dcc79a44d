"""One misheard reading planted in a run that was read right: whether the sum notices, and what it names."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from journal.analysis.run.find import find_run
from journal.analysis.settings import default_settings
from journal.record.job import Reading, Run
from journal.wording.doubt import alike_numbers
from tests.analysis.simulator import as_runs, draw_bench, engine_of, run_bench

LARGE = 0.1
"""By what fraction a misheard number must differ from the right one to count as large."""


@dataclass
class Misheard:
    """Counts over planted runs; `large` ones differ by a tenth or more, the others are the rest."""

    planted: int = 0
    noticed: int = 0
    named: int = 0
    """The likeliest suspect is the planted reading."""
    right: int = 0
    """And its sound-alike is the number that was really said."""
    clean: int = 0
    false_alarms: int = 0


def misheard_study(runs_of_each: int, seed: int = 7, sizes: tuple[int, ...] = (4, 6, 8)) -> tuple[Misheard, Misheard]:
    """Large and small slips in single passes with a baseline before and after; the same runs unplanted give alarms."""
    rng = np.random.default_rng(seed)
    large, small = Misheard(), Misheard()
    settings = default_settings()
    for n in sizes:
        bench = draw_bench(n, runs_of_each, seed + n, passes=1, settle_seconds=9.0)
        engine = engine_of(bench)
        for run in as_runs(bench, run_bench(bench, seed)):
            clean = find_run(run, engine, settings)
            large.clean += 1
            large.false_alarms += not clean.trusted
            planted = _plant(run, rng)
            if planted is None:
                continue
            wrong, said, entry = planted
            value = next(r.value for r in (*wrong.baselines, *wrong.cuts) if r.entry == entry)
            assert value is not None
            out = large if abs(value - said) >= LARGE * said else small
            out.planted += 1
            finding = find_run(wrong, engine, settings)
            out.noticed += not finding.trusted
            if finding.suspects and finding.suspects[0].entry == entry:
                out.named += 1
                out.right += finding.suspects[0].instead == said
    return large, small


def _plant(run: Run, rng: np.random.Generator) -> tuple[Run, float, str] | None:
    """The run with one reading replaced by a number that it is often heard as; what was said, and the entry."""
    readings = list(_readings(run))
    for at in rng.permutation(len(readings)):
        reading = readings[at]
        assert reading.value is not None
        alike = [(v, p) for v, p in alike_numbers(reading.value) if v > 0]
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
            reading.value,
            reading.entry,
        )
    return None


def _readings(run: Run) -> Iterator[Reading]:
    yield from run.baselines
    yield from run.cuts
