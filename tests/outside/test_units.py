"""Unit conversions against NIST SP 811 (2008), appendix B, and `scipy.constants`."""

import pytest
from scipy import constants

from journal.errors import BadInput
from journal.facts import UNITS
from journal.facts.units import convert, turns_into


@pytest.mark.parametrize(
    ("unit", "to", "factor"),
    [
        ("psi", "kPa", 6.894757),
        ("bar", "kPa", 100.0),
        ("mbar", "kPa", 0.1),
        ("inH2O", "kPa", 0.249089),
        ("lb.ft", "N.m", 1.355818),
        ("hp", "kW", 0.7456999),
        ("in", "mm", 25.4),
        ("gal/h", "L/h", 3.785412),
        ("thou", "mm", 0.0254),
        ("psi", "bar", 0.06894757),
        ("psi", "MPa", 0.006894757),
    ],
)
def test_a_factor_is_that_of_nist_sp_811(unit, to, factor):
    """NIST SP 811, tables B.8 and B.9, to the figures printed there (factors from memory of the tables)."""
    assert convert(1.0, unit, to) == pytest.approx(factor, rel=5e-7)


def test_factors_agree_with_scipy_constants():
    assert convert(1.0, "psi", "kPa") == pytest.approx(constants.psi / 1000, rel=1e-12)
    assert convert(1.0, "hp", "kW") == pytest.approx(constants.hp / 1000, rel=1e-12)
    assert convert(1.0, "gal/h", "L/h") == pytest.approx(constants.gallon * 1000, rel=1e-12)
    assert convert(1.0, "in", "mm") == pytest.approx(constants.inch * 1000, rel=1e-12)
    assert convert(1.0, "lb.ft", "N.m") == pytest.approx(constants.pound_force * constants.foot, rel=1e-12)
    assert convert(1.0, "bar", "kPa") == pytest.approx(constants.bar / 1000, rel=1e-12)
    assert convert(1.0, "thou", "mm") == pytest.approx(constants.mil * 1000, rel=1e-12)
    per_hour = constants.milli * constants.liter / constants.minute * constants.hour / constants.liter
    assert convert(1.0, "mL/min", "L/h") == pytest.approx(per_hour, rel=1e-12)
    for fahrenheit in (-40.0, 32.0, 180.0, 212.0):
        expected = constants.convert_temperature(fahrenheit, "Fahrenheit", "Celsius")
        assert convert(fahrenheit, "degF", "degC") == pytest.approx(expected, abs=1e-12)
        assert convert(expected, "degC", "degF") == pytest.approx(fahrenheit, abs=1e-12)


def test_every_unit_that_can_be_said_turns_into_itself_and_back():
    for units in UNITS.values():
        for unit in units:
            for to in units:
                try:
                    there = convert(7.0, unit, to)
                except BadInput:
                    continue
                assert convert(there, to, unit) == pytest.approx(7.0)


def test_the_units_of_a_quantity_turn_into_its_first_unless_they_measure_a_mass_or_a_load_otherwise():
    apart = {"mg", "%", "kg/h", "N", "N.m", "lb.ft"}
    for units in UNITS.values():
        assert {unit for unit in units if not turns_into(unit, units[0])} <= apart


def test_a_mass_of_fuel_is_not_turned_into_a_volume():
    with pytest.raises(BadInput, match="cannot be turned into"):
        convert(1.0, "kg/h", "L/h")
