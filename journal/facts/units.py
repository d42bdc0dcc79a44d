"""A number in one unit to the same in another of its quantity, by the factors of NIST SP 811 (2008), appendix B."""

from __future__ import annotations

from journal.errors import BadInput

_FACTORS: dict[str, tuple[str, float]] = {
    "mm3": ("volume per stroke, mm3", 1.0),
    "mg": ("mass per stroke, mg", 1.0),
    "%": ("per cent", 1.0),
    "L/h": ("volume rate, L/h", 1.0),
    "gal/h": ("volume rate, L/h", 3.785411784),
    "mL/min": ("volume rate, L/h", 0.06),
    "kg/h": ("mass rate, kg/h", 1.0),
    "rpm": ("speed, rpm", 1.0),
    "kPa": ("pressure, kPa", 1.0),
    "MPa": ("pressure, kPa", 1000.0),
    "bar": ("pressure, kPa", 100.0),
    "mbar": ("pressure, kPa", 0.1),
    "psi": ("pressure, kPa", 6.894757293168361),
    "inH2O": ("pressure, kPa", 0.24908891),
    "N": ("force, N", 1.0),
    "N.m": ("torque, N.m", 1.0),
    "lb.ft": ("torque, N.m", 1.3558179483314004),
    "kW": ("power, kW", 1.0),
    "hp": ("power, kW", 0.7456998715822702),
    "ohm": ("resistance, ohm", 1.0),
    "mm": ("length, mm", 1.0),
    "in": ("length, mm", 25.4),
    "thou": ("length, mm", 0.0254),
    "degC": ("temperature, degC", 1.0),
    "degF": ("temperature, degC", 5.0 / 9.0),
}
"""What each unit measures and how many of that quantity's own unit it is. The US gallon is 231 cubic inches (SP 811
B.8); psi, lb.ft and the 550 ft.lbf/s horsepower follow from the pound (0.45359237 kg), the foot (0.3048 m) and standard
gravity (9.80665 m/s2); the inch of water is the conventional one (249.0889 Pa, SP 811 B.8)."""


def convert(value: float, unit: str, to: str) -> float:
    """`value` in `unit`, expressed in `to`.

    Raises:
        BadInput: when a unit is not known, or the two do not measure the same thing (a volume of fuel is no mass
            without its density, which the journal does not guess).
    """
    for name in (unit, to):
        if name not in _FACTORS:
            raise BadInput(f"unit {name!r} is not known: use one of {', '.join(_FACTORS)}")
    (what, factor), (other, other_factor) = _FACTORS[unit], _FACTORS[to]
    if what != other:
        raise BadInput(f"{unit} cannot be turned into {to}: one is {what}, the other {other}")
    if unit == to:
        return value
    if what == "temperature, degC":
        celsius = (value - 32.0) * 5.0 / 9.0 if unit == "degF" else value
        return celsius if to == "degC" else celsius * 9.0 / 5.0 + 32.0
    return value * factor / other_factor


def turns_into(unit: str, to: str) -> bool:
    """Whether the two measure the same thing, so that a number in one can be expressed in the other."""
    return unit in _FACTORS and to in _FACTORS and _FACTORS[unit][0] == _FACTORS[to][0]


def step_factor(unit: str, to: str) -> float:
    """How large one unit is in the other, for a difference (a display step, a rise)."""
    return convert(1.0, unit, to) - convert(0.0, unit, to)
