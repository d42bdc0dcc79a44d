"""What can be measured, in which units, and what a unit is in the journal's own unit for that quantity."""

from __future__ import annotations

from enum import StrEnum


class Quantity(StrEnum):
    """What a number is a measure of."""

    FUEL_PER_STROKE = "fuel per stroke"
    FUEL_RATE = "fuel rate"
    ENGINE_SPEED = "engine speed"
    INJECTION_PRESSURE = "injection pressure"
    COOLANT_TEMPERATURE = "coolant temperature"
    OIL_TEMPERATURE = "oil temperature"
    LOAD = "load"
    POWER = "power"
    CRANKCASE_PRESSURE = "crankcase pressure"
    BOOST_PRESSURE = "boost pressure"
    PORT_TEMPERATURE = "port temperature"
    RESISTANCE = "resistance"
    LASH = "lash"
    LEAK_DOWN = "leak-down"
    COMPRESSION = "compression"


UNITS: dict[Quantity, tuple[str, ...]] = {
    Quantity.FUEL_PER_STROKE: ("mm3", "mg", "%"),
    Quantity.FUEL_RATE: ("L/h", "gal/h", "kg/h"),
    Quantity.ENGINE_SPEED: ("rpm",),
    Quantity.INJECTION_PRESSURE: ("MPa", "bar", "psi", "kPa"),
    Quantity.COOLANT_TEMPERATURE: ("degC", "degF"),
    Quantity.OIL_TEMPERATURE: ("degC", "degF"),
    Quantity.LOAD: ("%", "N", "N.m", "lb.ft"),
    Quantity.POWER: ("kW", "hp"),
    Quantity.CRANKCASE_PRESSURE: ("kPa", "inH2O", "mbar", "psi"),
    Quantity.BOOST_PRESSURE: ("kPa", "psi", "bar"),
    Quantity.PORT_TEMPERATURE: ("degC", "degF"),
    Quantity.RESISTANCE: ("ohm",),
    Quantity.LASH: ("mm", "in"),
    Quantity.LEAK_DOWN: ("%",),
    Quantity.COMPRESSION: ("kPa", "bar", "psi"),
}
"""The units each quantity may be given in; the first is assumed where none is said."""
