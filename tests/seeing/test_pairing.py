"""Which label and which unit belong to a number, by where they stand; without any picture."""

from __future__ import annotations

import math

import pytest

from journal.facts import Quantity as Q
from journal.seeing import Labelled, SeenText, paired
from journal.seeing.types import Corners, Point
from journal.seeing.units import likest_unit
from journal.wording.labels import quantity_of_label


def text(words: str, x: float, y: float, height: float = 30.0, *, turn: float = 0.0, sure: float = 1.0) -> SeenText:
    """A text that begins at x and whose middle is at y, all turned about the top left corner by an angle in degrees."""
    width = 0.6 * height * len(words)
    angle = math.radians(turn)

    def turned(px: float, py: float) -> Point:
        return px * math.cos(angle) - py * math.sin(angle), px * math.sin(angle) + py * math.cos(angle)

    top, bottom = y - height / 2, y + height / 2
    corners: Corners = turned(x, top), turned(x + width, top), turned(x + width, bottom), turned(x, bottom)
    return SeenText(words, corners, sure)


def told(texts: list[SeenText]) -> dict[str, tuple[str, str, Q | None]]:
    """For each number that is not in doubt, its label, unit and quantity."""
    return {n.written: (n.label, n.unit, n.quantity) for n in paired(texts, quantity_of_label) if n.sure}


def one(texts: list[SeenText]) -> Labelled:
    (number,) = paired(texts, quantity_of_label)
    return number


LIST = [
    ("Fuel delivery", "37.6", "mm³/st"),
    ("Engine speed", "1488", "rpm"),
    ("Coolant temp", "82.5", "°C"),
    ("Gear", "4", ""),
]


@pytest.mark.parametrize("turn", [-20.0, 0.0, 12.0])
def test_in_a_list_the_label_stands_left_and_the_unit_right_however_the_camera_was_held(turn: float) -> None:
    texts = []
    for i, (label, number, unit) in enumerate(LIST):
        y = 100 + 60 * i
        texts += [text(label, 50, y, turn=turn), text(number, 600, y, turn=turn)]
        texts += [text(unit, 720, y, turn=turn)] if unit else []
    assert told(texts) == {
        "37.6": ("Fuel delivery", "mm3", Q.FUEL_PER_STROKE),
        "1488": ("Engine speed", "rpm", Q.ENGINE_SPEED),
        "82.5": ("Coolant temp", "degC", Q.COOLANT_TEMPERATURE),
        "4": ("Gear", "", None),
    }


@pytest.mark.parametrize("over", [True, False])
def test_in_tiles_the_label_stands_over_the_number_or_under_it(over: bool) -> None:
    texts = []
    for i, (label, number, unit) in enumerate(LIST[:3]):
        for j, name in enumerate((label, {"37.6": "Oil pressure"}.get(number, "Load"))):
            if j and i:
                continue
            x, y = 50 + 400 * i, 200 + 260 * j
            texts += [text(name, x, y - 70 if over else y + 70), text(number + "1" * j, x, y, 70)]
            texts += [text("kPa" if j else unit, x + 250, y + 20)]
    assert told(texts) == {
        "37.6": ("Fuel delivery", "mm3", Q.FUEL_PER_STROKE),
        "37.61": ("Oil pressure", "kPa", Q.OIL_PRESSURE),
        "1488": ("Engine speed", "rpm", Q.ENGINE_SPEED),
        "82.5": ("Coolant temp", "degC", Q.COOLANT_TEMPERATURE),
    }


def test_a_unit_in_brackets_belongs_to_the_label_s_number() -> None:
    number = one([text("Fuel rate [L/h]", 50, 100), text("4,71", 500, 100)])
    assert (number.label, number.value, number.unit, number.quantity) == ("Fuel rate", 4.71, "L/h", Q.FUEL_RATE)


def test_in_a_table_the_column_tells_actual_from_desired() -> None:
    texts = [text("Actual", 500, 40), text("Desired", 800, 40)]
    for i, (label, actual, desired) in enumerate(
        (("Injection pressure", "12.4", "12.9"), ("Rail pressure", "12.5", "13.0"))
    ):
        y = 100 + 60 * i
        texts += [
            text(label, 50, y),
            text(actual, 500, y),
            text("MPa", 600, y),
            text(desired, 800, y),
            text("MPa", 900, y),
        ]
    assert told(texts) == {
        "12.4": ("Injection pressure Actual", "MPa", Q.INJECTION_PRESSURE),
        "12.9": ("Injection pressure Desired", "MPa", Q.DESIRED_INJECTION_PRESSURE),
        "12.5": ("Rail pressure Actual", "MPa", Q.INJECTION_PRESSURE),
        "13.0": ("Rail pressure Desired", "MPa", Q.DESIRED_INJECTION_PRESSURE),
    }


def test_two_numbers_beside_one_label_are_in_doubt_where_nothing_tells_them_apart() -> None:
    numbers = paired(
        [text("Fuel delivery", 50, 100), text("37.6", 500, 100), text("41.2", 700, 100)], quantity_of_label
    )
    assert [n.doubt for n in numbers] == ["several numbers stand beside its label"] * 2


def test_a_number_by_itself_has_no_label_and_is_in_doubt() -> None:
    number = one([text("38", 50, 100)])
    assert (number.label, number.quantity, number.sure) == ("", None, False)


def test_a_unit_that_does_not_go_with_the_label_is_a_doubt() -> None:
    number = one([text("Fuel quantity", 50, 100), text("44.8", 500, 100), text("kPa", 600, 100)])
    assert number.doubt == "kPa does not go with its label"


def row(label: str, number: str, unit: str, y: float) -> list[SeenText]:
    return [text(label, 50, y), text(number, 500, y), *([text(unit, 600, y)] if unit else [])]


def test_a_unit_that_the_journal_does_not_know_is_a_doubt_and_said_to_be_there() -> None:
    number = one(row("Fuel delivery", "44.8", "kg", 100))
    assert (number.unit, number.other_unit, number.doubt, number.sure) == ("", "kg", "", False)
    assert number.unit_missing and number.doubts == "its unit is not known: kg"
    assert one(row("Fuel delivery", "44.8", "mg", 100)).other_unit == ""


@pytest.mark.parametrize(
    ("label", "own", "other"),
    [("Fuel delivery [mm'/st]", "Fuel delivery", "mm'/st"), ("Fuel delivery (mm*/st)", "Fuel delivery", "mm*/st"),
     ("Fuel delivery (actual)", "Fuel delivery (actual)", ""), ("Fuel delivery [on]", "Fuel delivery [on]", "")],
)  # fmt: skip
def test_a_misread_unit_in_brackets_is_no_part_of_the_label(label: str, own: str, other: str) -> None:
    number = one([text(label, 50, 100), text("37.6", 900, 100)])
    assert (number.label, number.other_unit, number.unit_missing) == (own, other, other != "")


def test_a_unit_after_the_last_number_of_a_row_is_that_of_all_its_numbers() -> None:
    heads = [text("Now", 500, 40), text("Min", 700, 40)]
    numbers = paired(
        [
            *heads,
            text("Fuel delivery", 50, 100),
            text("37.6", 500, 100),
            text("30.1", 700, 100),
            text("mm³/st", 850, 100),
        ],
        quantity_of_label,
    )
    assert [(n.label, n.unit, n.loose_units) for n in numbers] == [
        ("Fuel delivery Now", "mm3", ()), ("Fuel delivery Min", "mm3", ()),
    ]  # fmt: skip


def test_a_unit_at_the_end_of_a_label_s_row_is_that_of_the_number_below() -> None:
    texts = []
    for x, label, unit, number in ((40, "Fuel delivery", "mg/st", "37.6"), (900, "Engine speed", "rpm", "702")):
        texts += [text(label, x, 40, 26), text(unit, x + 450, 40, 26), text(number, x, 110, 56)]
    assert told(texts) == {
        "37.6": ("Fuel delivery", "mg", Q.FUEL_PER_STROKE), "702": ("Engine speed", "rpm", Q.ENGINE_SPEED),
    }  # fmt: skip
    # The next column's number, whose own unit was not read, does not keep it from being so.
    near = [text("Fuel delivery", 40, 40, 26), text("mg/st", 400, 40, 26), text("37.6", 40, 110, 56)]
    numbers = paired([*near, text("Air temp", 500, 40, 26), text("31", 500, 110, 56)], quantity_of_label)
    assert (numbers[0].label, numbers[0].unit) == ("Fuel delivery", "mg")
    # Beyond the next label it is not this one's, but it is told that it stands there.
    far = [text("Fuel delivery", 40, 40, 26), text("37.6", 40, 110, 56), text("Notes", 500, 40, 26)]
    number = one([*far, text("mg/st", 800, 40, 26)])
    assert (number.unit, number.loose_units) == ("", ("mg/st",))


def test_a_unit_that_is_missing_where_most_numbers_have_one_is_a_doubt_of_its_own() -> None:
    others = [*row("Engine speed", "1488", "rpm", 160), *row("Coolant temp", "82.5", "°C", 220)]
    for unit, words in (("", "its unit is not seen"), ("mm²/st", "its unit is not known: mm²/st")):
        number = paired([*row("Fuel delivery", "37.6", unit, 100), *others], quantity_of_label)[0]
        assert (number.quantity, number.unit, number.doubt) == (Q.FUEL_PER_STROKE, "", "")
        assert number.unit_missing and not number.sure and number.other_unit == unit
        assert number.doubts == words
    number, _ = paired([*row("Fuel delivery", "37.6", "", 100), *row("Gear", "4", "", 160)], quantity_of_label)
    assert number.sure and not number.unit_missing


@pytest.mark.parametrize(
    ("read", "unit"),
    [("mm²/st", "mm3"), ("mm/st", "mm3"), ("m9/st", "mg"), ("/st", "mg"), ("ba", "bar"), ("kPs", ""), ("(on)", "N"),
     ("99", ""), ("kilometers", "")],
)  # fmt: skip
def test_a_misread_unit_is_taken_for_the_one_that_it_is_plainly_most_like(read: str, unit: str) -> None:
    assert likest_unit(read) == unit


def test_a_number_whose_decimal_sign_nothing_tells_is_in_doubt_and_told_where_another_shows_it() -> None:
    row = [text("Fuel rate", 50, 100), text("1,250", 500, 100), text("L/h", 650, 100)]
    assert one(row).value is None and "decimal sign" in one(row).doubt
    other = [text("Load", 50, 160), text("31,5", 500, 160), text("%", 650, 160)]
    assert [n.value for n in paired([*row, *other], quantity_of_label)] == [1.25, 31.5]


def test_nothing_written_is_no_number() -> None:
    assert paired([], quantity_of_label) == ()
    assert paired([text("Fuel rate", 50, 100), text("L/h", 600, 100)], quantity_of_label) == ()
