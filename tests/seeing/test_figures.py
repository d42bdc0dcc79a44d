"""Numbers and units as screens write them."""

from __future__ import annotations

import pytest

from journal.facts import UNITS
from journal.facts.quantities import PRINTED_UNITS
from journal.seeing.figures import Figure, decimal_sign, figure_in
from journal.seeing.units import unit_of, unit_written


@pytest.mark.parametrize(
    ("text", "written", "rest"),
    [
        ("37.6", "37.6", ""),
        ("37,6mm³/st", "37,6", "mm³/st"),
        ("1488rpm", "1488", "rpm"),
        ("-0.3", "-0.3", ""),
        ("−12", "−12", ""),
        (".5", ".5", ""),
        ("31%", "31", "%"),
        ("83,9°℃", "83,9", "°℃"),
        ("1'250", "1'250", ""),
        ("1.250,5", "1.250,5", ""),
    ],
)
def test_a_number_is_told_with_what_is_glued_to_it(text: str, written: str, rest: str) -> None:
    assert figure_in(text) == Figure(written, rest)


@pytest.mark.parametrize(
    "text", ["14:32", "12.05.26", "1,25,3", "3/4", "4x", "P0301", "1O2", "", "-", "12-B", "1.2.3,4"]
)
def test_a_time_a_date_and_a_part_number_are_no_numbers(text: str) -> None:
    assert figure_in(text) is None


@pytest.mark.parametrize(
    ("written", "sign", "value"),
    [
        ("37.6", "", 37.6),
        ("37,6", "", 37.6),
        ("37,6", ".", 37.6),  # what can be read in one way is read so
        ("0,250", "", 0.25),
        ("1.250,5", "", 1250.5),
        ("1,250.5", "", 1250.5),
        ("1.250.000", "", 1250000.0),
        ("1'250", "", 1250.0),
        ("1,250", "", None),
        ("1,250", ".", 1250.0),
        ("1,250", ",", 1.25),
        ("12.400", ",", 12400.0),
        ("12.400", ".", 12.4),
        ("-4.2", "", -4.2),
        ("−4,2", "", -4.2),
        ("1488", "", 1488.0),
    ],
)
def test_a_comma_or_a_point_is_what_it_can_be_or_what_the_screen_has(
    written: str, sign: str, value: float | None
) -> None:
    assert Figure(written, "").value(sign) == value


def test_a_screen_tells_its_decimal_sign_where_its_numbers_agree() -> None:
    def sign(*written: str) -> str:
        return decimal_sign(Figure(each, "") for each in written)

    assert sign("1,250", "37,6") == ","
    assert sign("1,250", "37.6", "0.25") == "."
    assert sign("1,250", "1488") == ""
    assert sign("37,6", "12.4") == ""
    assert sign("1.250.000") == ","


def test_every_unit_of_the_journal_but_those_nobody_shows_is_known_as_it_is_kept_and_as_it_is_printed() -> None:
    for unit in {unit for units in UNITS.values() for unit in units} - {"thou"}:
        assert unit_of(unit) == unit
        assert unit_of(PRINTED_UNITS.get(unit, unit)) == unit


@pytest.mark.parametrize(
    ("written", "unit"),
    [
        ("mm³/st.", "mm3"),
        ("[L/h]", "L/h"),
        ("1/min", "rpm"),
        ("min⁻¹", "rpm"),
        ("℃", "degC"),
        ("OC", "degC"),
        ("Nm", "N.m"),
    ],
)
def test_a_unit_is_known_however_it_is_written(written: str, unit: str) -> None:
    assert unit_of(written) == unit


def test_a_unit_that_the_journal_has_no_quantity_for_is_one_all_the_same() -> None:
    assert unit_written("km/h") and unit_of("km/h") == ""
    assert not unit_written("Load")
