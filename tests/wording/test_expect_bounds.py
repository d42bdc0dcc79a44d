"""What a job leads one to expect, at the very bounds: worked out here anew from the figures in `expect.toml`."""

from __future__ import annotations

import math
import tomllib
from importlib import resources

import pytest

from journal.facts import (
    Baseline,
    Check,
    Condition,
    Correction,
    Cut,
    Engine,
    Note,
    Quantity,
    RunKind,
    RunStarted,
    Subject,
)
from journal.wording.expect import decimals, expected, usual_range
from journal.wording.types import Context, Range

Q = Quantity
FIGURES = tomllib.loads(resources.files("journal.wording").joinpath("expect.toml").read_text("utf-8"))
RUN = FIGURES["run"]
SIX = Engine(6)
STEP = 1e-6


def context(baseline: float | None = 30.0, **more: object) -> Context:
    return Context(**{"engine": SIX, "quantity": Q.FUEL_PER_STROKE, "unit": "mm3", "baseline": baseline, **more})  # type: ignore[arg-type]


def bounds(base: float, alive: int) -> tuple[float, float]:
    """From where to where a cut reading is expected: an equal share's rise is b/(n - 1), with n alive."""
    share = base / (alive - 1)
    low = base - max(RUN["below"] * base, RUN["below_least"])
    high = base + share * (1 + RUN["above"]) + RUN["above_least"]
    if alive > 2:
        high = max(high, RUN["dead"] * base * (alive - 1) / (alive - 2) + RUN["above_least"])
    return low, high


@pytest.mark.parametrize("base", [5.0, 10.0, 30.0, 100.0])
@pytest.mark.parametrize(
    ("cylinders", "held_out"), [(6, ()), (6, (4, 5, 6)), (4, ()), (3, (3,)), (8, (1, 2)), (16, ())]
)
def test_a_cut_is_expected_from_a_little_below_its_baseline_to_well_over_an_equal_share(
    base: float, cylinders: int, held_out: tuple[int, ...]
) -> None:
    low, high = bounds(base, cylinders - len(held_out))
    run = context(base, engine=Engine(cylinders), held_out=held_out)
    first = next(n for n in range(1, cylinders + 1) if n not in held_out)
    for value, good in ((low - STEP, False), (low + STEP, True), (high - STEP, True), (high + STEP, False)):
        assert expected(Cut(first, value), run) is good, (value, low, high)


@pytest.mark.parametrize(
    "run",
    [
        context(None),
        context(0.0),
        context(-1.0),
        context(700.0, quantity=Q.ENGINE_SPEED, unit="rpm"),
        context(30.0, engine=Engine(2), held_out=(2,)),
    ],
    ids=["no baseline", "nothing", "below nothing", "speed, which falls", "one alive"],
)
def test_without_a_rise_to_compare_with_only_what_is_usual_counts(run: Context) -> None:
    low, high = FIGURES["usual"][run.quantity][run.unit]
    for value, good in ((low, True), (low - STEP, False), (high, True), (high + STEP, False)):
        assert expected(Cut(1, value), run) is good


def test_a_cylinder_that_is_held_out_is_never_expected_and_no_change_always() -> None:
    run = context(held_out=(4, 5, 6))
    assert not expected(Cut(4, 38.0), run) and not expected(Cut(4, None, no_change=True), run)
    assert expected(Cut(1, None, no_change=True), run)


def test_a_baseline_read_again_is_within_a_factor_of_the_one_before() -> None:
    drift = RUN["drift"]
    for value, good in ((30 * drift, True), (30 * drift + STEP, False), (30 / drift, True), (30 / drift - STEP, False)):
        assert expected(Baseline(value), context()) is good
    assert expected(Baseline(300.0), context(None))
    assert expected(Baseline(700.0, Q.ENGINE_SPEED), context()), "of something else than the run watches"


@pytest.mark.parametrize("quantity", sorted(FIGURES["usual"]))
def test_every_quantity_is_usual_within_its_bounds_in_each_of_its_stated_units(quantity: str) -> None:
    for unit, (low, high) in FIGURES["usual"][quantity].items():
        assert usual_range(Quantity(quantity), unit) == (low, high)
        for value, good in ((low, True), (high, True), (low - STEP, False), (high + STEP, False)):
            assert expected(Condition(Quantity(quantity), value, unit), Context()) is good


def test_what_no_bounds_are_known_of_is_always_usual() -> None:
    assert usual_range(Q.RESISTANCE, "ohm") == (-math.inf, math.inf)
    assert expected(Check(Subject.RESISTANCE, "measured", 2, value=1e9), Context())


def test_bounds_follow_into_other_units() -> None:
    """1 bar is 0.1 MPa, 0 degC is 32 degF (exact)."""
    assert usual_range(Q.INJECTION_PRESSURE, "bar") == pytest.approx((20, 3000))
    assert usual_range(Q.COOLANT_TEMPERATURE, "degF") == pytest.approx((-40, 266))


def test_what_was_said_in_this_run_narrows_what_is_usual() -> None:
    run = context(ranges=(Range(Q.ENGINE_SPEED, 350.0, 1050.0, "rpm"), Range(Q.INJECTION_PRESSURE, 5.0, 15.0, "")))
    for value, good in ((350.0, True), (349.9, False), (1050.0, True), (1050.1, False)):
        assert expected(Condition(Q.ENGINE_SPEED, value), run) is good
    for value, good in ((50.0, True), (49.9, False), (150.0, True), (150.1, False)):
        assert expected(Condition(Q.INJECTION_PRESSURE, value, "bar"), run) is good


@pytest.mark.parametrize(
    ("cylinders", "held_out", "can"),
    [(6, 3, True), (6, 2, False), (6, 4, False), (5, 2, True), (5, 3, True), (5, 1, False), (5, 4, False)],
)
def test_half_an_engine_is_half_of_it(cylinders: int, held_out: int, can: bool) -> None:
    start = RunStarted(RunKind.HALF_ENGINE, held_out=tuple(range(1, held_out + 1)))
    assert expected(start, Context(engine=Engine(cylinders))) is can
    assert expected(start, Context())
    assert expected(RunStarted(RunKind.HALF_ENGINE), Context(engine=Engine(cylinders)))
    assert expected(RunStarted(RunKind.IDLE, held_out=(1,)), Context(engine=Engine(cylinders)))


def test_a_run_starts_at_a_pressure_and_with_idle_fuel_that_can_be() -> None:
    for value, good in ((2.0, True), (1.9, False), (300.0, True), (300.1, False)):
        assert expected(RunStarted(RunKind.IDLE, pressure_value=value), Context()) is good
    most = RUN["idle_fuel"]
    for fuel, good in ((most, True), (most + STEP, False), (0.0, True)):
        assert expected(RunStarted(RunKind.IDLE, idle_fuel=fuel), Context()) is good


def test_idle_fuel_said_later_is_less_than_the_baseline() -> None:
    def corrected(fuel: float, run: Context) -> bool:
        return expected(Correction("x", RunStarted(RunKind.IDLE, idle_fuel=fuel)), run)

    assert corrected(30 - STEP, context()) and not corrected(30.0, context())
    most = RUN["idle_fuel"]
    assert corrected(most - STEP, context(None)) and not corrected(most, context(None))


def test_anything_else_is_expected() -> None:
    assert expected(Note("x"), context()) and expected(Check(Subject.WIRING, "sound", 3), context())


@pytest.mark.parametrize(
    ("value", "told"), [(38.0, 0), (38.5, 1), (37.25, 2), (0.0, 0), (0.1 + 0.2, 1), (1 / 3, 6), (100.0, 0)]
)
def test_decimals_are_counted_as_they_are_told(value: float, told: int) -> None:
    assert decimals(value) == told
