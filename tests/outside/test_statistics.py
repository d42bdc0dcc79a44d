"""The analysis' statistics against `scipy.stats`, the `uncertainties` package, enumeration and sampling."""

from itertools import combinations

import numpy as np
import pytest
from scipy import integrate, stats
from uncertainties import ufloat, umath

from journal.analysis.between.shared import chance_of_neighbours, chance_of_sharing
from journal.analysis.run import fit
from journal.analysis.run.display import kept_rounding
from journal.analysis.run.doubt import sum_fits
from journal.analysis.run.fit import believe
from journal.analysis.run.interpolate import interpolation
from journal.analysis.run.limits import limit
from journal.analysis.run.model import model_of, sum_by_itself
from journal.analysis.run.normal import below, between
from journal.analysis.run.readings import take
from journal.analysis.run.strengths import STRONG, WEAK, Priors, chances, moments
from journal.analysis.settings import default_settings
from journal.facts import Baseline, Cut, Engine, RunKind, RunStarted
from tests.analysis.arrange import job_of

SETTINGS = default_settings()
PRIORS = Priors.of(SETTINGS, SETTINGS.noise_fuel, SETTINGS.engine_drift)


def test_the_normal_distribution_is_scipys_far_into_its_tails():
    x = np.linspace(-37, 37, 7401)
    assert below(x) == pytest.approx(stats.norm.cdf(x), rel=1e-12)
    assert np.abs(below(x) / stats.norm.cdf(x) - 1).max() < 1e-8


def test_what_lies_between_two_bounds_is_scipys_with_its_mean_and_variance():
    rng = np.random.default_rng(3)
    low = rng.normal(0, 5, 3000)
    high = low + 0.1 + rng.exponential(2, 3000)
    log_mass, first, second = between(low, high)
    near = np.where(low + high > 0, -high, low), np.where(low + high > 0, -low, high)
    expected = stats.norm.logcdf(near[1]) + np.log1p(-np.exp(stats.norm.logcdf(near[0]) - stats.norm.logcdf(near[1])))
    assert log_mass == pytest.approx(expected, abs=1e-8)
    assert first == pytest.approx(stats.truncnorm.mean(low, high), abs=1e-6)
    assert 1 + second == pytest.approx(stats.truncnorm.var(low, high), abs=5e-6)


def mixture(z: float, spread: float) -> float:
    """The density of a strength before it is read, written down once more."""
    even = 1 - PRIORS.dead - PRIORS.weak - PRIORS.strong
    return float(
        even * stats.norm.pdf(z, 1, spread)
        + PRIORS.dead * stats.norm.pdf(z, 0, PRIORS.nothing)
        + PRIORS.weak * stats.uniform.pdf(z, WEAK[0], WEAK[1] - WEAK[0])
        + PRIORS.strong * stats.uniform.pdf(z, STRONG[0], STRONG[1] - STRONG[0])
    )


@pytest.mark.parametrize(("mean", "u"), [(1.0, 0.02), (0.9, 0.1), (0.6, 0.05), (0.05, 0.08), (-0.1, 0.1), (1.4, 0.3)])
@pytest.mark.parametrize("spread", [0.02, 0.07])
def test_the_mixture_times_a_normal_belief_is_what_integration_finds(mean, u, spread):
    def moment(power: int, top: float = 4.0) -> float:
        marks = [p for p in (0.0, spread, mean, WEAK[1], STRONG[0], 1 - spread, 1.0, 1 + spread) if -1 < p < top]
        found = integrate.quad(
            lambda z: z**power * mixture(z, spread) * stats.norm.pdf(z, mean, u), -1, top, points=marks, limit=400
        )
        return float(found[0])

    whole = moment(0)
    variance = np.array([[u**2]])
    log_mass, middle, own = moments(PRIORS, np.array([[spread]]), np.array([[mean]]), variance)
    assert float(np.exp(log_mass[0, 0])) == pytest.approx(whole, rel=2e-3)
    assert float(middle[0, 0]) == pytest.approx(moment(1) / whole, abs=2e-3)
    assert float(own[0, 0]) == pytest.approx(moment(2) / whole - (moment(1) / whole) ** 2, rel=0.02, abs=1e-5)
    bounds = np.array([0.3, 0.65, 0.85, 1.2])
    under, _, _, _ = chances(PRIORS, np.array([[spread]]), np.array([[mean]]), variance, bounds)
    for bound, chance in zip(bounds, under[:, 0, 0], strict=True):
        assert chance == pytest.approx(moment(0, bound) / whole, abs=2e-3)


@pytest.mark.parametrize("sigma", [0.0, 0.05, 0.1, 0.2, 0.35, 0.6])
def test_what_repeats_keep_of_the_rounding_is_what_sampling_finds(sigma):
    rng = np.random.default_rng(5)
    levels = rng.uniform(0, 1, 4000)
    shown = np.round(levels[:, None] + sigma * rng.standard_normal((4000, 400)))
    kept = float(np.mean((shown.mean(axis=1) - levels) ** 2)) - float(np.mean(shown.var(axis=1))) / 400
    assert kept_rounding(sigma) == pytest.approx(kept, abs=0.0025)


@pytest.mark.parametrize("sigma", [0.0, 0.0005, 0.0015, 0.005, 0.05, 0.2, 0.49])
def test_what_repeats_keep_of_the_rounding_is_the_whole_series(sigma: float):
    """The variance of a uniform error is 1/12; further on, a hundred thousand terms of its Fourier series."""
    j = np.arange(1.0, 100_000.0)
    whole = float(np.sum(np.exp(-4 * np.pi**2 * j**2 * sigma**2) / (2 * np.pi**2 * j**2)))
    assert kept_rounding(sigma) == pytest.approx(whole, rel=2e-4)
    assert kept_rounding(0.0) == pytest.approx(1 / 12, rel=2e-4)
    assert kept_rounding(0.5) == 0.0


def test_the_sum_of_the_shares_and_its_uncertainty_are_those_of_the_uncertainties_package():
    """Log-ratios of cuts to two baselines interpolated in time, with the wander and the rounding of each."""
    said = (Baseline(31.2), Cut(1, 37.5), Cut(2, 38.1), Cut(3, 31.3), Cut(1, 37.1), Baseline(30.6))
    job = job_of(Engine(3), RunStarted(RunKind.IDLE), *said)
    model = model_of(take(job.runs, job.engine), SETTINGS)
    assert model is not None
    total, u = sum_by_itself(model, noise := 0.004)

    def read(value: float):
        return umath.log(ufloat(value, np.hypot(noise * value, 0.1 / np.sqrt(12))))

    first, last = read(31.2), read(30.6)
    shares: dict[int, list] = {}
    for k, cut in enumerate(said[1:-1], start=1):
        weights = interpolation([0.0, 75.0], np.array([15.0 * k]))[0]
        base = weights[0] * first + weights[1] * last
        shares.setdefault(cut.cylinder, []).append(1 - umath.exp(base - read(cut.value)))
    expected = sum(sum(s) / len(s) for s in shares.values())
    assert total == pytest.approx(expected.nominal_value, rel=1e-5)
    assert u == pytest.approx(expected.std_dev, rel=1e-3)


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


def run_of(cylinders: int, *said, held_out: tuple[int, ...] = ()):
    """A run on the model's scale."""
    kind = RunKind.HALF_ENGINE if held_out else RunKind.IDLE
    job = job_of(Engine(cylinders), RunStarted(kind, held_out=held_out), *said)
    model = model_of(take(job.runs, job.engine), SETTINGS)
    assert model is not None
    return model


def test_how_likely_a_limit_is_follows_the_chi_square_of_cuts_that_stop_at_one_number():
    """A variance is a chi-square of its own: that of a governor at its limit, or of cylinders that differ as well."""
    model = run_of(8, Baseline(60.0), *map(Cut, (1, 2, 3, 4), (75.1, 75.0, 60.2, 75.4)), held_out=(5, 6, 7, 8))
    alike = np.array([75.1, 75.0, 75.4])
    still = (0.004 * alike.mean()) ** 2 + 0.1**2 / 12
    differ = still + (SETTINGS.cylinder_spread * (alike.mean() - 60) * alike.mean() / 60) ** 2
    squares = 2 * alike.var(ddof=1)
    likelier = (stats.chi2.pdf(squares / still, 2) / still) / (stats.chi2.pdf(squares / differ, 2) / differ)
    half = limit(model, SETTINGS, held_out=True, speed_held=True)
    assert half.odds == pytest.approx(SETTINGS.wrong_limit_half * likelier)
    assert half.text.startswith("3 cuts stop at about 75.2, more alike than cylinders are: a fuel limit")
    assert limit(model, SETTINGS, held_out=False, speed_held=True).odds == pytest.approx(
        SETTINGS.wrong_limit * likelier
    )
    fell = limit(model, SETTINGS, held_out=True, speed_held=False)
    assert fell.odds == pytest.approx(SETTINGS.wrong_speed_fell * half.odds)


@pytest.mark.parametrize("cuts", [(75.1, 75.0), (60.0, 60.1, 60.0, 60.1), (75.1, 75.0, 60.2, 60.1)])
def test_cuts_too_few_or_no_higher_than_their_baseline_stop_at_no_limit(cuts):
    model = run_of(4, Baseline(60.0), *map(Cut, range(1, len(cuts) + 1), cuts))
    found = limit(model, SETTINGS, held_out=False, speed_held=True)
    assert (found.odds, found.text) == (0.0, "")


@pytest.mark.parametrize("limited", [0.0, 2.0])
def test_a_sum_is_off_where_a_run_that_is_wrong_explains_it_better(limited):
    """By Bayes' rule, densities from `scipy.stats`; what all but the sum says of it is their harmonic mean."""
    flags = []
    for base in np.arange(24.0, 34.0, 0.5):
        model = run_of(6, Baseline(float(base)), *map(Cut, range(1, 7), (36.1, 36.0, 35.8, 36.2, 36.0, 35.9)))
        belief = believe([model.data], model.priors)[0]
        total, u = sum_by_itself(model, belief.noise)
        chance = SETTINGS.engine_proportional
        density = chance * stats.norm.pdf(total, 1, np.hypot(u, SETTINGS.engine_proportional_spread))
        rise = stats.norm.pdf(total, SETTINGS.engine_rise, np.hypot(u, SETTINGS.engine_rise_spread))
        right = 1 / np.average(1 / (density + (1 - chance) * rise), weights=belief.weight)
        off = SETTINGS.wrong_run / 2 + (limited if total < 1 else 0)
        summed, low, high, fits = sum_fits(model, belief, SETTINGS, limited)
        assert fits == ((1 - SETTINGS.wrong_run) * right > off)
        assert summed == total
        assert (high - low) / 3.92 == pytest.approx(np.exp(np.average(np.log(u), weights=belief.weight)))
        flags.append(fits)
    assert {True, False} == set(flags)


def test_each_set_of_noise_nodes_adds_up_to_a_normal_distribution():
    for _, stands_for, places in fit._PLACES:
        assert stands_for * stats.norm.pdf(places).sum() == pytest.approx(1, abs=0.003)
        assert places == pytest.approx(-places[::-1])
