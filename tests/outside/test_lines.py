"""The line through strengths against the worked examples of ISO/TS 28037:2010, 6.3 (pages 13 and 15).

The standard's data and results stand in the documentation of the registry package GTC (docs/API/straight_line_functions
of its repository MSLNZ/GTC, read 2026-11-26), under "Straight-line calibration functions", examples 1 and 2, where
anybody can find them again.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from journal.analysis import diagnose
from journal.analysis.between.judged import judged_runs
from journal.analysis.between.line import slope
from journal.analysis.between.pressure import pressed, series_of
from journal.analysis.findings import Standing
from journal.analysis.settings import default_settings
from journal.facts import Body, RunKind, RunStarted
from tests.analysis.arrange import SIX, job_of, readings

X = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0]
EXAMPLES = [
    ([3.3, 5.6, 7.1, 9.3, 10.7, 12.1], [0.5] * 6, 1.757, 0.120),
    ([3.2, 4.3, 7.6, 8.6, 11.7, 12.8], [0.5, 0.5, 0.5, 1.0, 1.0, 1.0], 2.057, 0.178),
]
"""Values, their uncertainties, and the published slope with its own, at `X`."""


@pytest.mark.parametrize(("y", "u", "published", "published_u"), EXAMPLES, ids=["equal weights", "unequal weights"])
def test_the_slope_and_its_uncertainty_are_the_standards(
    y: list[float], u: list[float], published: float, published_u: float
) -> None:
    assert slope(X, y, u) == pytest.approx((published, published_u), abs=0.0006)


@pytest.mark.parametrize(("y", "u", "published", "published_u"), EXAMPLES, ids=["equal weights", "unequal weights"])
def test_so_is_that_of_a_sweep_of_injection_pressure(
    y: list[float], u: list[float], published: float, published_u: float
) -> None:
    """The standard's values, a tenth of them as strengths, at 1 to 6 MPa."""
    bodies: list[Body] = []
    for mpa in X:
        start = RunStarted(RunKind.IDLE, pressure_value=mpa)
        bodies += [start, *readings(30.0, dict.fromkeys(SIX.numbers, 36.0))]
    job = job_of(SIX, *bodies)
    runs = []
    for run, value, its_u in zip(diagnose(job).runs, y, u, strict=True):
        third = replace(run.contributions[2], strength=value / 10, strength_u=its_u / 10, standing=Standing.WEAK)
        runs.append(replace(run, contributions=(*run.contributions[:2], third, *run.contributions[3:])))
    taken = pressed(3, series_of(judged_runs(job, runs), default_settings())[0], default_settings())
    assert taken is not None
    assert taken.per_mpa == pytest.approx((published / 10, published_u / 10), abs=0.00006)


def test_values_at_one_place_have_no_slope() -> None:
    assert slope([2.0, 2.0], [1.0, 3.0], [0.1, 0.1]) is None
    assert slope([2.0], [1.0], [0.1]) is None
