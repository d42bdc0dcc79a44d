"""How likely a governor at its fuel limit is, by how alike its cuts are: against `scipy.stats` and by hand."""

from __future__ import annotations

from statistics import median

import numpy as np
import pytest
from scipy import stats

from journal.analysis.run.limits import Limit, limit
from journal.analysis.run.model import model_of
from journal.analysis.run.readings import take
from journal.analysis.settings import default_settings
from journal.facts import Baseline, Body, Cut, Engine, Quantity, RunKind, RunStarted
from tests.analysis.arrange import job_of

ALIKE = {1: 75.1, 2: 75.0, 3: 60.2, 4: 75.1}


def of(
    cuts: dict[int, float], baseline: float = 60.0, *, held: bool = True, out: bool = True, **start: object
) -> Limit:
    said: list[Body] = [Baseline(baseline), *(Cut(c, v) for c, v in cuts.items())]
    run = RunStarted(RunKind.HALF_ENGINE, held_out=(5, 6, 7, 8), **start)  # type: ignore[arg-type]
    job = job_of(Engine(8), run, *said)
    model = model_of(take(job.runs, job.engine), default_settings())
    assert model is not None
    return limit(model, default_settings(), held_out=out, speed_held=held)


def by_chi_square(values: list[float], baseline: float, step: float) -> float:
    """The density of their spread at a limit over that without one, for the cuts that are no low cylinder's."""
    usual = median(values) - baseline
    level = np.array([v for v in values if v - baseline >= 0.85 * usual])
    at, freedom = level.mean(), len(level) - 1
    still = (0.004 * at) ** 2 + step**2 / 12
    other = (default_settings().cylinder_spread * (at - baseline) * at / baseline) ** 2 + still
    spread = ((level - at) ** 2).sum()
    at_limit, without = (stats.chi2.pdf(spread / scale, freedom) / scale for scale in (still, other))
    return float(at_limit / without)


@pytest.mark.parametrize("values", [[75.1, 75.0, 60.2, 75.1], [75.1, 76.4, 60.2, 73.9], [75.5, 75.2, 75.0, 75.1]])
def test_the_odds_of_a_limit_are_those_of_the_spread_of_its_cuts(values: list[float]) -> None:
    found = of(dict(enumerate(values, start=1)))
    assert found.odds == pytest.approx(default_settings().wrong_limit_half * by_chi_square(values, 60.0, 0.1), rel=1e-6)


def test_with_the_whole_engine_live_a_limit_is_less_likely_beforehand_and_a_fallen_speed_speaks_for_it() -> None:
    settings = default_settings()
    half, whole = of(ALIKE).odds, of(ALIKE, out=False).odds
    assert whole / half == pytest.approx(settings.wrong_limit / settings.wrong_limit_half)
    assert of(ALIKE, held=False).odds / half == pytest.approx(settings.wrong_speed_fell)


def test_it_is_the_fuel_of_one_cylinder_that_stops_where_a_total_rate_is_watched() -> None:
    """Four live: 60 of a baseline is 15 each, 75 of three is 25 each; the same in rates for all enabled ones."""
    rate = {"quantity": Quantity.FUEL_RATE, "unit": "L/h"}
    found = of({c: 0.75 * v for c, v in ALIKE.items()}, **rate)
    assert "3 cuts stop at about 56.3" in found.text


def test_fewer_than_three_cuts_at_one_number_or_half_the_live_ones_say_nothing() -> None:
    assert of({1: 75.1, 2: 75.0}) == Limit()
    assert of({1: 75.1, 2: 75.0, 3: 60.0, 4: 61.0}) == Limit()
    assert of({1: 60.1, 2: 60.0, 3: 60.1, 4: 60.0}) == Limit(), "cuts that change nothing"
    assert of({1: 75.1, 2: 75.0, 3: 75.1}).odds > 0


@pytest.mark.parametrize(("at", "base"), [(80.0, 60.0), (160.0, 120.0)])
def test_it_is_said_where_fewer_than_one_in_five_healthy_engines_have_cuts_so_alike(at: float, base: float) -> None:
    """Cuts around a level of which the middle stays: the further apart the others, the less is said."""
    settings = default_settings()
    still = (0.004 * at) ** 2 + 0.1**2 / 12
    expected = (settings.cylinder_spread * (at - base) * at / base) ** 2 + still
    edge = float(np.sqrt(expected * stats.chi2.ppf(0.2, 3) / 4))
    for part, is_said in ((0.93, True), (1.07, False)):
        cuts = dict(enumerate((at - part * edge, at + part * edge) * 2, start=1))
        assert bool(of(cuts, base).text) is is_said
        assert bool(of(cuts, base, held=False).text)


@pytest.mark.parametrize(("part", "is_said"), [(0.97, True), (1.03, False)])
def test_where_the_speed_fell_it_is_said_of_cuts_no_further_apart_than_healthy_cylinders_make_them(
    part: float, is_said: bool
) -> None:
    at, base = 160.0, 120.0
    healthy = default_settings().cylinder_spread * (at - base) * at / base
    deviation = float(np.sqrt(healthy**2 + (0.004 * at) ** 2 + 0.1**2 / 12))
    away = part * deviation * float(np.sqrt(3 / 4))  # of four at two places, by n - 1
    cuts = dict(enumerate((round(at - away, 4), round(at + away, 4)) * 2, start=1))
    assert bool(of(cuts, base, held=False).text) is is_said
