"""Whether 95 % intervals of the shares hold, cell by cell: one thing of the simulated engine is changed at a time.

The engines are those of `simulator`, none of whose formulas the analysis uses. Each cell says how its engines are
driven and read; a third of the engines of every cell has one or two faulty cylinders.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from journal.analysis.findings import Standing
from journal.analysis.run.find import LOW, find_runs
from journal.analysis.settings import default_settings
from tests.analysis.simulator import Bench, as_runs, draw_bench, engine_of, run_bench

SIZES = (4, 6, 8)


@dataclass(frozen=True)
class Cell:
    """How the engines of a cell are driven and read."""

    name: str
    passes: int = 2
    step: float = 0.1
    noise: float = 0.01
    idle: float = 0.0
    power: float = 1.0
    shape: str = "line"
    drift: float = 0.03
    hunting: float = 0.0
    tails: float = math.inf
    spread: float = 0.03


def cells() -> list[Cell]:
    """Every cell: passes, display and noise crossed with idle fuel; then one thing at a time."""
    grid = [
        Cell(f"{p} passes, step {h:g}, noise {100 * v:g} %, idle {100 * q:g} %", p, h, v, q)
        for p in (1, 2, 3)
        for h in (0.1, 1.0)
        for v in (0.003, 0.01, 0.017)
        for q in (0.0, 0.1, 0.2)
    ]
    one, rest = Cell(""), []
    for passes in (1, 3):
        again = replace(one, passes=passes)
        for power in (0.9, 1.1):
            rest.append(replace(again, name=f"fuel to the power {power:g}, {passes} passes", power=power))
        for shape in ("settling", "wave"):
            rest.append(replace(again, name=f"drift like a {shape}, {passes} passes", shape=shape, noise=0.003))
        rest.append(replace(again, name=f"noise with the tails of Student's t (3), {passes} passes", tails=3.0))
        for spread in (0.015, 0.06):
            rest.append(replace(again, name=f"healthy spread {100 * spread:g} %, {passes} passes", spread=spread))
    for swing in (0.005, 0.015):
        rest.append(replace(one, name=f"hunting of {100 * swing:g} %", hunting=swing, noise=0.003))
    return grid + rest


def benches(cell: Cell, engines: int, seed: int) -> Iterator[Bench]:
    """The cell's engines, as many of each size."""
    for n in SIZES:
        rng = np.random.default_rng((seed, n))
        strength = 1 + cell.spread * np.clip(rng.standard_normal((engines, n)), -2.5, 2.5)
        for engine in strength[: engines // 3]:
            for c in rng.choice(n, rng.integers(1, 3), replace=False):
                engine[c] = 0.0 if rng.random() < 0.4 else rng.uniform(0.05, 0.8)
        yield draw_bench(
            n,
            engines,
            seed + n,
            passes=cell.passes,
            strength=strength,
            fuel=np.exp(rng.uniform(math.log(12), math.log(45), engines)),
            step=np.full(engines, cell.step),
            wander=np.full(engines, cell.noise),
            drift=rng.uniform(-cell.drift, cell.drift, engines),
            idle_fuel_share=cell.idle,
            power=cell.power,
            drift_shape=cell.shape,
            hunting=cell.hunting,
            tails=cell.tails,
            settle_seconds=5.0 if n > 6 else 9.0,
        )


@dataclass
class Covered:
    """What became of a cell."""

    cylinders: int = 0
    inside: int = 0
    runs: int = 0
    distrusted: int = 0
    healthy: int = 0
    accused: int = 0
    dead: int = 0
    """Healthy cylinders called dead."""
    low: int = 0
    """Cylinders of 60 % or less."""
    found: int = 0
    missed: int = 0
    """Of those, called even or strong."""
    width: float = 0.0
    """Sum of the intervals' widths, in shares of an even cylinder."""

    @property
    def share(self) -> float:
        """Per cent of the true shares inside their intervals."""
        return 100 * self.inside / self.cylinders


def cover(cell: Cell, engines: int, seed: int) -> Covered:
    """Run a cell's engines through the analysis and count."""
    out = Covered()
    for bench in benches(cell, engines, seed):
        read = run_bench(bench, seed)
        engine = engine_of(bench)
        for r, found in enumerate(find_runs(as_runs(bench, read), engine, default_settings())):
            out.runs += 1
            out.distrusted += not found.trusted
            for c in found.contributions:
                truth, strength = read.share[r][c.cylinder - 1], bench.strength[r][c.cylinder - 1]
                out.cylinders += 1
                out.inside += c.low <= truth <= c.high
                out.width += (c.high - c.low) * bench.cylinders
                called_low = c.standing in LOW
                out.healthy += strength > 0.82
                out.accused += strength > 0.82 and called_low
                out.dead += strength > 0.82 and c.standing is Standing.DEAD
                out.low += strength <= 0.6
                out.found += strength <= 0.6 and called_low
                out.missed += strength <= 0.6 and c.standing in (Standing.EVEN, Standing.STRONG)
    return out
