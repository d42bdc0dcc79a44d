"""What can be measured, in which units, and what a unit is in the journal's own unit for that quantity."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from journal.errors import BadInput


class Quantity(StrEnum):
    """What a number is a measure of."""

    FUEL_PER_STROKE = "fuel per stroke"
    FUEL_RATE = "fuel rate"
    ENGINE_SPEED = "engine speed"
    INJECTION_PRESSURE = "injection pressure"
    DESIRED_INJECTION_PRESSURE = "desired injection pressure"
    FUEL_PRESSURE = "fuel pressure"
    OIL_PRESSURE = "oil pressure"
    RETURN_FLOW = "return flow"
    COOLANT_TEMPERATURE = "coolant temperature"
    OIL_TEMPERATURE = "oil temperature"
    LOAD = "load"
    POWER = "power"
    CRANKCASE_PRESSURE = "crankcase pressure"
    BOOST_PRESSURE = "boost pressure"
    PORT_TEMPERATURE = "port temperature"
    RESISTANCE = "resistance"
    LASH = "lash"
    LOBE_LIFT = "lobe lift"
    LEAK_DOWN = "leak-down"
    COMPRESSION = "compression"


UNITS: dict[Quantity, tuple[str, ...]] = {
    Quantity.FUEL_PER_STROKE: ("mm3", "mg", "%"),
    Quantity.FUEL_RATE: ("L/h", "gal/h", "kg/h"),
    Quantity.ENGINE_SPEED: ("rpm",),
    Quantity.INJECTION_PRESSURE: ("MPa", "bar", "psi", "kPa"),
    Quantity.DESIRED_INJECTION_PRESSURE: ("MPa", "bar", "psi", "kPa"),
    Quantity.FUEL_PRESSURE: ("kPa", "bar", "psi"),
    Quantity.OIL_PRESSURE: ("kPa", "bar", "psi"),
    Quantity.RETURN_FLOW: ("mL/min", "L/h", "gal/h"),
    Quantity.COOLANT_TEMPERATURE: ("degC", "degF"),
    Quantity.OIL_TEMPERATURE: ("degC", "degF"),
    Quantity.LOAD: ("%", "N", "N.m", "lb.ft"),
    Quantity.POWER: ("kW", "hp"),
    Quantity.CRANKCASE_PRESSURE: ("kPa", "inH2O", "mbar", "psi"),
    Quantity.BOOST_PRESSURE: ("kPa", "psi", "bar"),
    Quantity.PORT_TEMPERATURE: ("degC", "degF"),
    Quantity.RESISTANCE: ("ohm",),
    Quantity.LASH: ("mm", "in", "thou"),
    Quantity.LOBE_LIFT: ("mm", "in", "thou"),
    Quantity.LEAK_DOWN: ("%",),
    Quantity.COMPRESSION: ("kPa", "bar", "psi"),
}
"""The units each quantity may be given in; the first is assumed where none is said and the shop has chosen no other."""

WATCHED = (Quantity.FUEL_PER_STROKE, Quantity.FUEL_RATE, Quantity.ENGINE_SPEED, Quantity.LOAD, Quantity.POWER)
"""What a cut-out test may watch, the usual first."""

SI = "si"
US = "us"

UNIT_SETS: dict[str, dict[Quantity, str]] = {
    SI: {quantity: units[0] for quantity, units in UNITS.items()},
    US: {
        **{quantity: units[0] for quantity, units in UNITS.items()},
        Quantity.FUEL_RATE: "gal/h",
        Quantity.INJECTION_PRESSURE: "psi",
        Quantity.DESIRED_INJECTION_PRESSURE: "psi",
        Quantity.FUEL_PRESSURE: "psi",
        Quantity.OIL_PRESSURE: "psi",
        Quantity.BOOST_PRESSURE: "psi",
        Quantity.CRANKCASE_PRESSURE: "inH2O",
        Quantity.COMPRESSION: "psi",
        Quantity.COOLANT_TEMPERATURE: "degF",
        Quantity.OIL_TEMPERATURE: "degF",
        Quantity.PORT_TEMPERATURE: "degF",
        Quantity.POWER: "hp",
        Quantity.LASH: "thou",
        Quantity.LOBE_LIFT: "thou",
    },
}
"""What a number without a unit may mean in a shop, by the set's name; fuel per stroke and return flow are read in
metric units on both sides of the ocean (common practice, no source)."""


TEMPERATURES = frozenset({Quantity.COOLANT_TEMPERATURE, Quantity.OIL_TEMPERATURE, Quantity.PORT_TEMPERATURE})
"""What is measured in degrees."""

SPOKEN_UNITS: dict[str, str] = {
    "mm3": "cubic millimetres",
    "mg": "milligrams",
    "%": "percent",
    "L/h": "litres an hour",
    "gal/h": "gallons an hour",
    "mL/min": "millilitres a minute",
    "kg/h": "kilograms an hour",
    "rpm": "R P M",
    "MPa": "megapascals",
    "bar": "bar",
    "psi": "P S I",
    "kPa": "kilopascals",
    "mbar": "millibar",
    "inH2O": "inches of water",
    "degC": "degrees Celsius",
    "degF": "degrees Fahrenheit",
    "N": "newtons",
    "N.m": "newton metres",
    "lb.ft": "pound feet",
    "kW": "kilowatts",
    "hp": "horsepower",
    "ohm": "ohms",
    "mm": "millimetres",
    "in": "inches",
    "thou": "thou",
}
"""Each unit as it is said."""

PRINTED_UNITS = {
    "mm3": "mm³", "degC": "°C", "degF": "°F", "N.m": "N·m", "lb.ft": "lb·ft", "inH2O": "inH₂O", "ohm": "Ω",
}  # fmt: skip
"""Units that are printed in other letters than the journal keeps them in."""


def unit_choice(text: str) -> tuple[Quantity, str]:
    """The quantity and the unit that a choice such as `coolant temperature=degF` names; `°F` and the like do as well.

    Raises:
        BadInput: when there is no such quantity, or it is not given in that unit.
    """
    name, _, wanted = (part.strip() for part in text.partition("="))
    if not wanted:
        raise BadInput(f"{text!r}: write it like 'coolant temperature=degF', or name a set: {', '.join(UNIT_SETS)}")
    try:
        quantity = Quantity(" ".join(name.casefold().split()))
    except ValueError:
        raise BadInput(f"quantity {name!r}: use one of {', '.join(Quantity)}") from None
    for unit in UNITS[quantity]:
        names = (unit, PRINTED_UNITS.get(unit, unit), SPOKEN_UNITS[unit], unit.removeprefix("deg"))
        if wanted.casefold() in {name.casefold() for name in names}:
            return quantity, unit
    raise BadInput(f"unit {wanted!r} for {quantity}: use one of {', '.join(UNITS[quantity])}")


def units_by_quantity(chosen: str | Mapping[Quantity, str]) -> dict[Quantity, str]:
    """What a number without a unit means, for every quantity.

    Args:
        chosen: the name of a set, or some quantities with their units; the others keep their first.

    Raises:
        BadInput: when there is no such set, or a quantity is not given in that unit.
    """
    if isinstance(chosen, str):
        if chosen not in UNIT_SETS:
            raise BadInput(f"units {chosen!r}: use one of {', '.join(UNIT_SETS)}")
        return dict(UNIT_SETS[chosen])
    for quantity, unit in chosen.items():
        if unit not in UNITS[quantity]:
            raise BadInput(f"unit {unit!r} for {quantity}: use one of {', '.join(UNITS[quantity])}")
    return {**UNIT_SETS[SI], **chosen}
