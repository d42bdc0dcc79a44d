"""What the job leads one to expect in, how believable a value is out; it may raise a question, never choose a value."""

from __future__ import annotations

import math
from functools import cache

from journal.facts import MEASURED_AS, UNITS, Baseline, Check, Condition, Correction, Cut, Quantity, RunKind, RunStarted
from journal.facts.units import convert, turns_into
from journal.wording.types import Context, Meaning

# Wide ranges outside which a value is questioned (common practice, no source), each in one unit or in those that do not
# turn into each other; the others follow from it. A run's own readings narrow them.
_USUAL: dict[tuple[Quantity, str], tuple[float, float]] = {
    (Quantity.FUEL_PER_STROKE, "mm3"): (2, 400),
    (Quantity.FUEL_PER_STROKE, "mg"): (2, 400),
    (Quantity.FUEL_PER_STROKE, "%"): (1, 120),
    (Quantity.FUEL_RATE, "L/h"): (0.3, 900),
    (Quantity.FUEL_RATE, "kg/h"): (0.2, 750),
    (Quantity.ENGINE_SPEED, "rpm"): (100, 4500),
    (Quantity.INJECTION_PRESSURE, "MPa"): (2, 300),
    (Quantity.DESIRED_INJECTION_PRESSURE, "MPa"): (2, 300),
    (Quantity.FUEL_PRESSURE, "kPa"): (5, 1500),
    (Quantity.OIL_PRESSURE, "kPa"): (20, 1200),
    (Quantity.RETURN_FLOW, "mL/min"): (0, 5000),
    (Quantity.COOLANT_TEMPERATURE, "degC"): (-40, 130),
    (Quantity.OIL_TEMPERATURE, "degC"): (-40, 150),
    (Quantity.PORT_TEMPERATURE, "degC"): (40, 900),
    (Quantity.LOAD, "%"): (0, 130),
    (Quantity.POWER, "kW"): (0, 6000),
    (Quantity.CRANKCASE_PRESSURE, "kPa"): (-5, 15),
    (Quantity.BOOST_PRESSURE, "kPa"): (-50, 600),
    (Quantity.LASH, "mm"): (0.02, 3),
    (Quantity.LOBE_LIFT, "mm"): (0.5, 30),
    (Quantity.LEAK_DOWN, "%"): (0, 100),
    (Quantity.COMPRESSION, "kPa"): (100, 8000),
}

_MOST_IDLE_FUEL = 50.0
"""Fuel that makes no torque above which it is questioned, whatever the unit (common practice, no source)."""

_MOST_DRIFT = 2.0
"""Factor by which a run's baseline, read again, may differ before it is questioned (common practice, no source)."""

UNLIKELY = 0.02
"""How believable a value outside what is expected is."""

_RISES = (Quantity.FUEL_PER_STROKE, Quantity.FUEL_RATE, Quantity.LOAD)


BELIEVABLE = 0.5
"""From which agreement on a meaning needs no question for the job's sake."""


def believable(meaning: Meaning, context: Context) -> float:
    """How far the job so far agrees with a meaning: 1 as expected, `UNLIKELY` outside, between at the edges."""
    match meaning:
        case Cut(cylinder) if cylinder in context.held_out:
            return UNLIKELY
        case Cut(_, float(value)):
            return _cut(value, context)
        case Baseline(value, quantity, unit):
            watched = quantity or context.quantity
            usual = _usual(value, watched, unit or context.unit or UNITS[watched][0], context)
            return usual if _again(value, watched, context) else UNLIKELY
        case Check(subject=subject, value=float(value), unit=unit) if subject in MEASURED_AS:
            measured = MEASURED_AS[subject]
            return _usual(value, measured, unit or UNITS[measured][0], context)
        case Condition(quantity, value, unit):
            return _usual(value, quantity, unit or UNITS[quantity][0], context)
        case RunStarted():
            return 1.0 if _can_start(meaning, context) else UNLIKELY
        case Correction(_, RunStarted(idle_fuel=float(fuel))):
            return 1.0 if fuel < (_MOST_IDLE_FUEL if context.baseline is None else context.baseline) else UNLIKELY
        case _:
            return 1.0


@cache
def usual_range(quantity: Quantity, unit: str) -> tuple[float, float]:
    """Between which values a quantity usually lies, in `unit`; without bounds where none are known."""
    for (of, stated), bounds in _USUAL.items():
        if of == quantity and turns_into(stated, unit):
            return convert(bounds[0], stated, unit), convert(bounds[1], stated, unit)
    return -math.inf, math.inf


def _can_start(run: RunStarted, context: Context) -> bool:
    """Whether a run can be done so on this engine."""
    if run.run is RunKind.HALF_ENGINE and run.held_out and not _half(len(run.held_out), context):
        return False
    if run.pressure_value is not None:
        low, high = usual_range(Quantity.INJECTION_PRESSURE, run.pressure_unit)
        if not low <= run.pressure_value <= high:
            return False
    return run.idle_fuel is None or run.idle_fuel <= _MOST_IDLE_FUEL


def _half(held_out: int, context: Context) -> bool:
    """Whether so many cylinders are half the engine, of an odd number one more or less."""
    return context.engine is None or abs(2 * held_out - context.engine.cylinders) <= 1


def _again(value: float, quantity: Quantity, context: Context) -> bool:
    """Whether a run's baseline, read once more, is anywhere near the one it has."""
    if context.baseline is None or quantity != context.quantity:
        return True
    return context.baseline / _MOST_DRIFT <= value <= context.baseline * _MOST_DRIFT


def told_short(meaning: Meaning, context: Context) -> bool:
    """Whether a reading has fewer decimals than its run's baseline was told with: its end may have been lost."""
    if not isinstance(meaning, Cut) or meaning.value is None or context.baseline is None:
        return False
    return decimals(meaning.value) < decimals(context.baseline)


def decimals(value: float) -> int:
    """How many decimals a value is told with, at most 6."""
    return len(f"{value:.6f}".rstrip("0").partition(".")[2])


def _cut(value: float, context: Context) -> float:
    """A cut reading lies between "no change" and somewhat above an equal share's rise.

    With n cylinders alive and governed speed, n - 1 of them must make what n made: a good one's cut raises fuel from
    b to b n / (n - 1) when shares are equal, more when it pulled more than its share.
    """
    unit = context.unit or UNITS[context.quantity][0]
    usual = _usual(value, context.quantity, unit, context)
    base = context.baseline
    if base is None or base <= 0 or context.quantity not in _RISES:
        return usual
    alive = (context.engine.cylinders if context.engine else 6) - len(context.held_out)
    if alive < 2:
        return usual
    top = base * alive / (alive - 1)
    low = base - max(0.06 * base, 1.0)
    high = top + 0.75 * (top - base) + 1.0
    if alive > 2:
        # One of them may be dead, which is what the test is done to find out: the others then pull its share too.
        high = max(high, 1.1 * base * (alive - 1) / (alive - 2) + 1.0)
    return usual if low <= value <= high else UNLIKELY


def _usual(value: float, quantity: Quantity, unit: str, context: Context) -> float:
    for expected in context.ranges:
        stated = expected.unit or UNITS[quantity][0]
        if expected.quantity == quantity and turns_into(unit, stated):
            return 1.0 if expected.low <= convert(value, unit, stated) <= expected.high else UNLIKELY
    low, high = usual_range(quantity, unit)
    return 1.0 if low <= value <= high else UNLIKELY
