"""Simulated governors that reach their fuel limit, and ones that do not: how often the sum says so."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from journal.analysis.run.find import find_run
from journal.analysis.settings import default_settings
from journal.facts import Quantity
from journal.record.job import Reading, Run
from tests.analysis.simulator import as_runs, draw_bench, engine_of, run_bench

TOO_HIGH = 1.12
"""By how much the baseline of a run without a limit is entered too high, so that its sum is as short."""


@dataclass
class Limits:
    """Counts over runs."""

    short: int = 0
    """The sum of the shares is called wrong and is below one."""
    named: int = 0
    """And a fuel limit is among the explanations."""


def limit_study(runs: int, seed: int, *, speeds: bool = False) -> tuple[Limits, Limits]:
    """Runs with four of eight held out, each gone through once: governors at a limit, and ones with none in the way.

    With `speeds`, the speed is said with every reading.
    """
    limited, free = Limits(), Limits()
    for out, limit in ((limited, 2.4), (free, 6.0)):
        bench = draw_bench(
            8,
            runs,
            seed,
            passes=1,
            settle_seconds=9.0,
            held_out=(5, 6, 7, 8),
            limit=limit,
            step=np.full(runs, 0.1),
            strength=1 + 0.03 * np.clip(np.random.default_rng(seed).standard_normal((runs, 8)), -2.5, 2.5),
        )
        read = run_bench(bench, seed)
        for run, speed in zip(as_runs(bench, read), read.speed, strict=True):
            if speeds:
                run = replace(run, conditions=tuple(_speed(run, value) for value in speed))
            finding = find_run(run if out is limited else _raised(run), engine_of(bench), default_settings())
            out.short += not finding.trusted and (finding.total or 1.0) < 1
            out.named += any("fuel limit" in remark.text for remark in finding.remarks)
    return limited, free


def _raised(run: Run) -> Run:
    return replace(run, baselines=tuple(replace(r, value=round(TOO_HIGH * (r.value or 0.0), 1)) for r in run.baselines))


def _speed(run: Run, value: float) -> Reading:
    return Reading("speed", run.started_at, Quantity.ENGINE_SPEED, round(float(value)), "rpm")
