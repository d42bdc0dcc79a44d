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
    "mm3": "cubic millimeters",
    "mg": "milligrams",
    "%": "percent",
    "L/h": "liters an hour",
    "gal/h": "gallons an hour",
    "mL/min": "milliliters a minute",
    "kg/h": "kilograms an hour",
    "rpm": "rpm",
    "MPa": "megapascals",
    "bar": "bar",
    "psi": "psi",
    "kPa": "kilopascals",
    "mbar": "millibar",
    "inH2O": "inches of water",
    "degC": "degrees Celsius",
    "degF": "degrees Fahrenheit",
    "N": "newtons",
    "N.m": "newton meters",
    "lb.ft": "pound feet",
    "kW": "kilowatts",
    "hp": "horsepower",
    "ohm": "ohms",
    "mm": "millimeters",
    "in": "inches",
    "thou": "thou",
}
"""Each unit as it is said."""


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
