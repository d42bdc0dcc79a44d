"""The model of a run once more, sampled by `emcee` (Foreman-Mackey et al. 2013), and forty runs with what it found.

`python -m tests.outside.sampler` makes `data/sampled_runs.json` anew (minutes). Nothing of the analysis' inference is
used: the likelihood is written in strengths, of which shares are strengths over their sum, and `scipy.stats`.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy import special

from journal.analysis.run.strengths import STRONG, WEAK, Priors
from journal.analysis.settings import default_settings
from tests.analysis.simulator import Bench, draw_bench, run_bench

DATA = Path(__file__).parent / "data" / "sampled_runs.json"
RUNS = 40
LONGER = (9, 12)
"""Runs of one pass whose walkers find their way slowly."""


@dataclass(frozen=True)
class Read:
    """The readings of a run by fuel per stroke."""

    cylinders: int
    """How many."""
    step: float
    """The display's step."""
    values: tuple[float, ...]
    """The readings."""
    seconds: tuple[float, ...]
    """When each was said."""
    cut: tuple[int, ...]
    """The cylinder that was cut, from 1; 0 for a baseline."""


def priors() -> Priors:
    """What is believed before, as the analysis has it."""
    settings = default_settings()
    return Priors.of(settings, settings.noise_fuel, settings.engine_drift)


class Target:
    """The logarithm of the posterior of a run, for many points at once.

    A point is the strengths, four parts of the level, the rise, and the logarithm of the noise.
    """

    def __init__(self, read: Read) -> None:
        """The run."""
        self.read, self.priors = read, priors()
        self.values = np.array(read.values)
        at = np.array(read.seconds)
        minutes = max(float(np.ptp(at)) / 60, 1.0)
        t = 2 * (at - at.min()) / (60 * minutes) - 1
        self.basis = np.polynomial.legendre.legvander(t, 3)
        typical = np.median(self.values)
        self.low = np.log((self.values - read.step / 2) / typical)
        self.high = np.log((self.values + read.step / 2) / typical)
        self.cut = np.array(read.cut)
        wide = self.priors.drift * max(minutes / self.priors.drift_minutes, 1.0) ** 0.5
        self.level_sd = np.array([1.0, wide, 0.4 * wide, 0.2 * wide])
        middle = (self.low + self.high) / 2
        self.centre = float(np.median(middle[self.cut == 0]))
        rises = [np.median(middle[self.cut == c]) - self.centre for c in range(1, read.cylinders + 1)]
        self.rises = np.array(rises)
        top = np.sort(self.rises)[-((read.cylinders + 1) // 2) :].mean()
        self.size = math.log(1 - math.exp(-max(top, 1e-3)))

    def __call__(self, points: np.ndarray) -> np.ndarray:
        """Shape (P, n + 6) to (P,)."""
        n, p = self.read.cylinders, self.priors
        z, level, rise, log_noise = points[:, :n], points[:, n : n + 4], points[:, n + 4], points[:, n + 5]
        share = z / z.sum(axis=1, keepdims=True)
        bad = (share.max(axis=1) >= 0.999) | (z.sum(axis=1) <= 0.05) | (rise < 0.3) | (rise > 1.7)
        share = np.where(bad[:, None], 1 / n, share)
        effect = -rise[:, None] * np.log1p(-share)
        effect = np.concatenate([np.zeros((len(points), 1)), effect], axis=1)
        x = level @ self.basis.T + effect[:, self.cut]
        noise = np.exp(log_noise)[:, None]
        a, b = (self.low - x) / noise, (self.high - x) / noise
        turned = a + b > 0
        a, b = np.where(turned, -b, a), np.where(turned, -a, b)
        upper = special.log_ndtr(b)
        mass = upper + np.log1p(-np.exp(np.minimum(special.log_ndtr(a) - upper, -1e-15)))
        total = mass.sum(axis=1) + self._strengths(z)
        total -= 0.5 * (((level - [self.centre, 0, 0, 0]) / self.level_sd) ** 2).sum(axis=1)
        normal = -0.5 * ((rise - p.rise) / p.rise_sd) ** 2 - math.log(p.rise_sd) + math.log(1 - p.proportional)
        even = -0.5 * ((rise - 1) / p.proportional_sd) ** 2 - math.log(p.proportional_sd) + math.log(p.proportional)
        total += np.logaddexp(normal, even)
        total -= 0.5 * ((log_noise - math.log(p.noise)) / math.log(p.noise_factor)) ** 2
        total -= 0.5 * ((np.log(1 / np.where(bad, 1.0, z.sum(axis=1))) - self.size) / 0.5) ** 2
        return np.where(bad | ~np.isfinite(total), -np.inf, total)

    def _strengths(self, z: np.ndarray) -> np.ndarray:
        p = self.priors
        even = 1 - p.dead - p.weak - p.strong
        dead = p.dead * np.exp(-0.5 * (z / p.nothing) ** 2) / p.nothing / math.sqrt(2 * math.pi)
        flat = p.weak * ((z > WEAK[0]) & (z < WEAK[1])) / (WEAK[1] - WEAK[0])
        flat = flat + p.strong * ((z > STRONG[0]) & (z < STRONG[1])) / (STRONG[1] - STRONG[0])
        spreads, weights = p.spreads()
        each = []
        for spread, weight in zip(spreads, weights, strict=True):
            healthy = even * np.exp(-0.5 * ((z - 1) / spread) ** 2) / spread / math.sqrt(2 * math.pi)
            each.append(weight + np.log(healthy + dead + flat + 1e-300).sum(axis=1))
        return np.logaddexp.reduce(each, axis=0)

    def start(self, walkers: int, rng: np.random.Generator) -> np.ndarray:
        """Points around a first guess."""
        n = self.read.cylinders
        guess = np.clip(1 - np.exp(-self.rises), 0.002, 0.95)
        z = guess / np.exp(self.size) * (1 + 0.05 * rng.standard_normal((walkers, n)))
        level = [self.centre, 0, 0, 0] + 0.002 * rng.standard_normal((walkers, 4))
        rise = np.clip(0.97 + 0.03 * rng.standard_normal((walkers, 1)), 0.8, 1.1)
        noise = math.log(self.priors.noise) + 0.5 * rng.standard_normal((walkers, 1))
        return np.concatenate([z, level, rise, noise], axis=1)


def sampled(read: Read, steps: int, burn: int, seed: int, walkers: int = 48) -> dict[str, list[float]]:
    """Means and the ends of 95 % intervals of the shares, by an ensemble of walkers."""
    import emcee

    target = Target(read)
    rng = np.random.default_rng(seed)
    moves = [(emcee.moves.DEMove(), 0.7), (emcee.moves.DESnookerMove(), 0.1), (emcee.moves.StretchMove(), 0.2)]
    sampler = emcee.EnsembleSampler(walkers, read.cylinders + 6, target, moves=moves, vectorize=True)
    sampler.random_state = np.random.RandomState(seed).get_state()
    sampler.run_mcmc(target.start(walkers, rng), steps)
    z = sampler.get_chain(discard=burn, thin=10, flat=True)[:, : read.cylinders]
    share = z / z.sum(axis=1, keepdims=True)
    low, high = np.quantile(share, [0.025, 0.975], axis=0)
    return {"mean": share.mean(axis=0).round(5).tolist(), "low": low.round(5).tolist(), "high": high.round(5).tolist()}


def runs() -> list[Read]:
    """Forty simulated runs: four and six cylinders, one to three passes, fine and coarse displays, some idle fuel."""
    found = []
    for k in range(RUNS):
        n = (4, 6)[k % 2]
        bench: Bench = draw_bench(
            n,
            1,
            100 + k,
            passes=1 + k % 3,
            settle_seconds=9.0,
            step=np.array([(0.1, 1.0)[k // 2 % 2]]),
            wander=np.array([(0.002, 0.006, 0.012)[k // 4 % 3]]),
            idle_fuel_share=(0.0, 0.0, 0.1)[k // 5 % 3],
        )
        read = run_bench(bench, 200 + k)
        values, cut = [], []
        for number in range(bench.passes + 1):
            values.append(read.baselines[0, number])
            cut.append(0)
            if number < bench.passes:
                values += read.cuts[0, number].tolist()
                cut += range(1, n + 1)
        step = float(bench.step[0])
        seconds = tuple(15.0 * i for i in range(len(values)))
        found.append(Read(n, step, tuple(round(float(v), 1) for v in values), seconds, tuple(cut)))
    return found


def main() -> None:
    """Sample every run and keep what was found."""
    kept = []
    for k, read in enumerate(runs()):
        steps, seed = (6000, k + 100) if k in LONGER else (2600, k)
        result = sampled(read, steps, steps // 3, seed)
        kept.append(
            {"cylinders": read.cylinders, "step": read.step, "values": read.values, "cut": read.cut, "shares": result}
        )
        print(k, result["mean"], flush=True)
    DATA.parent.mkdir(exist_ok=True)
    DATA.write_text("[\n" + ",\n".join(map(json.dumps, kept)) + "\n]\n", encoding="utf-8")


if __name__ == "__main__":
    main()
