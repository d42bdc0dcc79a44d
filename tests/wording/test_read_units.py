"""The unit is read back and shown wherever a quantity may have several, and not where a run has its own."""

from __future__ import annotations

import pytest

from journal.facts import UNITS, Baseline, Check, Condition, Cut, Quantity, RunKind, RunStarted, Subject
from journal.facts.quantities import PRINTED_UNITS, SPOKEN_UNITS
from journal.wording import describe, read_back
from journal.wording.types import Meaning

Q = Quantity


@pytest.mark.parametrize(
    ("meaning", "said", "shown"),
    [
        (
            Condition(Q.COOLANT_TEMPERATURE, 185, "degF"),
            "coolant temperature one eight five degrees Fahrenheit",
            "coolant temperature: 185 degF",
        ),
        (
            Condition(Q.COOLANT_TEMPERATURE, 82),
            "coolant temperature eighty-two degrees Celsius",
            "coolant temperature: 82 degC",
        ),
        (Condition(Q.ENGINE_SPEED, 700), "engine speed seven zero zero", "engine speed: 700 rpm"),
        (Cut(4, 38), "four, thirty-eight", "cylinder 4 cut: 38"),
        (Cut(4, 38, unit="mg"), "four, thirty-eight milligrams", "cylinder 4 cut: 38 mg"),
        (Baseline(30), "baseline thirty", "baseline: 30"),
        (Baseline(3.1, Q.FUEL_RATE, "L/h"), "baseline three point one litres an hour", "baseline: 3.1 L/h"),
        (
            Check(Subject.COMPRESSION, "low", 3, value=290, unit="psi"),
            "cylinder three compression low, two nine zero P S I",
            "cylinder 3 compression low, 290 psi",
        ),
        (
            Check(Subject.PORT_TEMPERATURE, "measured", 3, value=90),
            "cylinder three port temperature ninety degrees Celsius",
            "cylinder 3 port temperature 90 degC",
        ),
        (
            Check(Subject.LASH, "measured", 5, value=0.014, unit="in"),
            "cylinder five lash fourteen thou",
            "cylinder 5 lash 0.014 in",
        ),
        (
            RunStarted(RunKind.IDLE, pressure_value=3300, pressure_unit="psi"),
            "idle cut-out, three three zero zero P S I",
            "run: idle cut-out, 3300 psi",
        ),
        (
            RunStarted(RunKind.IDLE, Q.FUEL_RATE, "gal/h"),
            "idle cut-out, in gallons an hour",
            "run: idle cut-out, in gal/h",
        ),
    ],
)
def test_a_unit_is_told_where_there_may_be_several(meaning: Meaning, said: str, shown: str) -> None:
    assert read_back(meaning) == said
    assert describe(meaning) == shown


def test_no_condition_is_read_back_so_that_its_unit_is_left_to_guess() -> None:
    for quantity, units in UNITS.items():
        told = {read_back(Condition(quantity, 20, unit)) for unit in units}
        assert len(told) == len(units)
        shown = {describe(Condition(quantity, 20, unit)) for unit in units}
        assert len(shown) == len(units) and describe(Condition(quantity, 20)) in shown


def test_every_unit_can_be_said_and_those_printed_otherwise_are_units() -> None:
    every = {unit for units in UNITS.values() for unit in units}
    assert set(SPOKEN_UNITS) == every and set(PRINTED_UNITS) <= every
