"""An engine in the time domain, cut out cylinder by cylinder: many runs at once, with the truth known.

Nothing here uses the formulas of the analysis. Each run is an engine with its own crank inertia, friction that grows
with speed and falls as it warms, a load, a strength for each cylinder, and a governor (proportional and integral, on
the speed of the last cycle, with a fuel limit). It is stepped from firing to firing: the cylinder whose turn it is adds
the work its fuel makes, the load and the friction take theirs, the crank's kinetic energy and with it the speed follow,
and the governor sets the next stroke's fuel. A cylinder that is cut gets none. The display shows the commanded fuel
through its own lag, wanders, and rounds. All figures are the author's choice of ordinary ones, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from journal.facts import Engine, Quantity, RunKind, RunStarted
from journal.record.job import Reading, Run
from tests.analysis.arrange import START

FIRING_ORDERS = {
    3: (1, 3, 2),
    4: (1, 3, 4, 2),
    5: (1, 2, 4, 5, 3),
    6: (1, 5, 3, 6, 2, 4),
    8: (1, 8, 4, 3, 6, 5, 7, 2),
}
"""Common orders; the others fire by number here."""

SECONDS_BETWEEN_READINGS = 15.0
"""How far apart two readings are said."""


@dataclass(frozen=True)
class Bench:
    """What is run; one value for each of R engines where an array is asked for."""

    cylinders: int
    """How many each engine has."""
    strength: np.ndarray
    """Shape (R, cylinders): work per unit of fuel against an even cylinder's 1."""
    fuel: np.ndarray
    """Shape (R,): fuel per stroke that an all-even engine would need, mm3."""
    step: np.ndarray
    """Shape (R,): display step, mm3."""
    wander: np.ndarray
    """Shape (R,): standard deviation of the display's own wander, as a fraction of the reading."""
    drift: np.ndarray
    """Shape (R,): by what fraction friction and load change from the first reading to the last."""
    passes: int = 3
    """How often the whole engine is gone through; a baseline before each pass and one at the end."""
    idle_fuel_share: float = 0.0
    """Fuel that makes no torque, as a fraction of `fuel`."""
    limit: float = 6.0
    """The governor's fuel limit, as a multiple of `fuel`."""
    held_out: tuple[int, ...] = ()
    """Cylinders that get no fuel throughout."""
    settle_seconds: float = 5.0
    """How long the engine is let settle before the display is read."""
    substeps: int = 1
    """Steps in which each firing interval is integrated, the work spread over them as half a sine."""
    power: float = 1.0
    """A cylinder's work grows with its fuel to this power."""
    drift_shape: str = "line"
    """How the drift goes through the run: `line`, `settling` (fast, then slow) or `wave` (there and half back)."""
    hunting: float = 0.0
    """By what fraction the governor's fuel swings up and down by itself, once in three seconds."""
    tails: float = math.inf
    """The display's wander is Student's t with so many degrees of freedom, of the same standard deviation."""


@dataclass(frozen=True)
class Readings:
    """What was read, and the truth."""

    baselines: np.ndarray
    """Shape (R, passes + 1), mm3 as displayed."""
    cuts: np.ndarray
    """Shape (R, passes, live cylinders), in number order."""
    share: np.ndarray
    """Shape (R, live cylinders): each one's true share of the work per unit of fuel."""
    speed: np.ndarray
    """Shape (R, readings): the speed when each was read, in order, rpm."""


_HUNTING_SECONDS = 3.0
_SHAPES = {
    "line": lambda progress: progress,
    "settling": lambda progress: (1 - math.exp(-3 * progress)) / (1 - math.exp(-3)),
    "wave": lambda progress: math.sin(0.75 * math.pi * progress),
}


def run_bench(bench: Bench, seed: int) -> Readings:
    """Go through the procedure on every engine of the bench."""
    return _Engines(bench, np.random.default_rng(seed)).procedure()


class _Engines:
    """R engines on the bench, with their state."""

    def __init__(self, bench: Bench, rng: np.random.Generator) -> None:
        self.bench, self.rng = bench, rng
        runs = len(bench.fuel)
        n = bench.cylinders
        self.order = FIRING_ORDERS.get(n, tuple(range(1, n + 1)))
        self.live = [c for c in range(1, n + 1) if c not in bench.held_out]
        self.target = rng.uniform(650, 800, runs) * math.pi / 30  # rad/s
        self.asked = rng.uniform(100, 200, runs)  # N.m that friction and load take at the target speed
        self.inertia = self.asked / rng.uniform(35, 60, runs)  # kg.m2, from the fall of speed without fuel, rad/s2
        self.interval = 4 * math.pi / n  # crank angle between firings of a four-stroke
        self.counting = bench.fuel * (1 - bench.idle_fuel_share)  # mm3 that make torque
        self.work = self.asked * self.interval / self.counting  # J per mm3 that counts
        self.phase = rng.uniform(0, 2 * math.pi, runs)
        self.seconds = np.zeros(runs)
        self.idle_fuel = bench.idle_fuel_share * bench.fuel
        self.omega = self.target.copy()
        self.cycle = np.repeat(self.target[None], n, axis=0)
        self.integral = np.ones(runs) * n / len(self.live)
        self.command = bench.fuel * self.integral
        self.shown = self.command.copy()
        self.lag_shown = 0.5  # s
        self.proportional, self.integrating = 6.0, 6.0
        pulse = np.sin(math.pi * (np.arange(bench.substeps) + 0.5) / bench.substeps)
        self.pulse = pulse / pulse.sum()
        self.strength = bench.strength
        self.fired = 0
        self.speeds: list[np.ndarray] = []

    def procedure(self) -> Readings:
        bench = self.bench
        last = bench.passes * (len(self.live) + 1)
        baselines, cuts = [], []
        for number in range(bench.passes):
            start = number * (len(self.live) + 1)
            baselines.append(self._read(None, start / last))
            cuts.append([self._read(c, (start + 1 + k) / last) for k, c in enumerate(self.live)])
        baselines.append(self._read(None, 1.0))
        strength = bench.strength[:, [c - 1 for c in self.live]]
        return Readings(
            np.stack(baselines, axis=1),
            np.moveaxis(np.array(cuts), 2, 0),
            strength / strength.sum(axis=1, keepdims=True),
            np.stack(self.speeds, axis=1) * 30 / math.pi,
        )

    def _read(self, cut: int | None, progress: float) -> np.ndarray:
        asked = self.asked * (1 + self.bench.drift * _SHAPES[self.bench.drift_shape](progress))
        firings = int(self.bench.settle_seconds * 725 / 120 * self.bench.cylinders)
        for _ in range(firings):
            self._fire(self.order[self.fired % len(self.order)], cut, asked)
        self.speeds.append(self.cycle.mean(axis=0))
        self.phase = self.phase + self.rng.uniform(0, 2 * math.pi, len(self.phase)) * (self.bench.hunting > 0)
        noisy = self.shown * (1 + self.bench.wander * self._wander())
        return np.round(noisy / self.bench.step) * self.bench.step

    def _wander(self) -> np.ndarray:
        freedom, runs = self.bench.tails, len(self.shown)
        if math.isinf(freedom):
            return self.rng.standard_normal(runs)
        return self.rng.standard_t(freedom, runs) / math.sqrt(freedom / (freedom - 2))

    def _fire(self, cylinder: int, cut: int | None, asked: np.ndarray) -> None:
        bench = self.bench
        gained = 0.0
        if cylinder != cut and cylinder not in bench.held_out:
            steady = 1 + 0.015 * self.rng.standard_normal(len(asked))  # no two combustions are alike
            useful = np.maximum(self.command - self.idle_fuel, 0.0)
            if bench.power != 1.0:
                useful = self.counting * (useful / self.counting) ** bench.power
            gained = self.work * self.strength[:, cylinder - 1] * useful * steady
        elapsed = 0.0
        for part in self.pulse:
            # Friction has a part that grows with speed; the load is held.
            taken = asked * (0.6 + 0.4 * self.omega / self.target) * self.interval / bench.substeps
            energy = self.omega**2 + 2 * (gained * part - taken) / self.inertia
            before = self.omega
            self.omega = np.sqrt(np.maximum(energy, (0.2 * self.target) ** 2))
            elapsed = elapsed + 2 * self.interval / bench.substeps / (before + self.omega)
        self.cycle[self.fired % len(self.cycle)] = self.omega
        self.fired += 1
        error = 1 - self.cycle.mean(axis=0) / self.target
        limit = bench.limit * np.ones(len(error))
        wanted = self.integral + self.integrating * error * elapsed
        relative = wanted + self.proportional * error
        held = relative > limit
        self.integral = np.where(held, self.integral, wanted)
        self.seconds = self.seconds + elapsed
        swing = bench.hunting * np.sin(self.phase + 2 * math.pi * self.seconds / _HUNTING_SECONDS)
        self.command = bench.fuel * np.clip(relative, 0.0, limit) * (1 + swing)
        self.shown += (self.command - self.shown) * np.minimum(elapsed / self.lag_shown, 1.0)


def as_runs(bench: Bench, readings: Readings, first_entry: int = 0) -> list[Run]:
    """The readings as the runs of jobs, a run for each engine."""
    live = [c for c in range(1, bench.cylinders + 1) if c not in bench.held_out]
    kind = RunKind.HALF_ENGINE if bench.held_out else RunKind.IDLE
    start = RunStarted(kind, Quantity.FUEL_PER_STROKE, "mm3", held_out=bench.held_out)
    moments = [
        START + timedelta(seconds=SECONDS_BETWEEN_READINGS * k) for k in range(bench.passes * (len(live) + 1) + 1)
    ]
    base_rows, cut_rows = readings.baselines.tolist(), readings.cuts.tolist()
    decimals = np.where(bench.step < 0.99, 1, 0)
    runs = []
    for r, (bases, cuts) in enumerate(zip(base_rows, cut_rows, strict=True)):
        places = int(decimals[r])
        said_bases, said_cuts, k = [], [], 0
        for number in range(bench.passes + 1):
            said_bases.append(_reading(k, moments[k], round(bases[number], places), None))
            k += 1
            if number < bench.passes:
                for c, value in zip(live, cuts[number], strict=True):
                    said_cuts.append(_reading(k, moments[k], round(value, places), c))
                    k += 1
        runs.append(
            Run(
                id=f"run-{first_entry + r}",
                number=1,
                start=start,
                started_at=START,
                ended_at=moments[-1],
                baselines=tuple(said_bases),
                cuts=tuple(said_cuts),
            )
        )
    return runs


def _reading(k: int, at, value: float, cylinder: int | None) -> Reading:  # type: ignore[no-untyped-def]
    return Reading(f"e{k}", at, Quantity.FUEL_PER_STROKE, value, "mm3", cylinder)


def engine_of(bench: Bench) -> Engine:
    """The engine's layout."""
    n = bench.cylinders
    return Engine(n, FIRING_ORDERS.get(n, tuple(range(1, n + 1))))


def draw_bench(cylinders: int, runs: int, seed: int, **changes: object) -> Bench:
    """Engines of the study: 0, 1 or 2 faults from dead to 80 %, display steps of 0.1 and 1, drift, three passes."""
    rng = np.random.default_rng(seed)
    strength = 1 + 0.03 * np.clip(rng.standard_normal((runs, cylinders)), -2.5, 2.5)
    faults = rng.integers(0, 3, runs)
    for r, count in enumerate(faults):
        for c in rng.choice(cylinders, count, replace=False):
            strength[r, c] = 0.0 if rng.random() < 0.4 else rng.uniform(0.05, 0.8)
    bench = {
        "cylinders": cylinders,
        "strength": strength,
        "fuel": np.exp(rng.uniform(math.log(10), math.log(70), runs)),
        "step": np.where(rng.random(runs) < 0.5, 0.1, 1.0),
        "wander": rng.uniform(0.001, 0.006, runs),
        "drift": rng.uniform(-0.06, 0.03, runs),
    }
    return Bench(**(bench | changes))  # type: ignore[arg-type]
