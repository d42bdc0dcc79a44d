"""A number and what was said of its unit in, the unit it is taken to be in out, and a remark where that was a guess."""

from __future__ import annotations

import math

from journal.facts import UNITS, Condition, Quantity
from journal.facts.quantities import SPOKEN_UNITS, TEMPERATURES
from journal.facts.units import convert
from journal.wording.expect import usual_range
from journal.wording.types import Context, Meaning


def unit_of(quantity: Quantity, context: Context) -> str:
    """What a number of this quantity is in when nobody says: the run's unit, else the shop's, else the first."""
    if quantity == context.quantity and context.unit:
        return context.unit
    return dict(context.units).get(quantity, UNITS[quantity][0])


def settle_unit(
    quantity: Quantity, value: float, said_unit: str, context: Context, *, condition: bool = False
) -> tuple[str, str]:
    """The unit of a number as its entry is to carry it, and a remark.

    A unit that was said wins. Inside a run its own quantity is in its own unit. Else the shop's unit is meant, unless
    the number is impossible in it and possible in exactly one other: then it is taken as that, with a remark.

    Args:
        quantity: what the number measures.
        value: the number.
        said_unit: the unit that was said; empty where none was.
        context: the shop's units, the run in progress, what was read before.
        condition: True for what becomes a `Condition`, which carries its unit even where the run has the same.

    Returns:
        The unit, empty where the entry means the same without it, and the remark ("taken as degrees Fahrenheit"),
        empty where the unit was said or is the shop's.
    """
    if said_unit:
        return said_unit, ""
    own = unit_of(quantity, context)
    first = UNITS[quantity][0]
    if quantity == context.quantity and context.unit:
        return (own if condition and own != first else ""), ""
    unit, remark = own, ""
    if not possible(quantity, value, own):
        others = [other for other in UNITS[quantity] if other != own and possible(quantity, value, other)]
        if len(others) > 1:
            others = [other for other in others if _read_before(quantity, value, other, context)]
        if len(others) == 1:
            unit, remark = others[0], f"taken as {SPOKEN_UNITS[others[0]]}"
    return ("" if unit == first else unit), remark


def remark_of(meaning: Meaning, context: Context) -> str:
    """Why a condition stands in another unit than the shop's though it was not said in one; empty where it does not."""
    if not isinstance(meaning, Condition):
        return ""
    unit = meaning.unit or UNITS[meaning.quantity][0]
    own = unit_of(meaning.quantity, context)
    return "" if unit == own or possible(meaning.quantity, meaning.value, own) else f"taken as {SPOKEN_UNITS[unit]}"


def possible(quantity: Quantity, value: float, unit: str) -> bool:
    """Whether an engine can read that at all; a temperature below what is usual is one that has only begun to rise."""
    low, high = usual_range(quantity, unit)
    return (-math.inf if quantity in TEMPERATURES else low) <= value <= high


def _read_before(quantity: Quantity, value: float, unit: str, context: Context) -> bool:
    """Whether the run has a reading of this quantity in this unit that the number is near to."""
    near = (r for r in context.ranges if r.quantity == quantity and (r.unit or UNITS[quantity][0]) == unit)
    return any(expected.low <= value <= expected.high for expected in near)


def as_kept(value: float, unit: str) -> tuple[float, str]:
    """A number as entries keep it: thousandths of an inch are said, inches are kept."""
    return (round(convert(value, "thou", "in"), 9), "in") if unit == "thou" else (value, unit)
