"""An engine run in two jobs: what the first does to the intervals of the second, whether it is as it was or not."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from journal.analysis.run.find import LOW, find_runs
from journal.analysis.settings import default_settings
from tests.analysis.coverage import SIZES, Cell, benches
from tests.analysis.simulator import Bench, as_runs, engine_of, run_bench


@dataclass
class Told:
    """Counts over today's cylinders."""

    cylinders: int = 0
    inside: int = 0
    """Whose true share lies in its 95 % interval."""
    width: float = 0.0
    """Sum of the intervals' widths, in shares of an even cylinder."""
    accused: int = 0
    """Healthy ones called low."""

    @property
    def covered(self) -> float:
        """Per cent of true shares in their intervals."""
        return 100 * self.inside / self.cylinders


def twice(then: Cell, now: Cell, engines: int, seed: int) -> tuple[Told, Told]:
    """Today's runs without the earlier job, and with it; the engines have the strengths and the fuel they had then.

    Where healthy cylinders are to differ more or less than then, each differs by so much more or less.
    """
    alone, helped = Told(), Told()
    for n, was, today in zip(SIZES, benches(then, engines, seed), benches(now, engines, seed), strict=True):
        healthy = was.strength > 0.85
        strength = np.where(healthy, 1 + now.spread / then.spread * (was.strength - 1), was.strength)
        today = replace(today, strength=strength, fuel=was.fuel)
        engine = engine_of(today)
        before = find_runs(as_runs(was, run_bench(was, seed)), engine, default_settings())
        read = run_bench(today, seed + 1000 + n)
        runs = as_runs(today, read)
        learnt = {run.id: then.learnt for run, then in zip(runs, before, strict=True) if then.learnt is not None}
        for told, start in ((alone, {}), (helped, learnt)):
            found = find_runs(runs, engine, default_settings(), start)
            _count(told, today, read.share, [run.contributions for run in found])
    return alone, helped


def _count(told: Told, bench: Bench, truth: np.ndarray, found: list) -> None:
    for shares, strengths, contributions in zip(truth, bench.strength, found, strict=True):
        for c in contributions:
            told.cylinders += 1
            told.inside += c.low <= shares[c.cylinder - 1] <= c.high
            told.width += (c.high - c.low) * bench.cylinders
            told.accused += strengths[c.cylinder - 1] > 0.85 and c.standing in LOW
