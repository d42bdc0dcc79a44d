"""What the job leads one to expect in, whether a value is so out; it may raise a question, never choose one."""

from __future__ import annotations

import math
import tomllib
from functools import cache
from importlib import resources
from typing import Any

from journal.facts import MEASURED_AS, UNITS, Baseline, Check, Condition, Correction, Cut, Quantity, RunKind, RunStarted
from journal.facts.units import convert, turns_into
from journal.wording.types import Context, Meaning

_RISES = (Quantity.FUEL_PER_STROKE, Quantity.FUEL_RATE, Quantity.LOAD)


@cache
def _figures() -> dict[str, Any]:
    return tomllib.loads(resources.files("journal.wording").joinpath("expect.toml").read_text("utf-8"))


def expected(meaning: Meaning, context: Context) -> bool:
    """Whether the job so far agrees with a meaning."""
    most = _figures()["run"]["idle_fuel"]
    match meaning:
        case Cut(cylinder) if cylinder in context.held_out:
            return False
        case Cut(_, float(value)):
            return _cut(value, context)
        case Baseline(value, quantity, unit):
            watched = quantity or context.quantity
            usual = _usual(value, watched, unit or context.unit or UNITS[watched][0], context)
            return usual and _again(value, watched, context)
        case Check(subject=subject, value=float(value), unit=unit) if subject in MEASURED_AS:
            measured = MEASURED_AS[subject]
            return _usual(value, measured, unit or UNITS[measured][0], context)
        case Condition(quantity, value, unit):
            return _usual(value, quantity, unit or UNITS[quantity][0], context)
        case RunStarted():
            return _can_start(meaning, context)
        case Correction(_, RunStarted(idle_fuel=float(fuel))):
            return bool(fuel < (most if context.baseline is None else context.baseline))
        case _:
            return True


@cache
def usual_range(quantity: Quantity, unit: str) -> tuple[float, float]:
    """Between which values a quantity usually lies, in `unit`; without bounds where none are known."""
    for stated, (low, high) in _figures()["usual"].get(quantity, {}).items():
        if turns_into(stated, unit):
            return convert(low, stated, unit), convert(high, stated, unit)
    return -math.inf, math.inf


def _can_start(run: RunStarted, context: Context) -> bool:
    """Whether a run can be done so on this engine."""
    if run.run is RunKind.HALF_ENGINE and run.held_out and not _half(len(run.held_out), context):
        return False
    if run.pressure_value is not None:
        low, high = usual_range(Quantity.INJECTION_PRESSURE, run.pressure_unit)
        if not low <= run.pressure_value <= high:
            return False
    return bool(run.idle_fuel is None or run.idle_fuel <= _figures()["run"]["idle_fuel"])


def _half(held_out: int, context: Context) -> bool:
    """Whether so many cylinders are half the engine, of an odd number one more or less."""
    return context.engine is None or abs(2 * held_out - context.engine.cylinders) <= 1


def _again(value: float, quantity: Quantity, context: Context) -> bool:
    """Whether a run's baseline, read once more, is anywhere near the one it has."""
    if context.baseline is None or quantity != context.quantity:
        return True
    drift = _figures()["run"]["drift"]
    return bool(context.baseline / drift <= value <= context.baseline * drift)


def decimals(value: float) -> int:
    """How many decimals a value is told with, at most 6."""
    return len(f"{value:.6f}".rstrip("0").partition(".")[2])


def _cut(value: float, context: Context) -> bool:
    """Whether a cut reading lies between "no change" and somewhat above an equal share's rise.

    With n cylinders alive and governed speed, n - 1 of them must make what n made: a good one's cut raises fuel from
    b to b n / (n - 1) when shares are equal, more when it pulled more than its share.
    """
    usual = _usual(value, context.quantity, context.unit or UNITS[context.quantity][0], context)
    base = context.baseline
    alive = (context.engine.cylinders if context.engine else 6) - len(context.held_out)
    if base is None or base <= 0 or context.quantity not in _RISES or alive < 2:
        return usual
    run = _figures()["run"]
    top = base * alive / (alive - 1)
    low = base - max(run["below"] * base, run["below_least"])
    high = top + run["above"] * (top - base) + run["above_least"]
    if alive > 2:
        # One of them may be dead, which is what the test is done to find out: the others then pull its share too.
        high = max(high, run["dead"] * base * (alive - 1) / (alive - 2) + run["above_least"])
    return usual and bool(low <= value <= high)


def _usual(value: float, quantity: Quantity, unit: str, context: Context) -> bool:
    for told in context.ranges:
        stated = told.unit or UNITS[quantity][0]
        if told.quantity == quantity and turns_into(unit, stated):
            return told.low <= convert(value, unit, stated) <= told.high
    low, high = usual_range(quantity, unit)
    return low <= value <= high
