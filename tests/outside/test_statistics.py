"""The analysis' statistics against `scipy.stats`, the `uncertainties` package, enumeration and sampling."""

import math
from itertools import combinations
from statistics import NormalDist

import numpy as np
import pytest
from scipy import stats
from uncertainties import correlated_values, ufloat

from journal.analysis.contributions import worth
from journal.analysis.display import changing_variance, coverage_factor, kept_rounding, rounding_covariance, t_factor
from journal.analysis.interpolate import interpolation
from journal.analysis.propagation import Propagation
from journal.analysis.readings import Measured, take
from journal.analysis.repeats import _NORMAL
from journal.analysis.settings import default_settings
from journal.analysis.shared import chance_of_neighbours, chance_of_sharing
from journal.facts import Baseline, Cut, Engine, Quantity, RunKind, RunStarted
from tests.analysis.arrange import job_of


@pytest.mark.parametrize("freedom", [3, 4, 5, 8, 15, 40, 1000])
def test_the_t_factor_is_scipys(freedom):
    assert t_factor(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=3e-3)


@pytest.mark.parametrize("freedom", [5, 8, 15, 40])
def test_the_coverage_factor_covers_what_it_says_when_a_variance_is_only_expected(freedom):
    """A variance drawn from a scaled inverse chi-square, a value drawn with it (JCGM 101:2008, 6.4.9)."""
    variance = stats.invgamma.rvs(freedom / 2, scale=freedom / 2, size=400_000, random_state=4)
    value = np.sqrt(variance) * np.random.default_rng(5).standard_normal(400_000)
    reach = coverage_factor(freedom) * np.sqrt(stats.invgamma.mean(freedom / 2, scale=freedom / 2))
    assert np.mean(np.abs(value) < reach) == pytest.approx(0.95, abs=0.002)


def test_the_robust_scale_is_scipys_median_absolute_deviation():
    values = np.random.default_rng(3).normal(size=4001)
    ours = _NORMAL * np.median(np.abs(values - np.median(values)))
    assert ours == pytest.approx(stats.median_abs_deviation(values, scale="normal"), rel=1e-4)
    assert pytest.approx(1 / NormalDist().inv_cdf(0.75), abs=1e-4) == _NORMAL


@pytest.mark.parametrize("sigma", [0.0, 0.05, 0.1, 0.2, 0.35, 0.6])
def test_what_repeats_keep_of_the_rounding_is_what_sampling_finds(sigma):
    rng = np.random.default_rng(5)
    levels = rng.uniform(0, 1, 4000)
    shown = np.round(levels[:, None] + sigma * rng.standard_normal((4000, 400)))
    kept = float(np.mean((shown.mean(axis=1) - levels) ** 2)) - float(np.mean(shown.var(axis=1))) / 400
    assert kept_rounding(sigma) == pytest.approx(kept, abs=0.0025)
    assert changing_variance(sigma, 1.0) == pytest.approx(float(np.mean(shown.var(axis=1))), abs=0.0035)


@pytest.mark.parametrize("apart", [0.0, 0.13, 0.5, 0.8, 2.3])
@pytest.mark.parametrize("sigma", [0.0, 0.15])
def test_rounding_of_a_level_that_moved_covaries_as_sampling_finds(apart, sigma):
    rng = np.random.default_rng(6)
    levels = rng.uniform(0, 1, 6000)

    def error(level):
        return np.round(level[:, None] + sigma * rng.standard_normal((6000, 150))).mean(axis=1) - level

    found = float(np.mean(error(levels) * error(levels + apart)))
    ours = rounding_covariance(np.array([apart]), np.zeros(1), changing_variance(sigma, 1.0), 1.0)
    assert float(ours[0]) == pytest.approx(found, abs=0.004)


@pytest.mark.parametrize("apart", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("unsure", [0.1, 0.25])
@pytest.mark.parametrize("sigma", [0.0, 0.15])
def test_a_move_that_is_not_known_for_sure_covaries_as_sampling_finds(apart, unsure, sigma):
    rng = np.random.default_rng(8)
    levels, moved = rng.uniform(0, 1, 20_000), apart + unsure * rng.standard_normal(20_000)

    def error(level):
        return np.round(level[:, None] + sigma * rng.standard_normal((20_000, 40))).mean(axis=1) - level

    found = float(np.mean(error(levels) * error(levels + moved)))
    ours = rounding_covariance(np.array([apart]), np.array([unsure]), changing_variance(sigma, 1.0), 1.0)
    assert float(ours[0]) == pytest.approx(found, abs=0.003)


@pytest.mark.parametrize("repeats", [1, 3, 6])
def test_two_levels_read_the_same_every_time_as_often_as_the_formula_says(repeats):
    """What a coarse display hides: D steps apart, K places between two steps, the same each time with (1 - D)^K."""
    level = np.random.default_rng(9).uniform(0, 1, (200_000, repeats))
    for apart in (0.1, 0.4, 0.7):
        same = np.all(np.round(level) == np.round(level + apart), axis=1)
        assert np.mean(same) == pytest.approx((1 - apart) ** repeats, abs=0.004)


def test_a_share_and_its_uncertainty_are_those_of_the_uncertainties_package():
    """Independent readings with one standard uncertainty each: 1 - b/c, and the sum, whose baseline is common."""
    cuts = {1: 37.5, 2: 38.1, 3: 31.3, 4: 37.2}
    run = Propagation(
        [Measured(31.2, 0.1, 0.0, "b")],
        [Measured(v, 0.1, float(k), "c", cylinder=k) for k, v in cuts.items()],
        default_settings(),
        fuel=True,
        q0=0.0,
        scale=(1, 1),
    )
    changing = 0.09  # far above the display's step, so that nothing of the rounding is kept
    covariance, fixed = run.covariance(changing)
    b = ufloat(31.2, 0.3)
    shares = [1 - b / ufloat(v, 0.3) for v in cuts.values()]
    assert fixed == pytest.approx(0.0, abs=1e-9)
    assert np.sqrt(np.diag(covariance)) == pytest.approx([s.std_dev for s in shares], rel=1e-9)
    assert math.sqrt(covariance.sum()) == pytest.approx(sum(shares).std_dev, rel=1e-9)


def test_interpolated_baselines_repeats_and_idle_fuel_propagate_as_in_the_uncertainties_package():
    q0, changing = 2.5, 0.04
    baselines = [Measured(v, 0.01, t, "b") for v, t in ((31.2, 0.0), (30.8, 50.0), (30.1, 120.0))]
    cuts = [(1, 37.5, 10.0), (2, 38.1, 30.0), (1, 37.1, 70.0), (2, 37.7, 90.0), (3, 30.9, 60.0)]
    measured = [Measured(v, 0.01, t, "c", cylinder=c) for c, v, t in cuts]
    run = Propagation(baselines, measured, default_settings(), fuel=True, q0=q0, scale=(1, 1))
    covariance, _ = run.covariance(changing)
    u = math.sqrt(changing)
    b = [ufloat(m.value, u) for m in baselines]
    weights = interpolation([m.seconds for m in baselines], [m.seconds for m in measured])
    pulls = {1: [], 2: [], 3: []}
    for (c, v, _), row in zip(cuts, weights, strict=True):
        base = sum(w * x for w, x in zip(row, b, strict=True))
        pulls[c].append(1 - (base - q0) / (ufloat(v, u) - q0))
    means = [sum(p) / len(p) for p in pulls.values()]
    expected = np.array([[_covariance(x, y) for y in means] for x in means])
    assert covariance == pytest.approx(expected, rel=1e-4)
    assert run.mean(run.pulls[0]) == pytest.approx([m.nominal_value for m in means])


def _covariance(x, y):
    return (x + y).std_dev ** 2 / 4 - (x - y).std_dev ** 2 / 4


def test_a_drop_as_share_of_the_sum_propagates_as_in_the_uncertainties_package():
    start = RunStarted(RunKind.IDLE, Quantity.ENGINE_SPEED, "rpm")
    job = job_of(Engine(3), start, Baseline(700), Cut(1, 640), Cut(2, 655), Cut(3, 649))
    done = worth(take(job.runs, job.engine), default_settings())
    assert done is not None
    drops = correlated_values(done.pull, done.covariance)
    from journal.analysis.run_findings import _shares

    shares, covariance = _shares(take(job.runs, job.engine), done)
    expected = [d / sum(drops) for d in drops]
    assert shares == pytest.approx([e.nominal_value for e in expected])
    assert np.sqrt(np.diag(covariance)) == pytest.approx([e.std_dev for e in expected], rel=1e-6)


@pytest.mark.parametrize(
    ("sizes", "n", "low", "together"), [((4, 4), 8, 2, 2), ((3, 3), 6, 3, 2), ((2, 2, 2), 8, 3, 2)]
)
def test_the_chance_of_sharing_is_what_counting_every_case_finds(sizes, n, low, together):
    groups, at = [], 0
    for size in sizes:
        groups.append(set(range(at, at + size)))
        at += size
    cases = list(combinations(range(n), low))
    hits = sum(any(len(group & set(case)) >= together for group in groups) for case in cases)
    assert chance_of_sharing(sizes, n, low, together) == pytest.approx(hits / len(cases))


def test_the_chance_of_one_group_is_scipys_hypergeometric():
    assert chance_of_sharing([5], 12, 4, 3) == pytest.approx(stats.hypergeom.sf(2, 12, 5, 4))


@pytest.mark.parametrize(("rows", "low"), [((6,), 2), ((4, 4), 3), ((8,), 4)])
def test_the_chance_of_neighbours_is_what_counting_every_case_finds(rows, low):
    places = [(r, k) for r, row in enumerate(rows) for k in range(row)]
    cases = list(combinations(places, low))
    hits = sum(any(a[0] == b[0] and abs(a[1] - b[1]) == 1 for a, b in combinations(case, 2)) for case in cases)
    assert chance_of_neighbours(rows, low) == pytest.approx(hits / len(cases))
