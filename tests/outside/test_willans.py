"""Fuel shares, half engine, fuel that makes no torque and a pressure sweep, against published consumption of diesels.

The chart: "Diesel Fuel Consumption Chart (Approximate)", published alike by several sellers of generating sets (read on
2026-11-26 at oer.enviraj.com, "Diesel generator fuel consumption chart", in litres; in gallons at bigrentz.com).
A generating set runs at one speed, so a row is that engine's Willans line: fuel against brake power. What an engine
with a cylinder cut burns is read off the same row: the others must make the same indicated power, as much each as on an
engine with more load (P. W. Willans' line; friction power is where it meets no fuel). Nothing here uses the analysis'
formulas; the row's own curve, not a line through it, says what is burnt.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator
from scipy.stats import linregress

from journal.analysis import diagnose
from journal.analysis.findings import Standing
from journal.facts import Baseline, Cut, Engine, Quantity, RunKind, RunStarted
from tests.analysis.arrange import job_of

LOADS = np.array([0.25, 0.5, 0.75, 1.0])
CHART = {
    100: (9.8, 15.5, 22.0, 28.0), 150: (13.6, 22.3, 31.8, 41.3), 250: (21.6, 36.0, 51.5, 68.1),
    500: (41.6, 70.0, 99.9, 135.1), 1000: (81.8, 137.8, 197.2, 269.1),
}  # fmt: skip
"""Litres an hour at a quarter, a half, three quarters and all of the load, by the set's kilowatts. Smaller sets are
left out: the chart is a table of gallons to a tenth, turned into litres, and theirs is too coarse to be a line."""
ROWS = pytest.mark.parametrize("kilowatts", CHART)


class Published:
    """A row of the chart as an engine."""

    def __init__(self, kilowatts: int) -> None:
        powers, rates = kilowatts * LOADS, np.array(CHART[kilowatts])
        self.line = linregress(powers[:3], rates[:3])
        self.friction = self.line.intercept / self.line.slope
        # Below the chart's least load its straight part goes on to where no fuel is burnt.
        self._rate = PchipInterpolator([-self.friction, 0.0, *powers], [0.0, self.line.intercept, *rates])

    def rate(self, indicated: float, cylinders: int, on: int) -> float:
        """L/h with so many of the cylinders on, making that much indicated power together, kW."""
        each = indicated / on
        return on / cylinders * float(self._rate(each * cylinders - self.friction))


@ROWS
def test_the_published_lines_are_straight_below_full_load(kilowatts: int) -> None:
    """What the shares rest on: fuel goes with indicated power, and at idle nearly all of it makes torque."""
    engine = Published(kilowatts)
    assert engine.line.rvalue > 0.998
    assert 0.05 * kilowatts < engine.friction < 0.35 * kilowatts


@ROWS
@pytest.mark.parametrize("cylinders", [4, 6, 8])
@pytest.mark.parametrize("load", [0.0, 0.25])
def test_equal_cylinders_of_a_published_engine_have_equal_shares(kilowatts: int, cylinders: int, load: float) -> None:
    engine = Published(kilowatts)
    indicated = engine.friction + load * kilowatts
    start = RunStarted(RunKind.IDLE, Quantity.FUEL_RATE, "L/h")
    cut = engine.rate(indicated, cylinders, cylinders - 1)
    bodies = [Baseline(round(engine.rate(indicated, cylinders, cylinders), 2))]
    bodies += [Cut(c, round(cut, 2)) for c in range(1, cylinders + 1)]
    run = diagnose(job_of(Engine(cylinders), start, *bodies)).runs[0]
    # The curve is not quite a line: an eighth of a share.
    assert [c.share for c in run.contributions] == pytest.approx([1 / cylinders] * cylinders, rel=0.125)
    assert {c.standing for c in run.contributions} == {Standing.EVEN}


@ROWS
def test_a_dead_cylinder_of_a_published_engine_is_found_dead_and_the_others_share_the_rest(kilowatts: int) -> None:
    engine = Published(kilowatts)
    base = engine.rate(engine.friction, 6, 5)  # five of six pull
    cut = engine.rate(engine.friction, 6, 4)
    start = RunStarted(RunKind.IDLE, Quantity.FUEL_PER_STROKE)
    # Every cylinder that is on gets the same fuel; a dead one gets it for nothing. Per stroke, in any unit of volume.
    scale = 30 / (base / 5)
    bodies = [Baseline(round(scale * base / 5, 1))]
    bodies += [Cut(c, round(scale * (base / 5 if c == 3 else cut / 4), 1)) for c in range(1, 7)]
    run = diagnose(job_of(Engine(6), start, *bodies)).runs[0]
    shares = {c.cylinder: c.share for c in run.contributions}
    assert shares == pytest.approx({c: 0.0 if c == 3 else 0.2 for c in range(1, 7)}, abs=0.02)
    assert {c.cylinder for c in run.contributions if c.standing == Standing.DEAD} == {3}


@ROWS
def test_half_of_a_published_engine_takes_about_double_the_fuel_a_stroke(kilowatts: int) -> None:
    """And its three cylinders, cut in turn, have a third each; on "roughly double" the tool's expectation rests."""
    engine = Published(kilowatts)
    whole = engine.rate(engine.friction, 6, 6) / 6
    half = engine.rate(engine.friction, 6, 3) / 3
    assert 1.8 < half / whole < 2.2
    cut = engine.rate(engine.friction, 6, 2) / 2
    start = RunStarted(RunKind.HALF_ENGINE, held_out=(1, 2, 3))
    bodies = [Baseline(round(30 * half / whole, 1)), *(Cut(c, round(30 * cut / whole, 1)) for c in (4, 5, 6))]
    run = diagnose(job_of(Engine(6), start, *bodies)).runs[0]
    assert [c.share for c in run.contributions] == pytest.approx([1 / 3] * 3, rel=0.125)
    assert {c.standing for c in run.contributions} == {Standing.EVEN}
    assert run.trusted


@ROWS
def test_fuel_that_makes_no_torque_is_taken_off_said_or_unsaid(kilowatts: int) -> None:
    """A published engine whose injectors need 3 mm3 more to do anything: said or unsaid, the shares are right."""
    engine = Published(kilowatts)
    whole, cut = engine.rate(engine.friction, 6, 6) / 6, engine.rate(engine.friction, 6, 5) / 5
    base, risen = 12.0 + 3.0, 12.0 * cut / whole + 3.0
    shares = []
    for said in (None, 3.0):
        start = RunStarted(RunKind.IDLE, Quantity.FUEL_PER_STROKE, idle_fuel=said)
        job = job_of(Engine(6), start, Baseline(base), *(Cut(c, round(risen, 2)) for c in range(1, 7)))
        shares.append(diagnose(job).runs[0].contributions[0].share)
    assert shares[1] == pytest.approx(1 / 6, rel=0.125)
    assert shares[0] == pytest.approx(shares[1], rel=0.05)


@pytest.mark.parametrize("opens_at", [6.0, 8.0, 13.0])
def test_a_nozzle_that_opens_late_is_found_between_the_pressures_where_it_does(opens_at: float) -> None:
    """Flow through a nozzle goes with the square root of the pressure that is left over (Bernoulli; J. B. Heywood,
    Internal Combustion Engine Fundamentals, the section on fuel injection, from memory): cylinder 3 injects nothing up
    to the pressure at which its needle lifts, and sqrt((p - p0) / p) of what the others do above it."""
    pressures = (5.0, 7.0, 10.0, 16.0)
    bodies = []
    for pressure in pressures:
        pull = [1.0] * 6
        pull[2] = float(np.sqrt(max(0.0, pressure - opens_at) / pressure))
        bodies.append(RunStarted(RunKind.IDLE, pressure_value=pressure, pressure_unit="MPa"))
        fuel = 24.0 * 6 / sum(pull)
        bodies.append(Baseline(round(fuel, 1)))
        bodies += [Cut(c, round(fuel * sum(pull) / (sum(pull) - e), 1)) for c, e in enumerate(pull, 1)]
    findings = diagnose(job_of(Engine(6), *bodies))
    below = max(p for p in pressures if p < opens_at)
    above = min(p for p in pressures if p > opens_at)
    for run, pressure in zip(findings.runs, pressures, strict=True):
        dead = [c.cylinder for c in run.contributions if c.standing == Standing.DEAD]
        assert dead == ([3] if pressure < opens_at else [])
    said = " | ".join(r.text for each in findings.comparisons for r in each.remarks)
    assert f"it fires only above a pressure between {below:g} MPa and {above:g} MPa" in said
