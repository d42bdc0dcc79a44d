"""What a number is in when nobody says: the unit said, the run's, the shop's, or the only one that is possible."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from journal.facts import UNIT_SETS, UNITS, Check, Condition, Cut, Engine, Quantity, RunKind, RunStarted, Subject
from journal.facts.quantities import unit_choice, units_by_quantity
from journal.wording.expect import expected, usual_range
from journal.wording.types import Context, Range
from journal.wording.unit_sense import as_kept, possible, settle_unit, unit_of

Q = Quantity
SI = Context(engine=Engine(6))
US = replace(SI, units=tuple(UNIT_SETS["us"].items()))


@pytest.mark.parametrize(
    ("quantity", "value", "unit"),
    [
        (Q.COOLANT_TEMPERATURE, 185, "degF"), (Q.OIL_TEMPERATURE, 200, "degF"), (Q.INJECTION_PRESSURE, 800, "psi"),
        (Q.INJECTION_PRESSURE, 3300, "psi"), (Q.DESIRED_INJECTION_PRESSURE, 750, "psi"), (Q.FUEL_PRESSURE, 42, "psi"),
        (Q.OIL_PRESSURE, 45, "psi"), (Q.BOOST_PRESSURE, 18, "psi"), (Q.CRANKCASE_PRESSURE, 2, "inH2O"),
        (Q.COMPRESSION, 390, "psi"), (Q.PORT_TEMPERATURE, 310, "degF"), (Q.LASH, 14, "thou"), (Q.POWER, 210, "hp"),
        (Q.FUEL_RATE, 1.1, "gal/h"), (Q.FUEL_PER_STROKE, 31, ""), (Q.ENGINE_SPEED, 700, ""), (Q.RETURN_FLOW, 120, ""),
    ],
)  # fmt: skip
def test_a_number_takes_the_units_of_a_shop_that_thinks_in_psi_and_fahrenheit(
    quantity: Quantity, value: float, unit: str
) -> None:
    assert settle_unit(quantity, value, "", US) == (unit, "")


def test_in_a_shop_that_chose_nothing_a_number_is_in_the_first_unit_and_carries_none() -> None:
    for quantity, value in ((Q.COOLANT_TEMPERATURE, 82), (Q.INJECTION_PRESSURE, 21), (Q.LASH, 0.35)):
        assert settle_unit(quantity, value, "", SI) == ("", "")


def test_a_unit_that_was_said_wins_even_where_the_number_is_impossible_in_it() -> None:
    assert settle_unit(Q.COOLANT_TEMPERATURE, 82, "degC", US) == ("degC", "")
    assert settle_unit(Q.COOLANT_TEMPERATURE, 900, "degC", US) == ("degC", "")


@pytest.mark.parametrize(
    ("quantity", "value", "context", "unit", "said"),
    [
        (Q.COOLANT_TEMPERATURE, 185, SI, "degF", "taken as degrees Fahrenheit"),
        (Q.PORT_TEMPERATURE, 1200, SI, "degF", "taken as degrees Fahrenheit"),
        (Q.LASH, 14, SI, "thou", "taken as thou"),
        (Q.LOBE_LIFT, 7.4, US, "", "taken as millimetres"),
        (Q.INJECTION_PRESSURE, 21_000, SI, None, ""),
        (Q.FUEL_RATE, 700, US, None, ""),
    ],
)
def test_a_number_possible_in_one_other_unit_only_is_taken_as_that_with_a_remark(
    quantity: Quantity, value: float, context: Context, unit: str | None, said: str
) -> None:
    found = settle_unit(quantity, value, "", context)
    if unit is None:  # two other units would do: nothing is guessed, and the shop's is what is then asked about
        own = unit_of(quantity, context)
        assert found == ("" if own == UNITS[quantity][0] else own, "")
        assert not expected(Condition(quantity, value, found[0]), context)
    else:
        assert found == (unit, said)


def test_what_the_run_has_read_before_tells_two_possible_units_apart() -> None:
    before = replace(SI, ranges=(Range(Q.INJECTION_PRESSURE, 1500, 4500, "psi"),))
    assert settle_unit(Q.INJECTION_PRESSURE, 3200, "", SI) == ("", "")
    assert settle_unit(Q.INJECTION_PRESSURE, 3200, "", before) == ("psi", "taken as P S I")
    both = replace(before, ranges=(*before.ranges, Range(Q.INJECTION_PRESSURE, 1500, 4500, "kPa")))
    assert settle_unit(Q.INJECTION_PRESSURE, 3200, "", both) == ("", "")
    other = replace(SI, ranges=(Range(Q.DESIRED_INJECTION_PRESSURE, 1500, 4500, "psi"),))
    assert settle_unit(Q.INJECTION_PRESSURE, 3200, "", other) == ("", "")


def test_a_cold_port_is_cold_and_in_the_shops_unit() -> None:
    assert settle_unit(Q.PORT_TEMPERATURE, 70, "", US) == ("degF", "")


def test_a_run_has_its_own_unit_whatever_the_shops() -> None:
    run = replace(US, run=RunStarted(RunKind.IDLE, Q.FUEL_RATE), quantity=Q.FUEL_RATE, unit="L/h")
    assert unit_of(Q.FUEL_RATE, run) == "L/h"
    assert settle_unit(Q.FUEL_RATE, 3.1, "", run) == ("", "")
    assert settle_unit(Q.COOLANT_TEMPERATURE, 185, "", run) == ("degF", "")
    gallons = replace(SI, run=RunStarted(RunKind.IDLE, Q.FUEL_RATE, "gal/h"), quantity=Q.FUEL_RATE, unit="gal/h")
    assert settle_unit(Q.FUEL_RATE, 1.1, "", gallons) == ("", "")
    assert settle_unit(Q.FUEL_RATE, 1.1, "", gallons, condition=True) == ("gal/h", "")


def test_thousandths_of_an_inch_are_kept_as_inches() -> None:
    assert as_kept(14, "thou") == (0.014, "in")
    assert as_kept(0.35, "mm") == (0.35, "mm")


@given(st.sampled_from(Quantity), st.floats(-1e5, 1e5), st.sampled_from(sorted(UNIT_SETS)))
def test_without_a_remark_the_unit_is_the_shops_and_with_one_no_other_was_possible(
    quantity: Quantity, value: float, shop: str
) -> None:
    context = Context(units=tuple(UNIT_SETS[shop].items()))
    unit, remark = settle_unit(quantity, value, "", context)
    own, taken = UNIT_SETS[shop][quantity], unit or UNITS[quantity][0]
    if not remark:
        assert taken == own
    else:
        assert [u for u in UNITS[quantity] if possible(quantity, value, u)] == [taken] and taken != own


def test_bounds_in_one_unit_are_those_of_the_other() -> None:
    assert usual_range(Q.COOLANT_TEMPERATURE, "degF") == pytest.approx((-40, 266))
    assert usual_range(Q.INJECTION_PRESSURE, "bar") == pytest.approx((20, 3000))


def test_a_reading_in_another_unit_is_held_against_what_was_read_before() -> None:
    before = replace(SI, ranges=(Range(Q.COOLANT_TEMPERATURE, 41, 123, "degC"),))
    assert expected(Condition(Q.COOLANT_TEMPERATURE, 185, "degF"), before)
    assert not expected(Condition(Q.COOLANT_TEMPERATURE, 60, "degF"), before)


def test_a_measured_check_and_a_pressure_set_for_a_run_are_held_against_what_is_possible() -> None:
    assert not expected(Check(Subject.LASH, "measured", 2, value=14.0), SI)
    assert expected(Check(Subject.LASH, "measured", 2, value=14.0, unit="thou"), SI)
    assert not expected(RunStarted(RunKind.IDLE, pressure_value=800.0), SI)
    assert expected(RunStarted(RunKind.IDLE, pressure_value=800.0, pressure_unit="bar"), SI)
    assert not expected(RunStarted(RunKind.IDLE, pressure_value=21.0, idle_fuel=80.0), SI)
    assert expected(Cut(4, 38.0), SI)


def test_units_are_chosen_by_the_names_people_write() -> None:
    for text in ("coolant temperature=degF", "Coolant  temperature = °F", "coolant temperature=f"):
        assert unit_choice(text) == (Q.COOLANT_TEMPERATURE, "degF")
    assert unit_choice("crankcase pressure=inH₂O") == (Q.CRANKCASE_PRESSURE, "inH2O")
    assert units_by_quantity({Q.LASH: "thou"})[Q.COOLANT_TEMPERATURE] == "degC"
