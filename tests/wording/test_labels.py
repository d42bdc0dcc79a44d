"""What labels on screens stand for; abbreviations are common practice, no source."""

from __future__ import annotations

import pytest

from journal.facts import UNITS
from journal.facts import Quantity as Q
from journal.wording.labels import quantity_of_label


@pytest.mark.parametrize(
    ("label", "unit", "quantity"),
    [
        ("Fuel delivery", "", Q.FUEL_PER_STROKE),
        ("Fuel", "mg", Q.FUEL_PER_STROKE),
        ("Fuel", "L/h", None),
        ("Inj. qty", "mm3", Q.FUEL_PER_STROKE),
        ("Fuel rate", "", Q.FUEL_RATE),
        ("Eng. spd", "rpm", Q.ENGINE_SPEED),
        ("Speed", "rpm", Q.ENGINE_SPEED),
        ("Injection pressure", "MPa", Q.INJECTION_PRESSURE),
        ("Inj. press. act.", "bar", Q.INJECTION_PRESSURE),
        ("Inj. press. des.", "bar", Q.DESIRED_INJECTION_PRESSURE),
        ("Injectionpressuredesired", "MPa", Q.DESIRED_INJECTION_PRESSURE),
        ("ECT", "degC", Q.COOLANT_TEMPERATURE),
        ("Coolant temperatune", "degC", Q.COOLANT_TEMPERATURE),
        ("Engine oil temp", "degC", Q.OIL_TEMPERATURE),
        ("Engine oil press", "kPa", Q.OIL_PRESSURE),
        ("Engine oil", "", None),
        ("Fuel pressure", "kPa", Q.FUEL_PRESSURE),
        ("Calculated load", "%", Q.LOAD),
        ("Boost", "kPa", Q.BOOST_PRESSURE),
        ("Crankcase pressure", "kPa", Q.CRANKCASE_PRESSURE),
    ],
)
def test_a_label_is_named_by_the_words_that_are_said(label: str, unit: str, quantity: Q | None) -> None:
    assert quantity_of_label(label, unit)[0] is quantity


@pytest.mark.parametrize(
    "label",
    [
        "", "12", "Pressure", "Temperature", "Value", "Actual", "Fuel temperature", "Intake air temperature",
        "Exhaust temp",
        "Vehicle speed", "Fan speed", "Turbo speed", "Battery voltage", "Average fuel rate", "Max injection pressure",
        "Fuel level", "Oil level", "Throttle position", "Engine hours", "Cylinder 3", "Gear",
        "Injection pressure deviation", "Pilot quantity",
    ],
)  # fmt: skip
def test_what_the_vocabulary_has_no_quantity_for_gets_none(label: str) -> None:
    for unit in ("", *(unit for units in UNITS.values() for unit in units)):
        assert quantity_of_label(label, unit)[0] is None, unit


def test_the_unit_narrows_what_a_label_may_be_and_never_widens_it() -> None:
    assert quantity_of_label("Coolant temperature", "kPa")[0] is None
    assert quantity_of_label("Engine speed", "degC")[0] is None
