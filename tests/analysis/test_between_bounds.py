"""How far two runs may differ and still be made alike, at the bounds, and what is said of a repair and of codes."""

from __future__ import annotations

import pytest

from journal.analysis.between.conditions import Pressure
from journal.analysis.between.words import repair_sentence, repaired_cylinder
from journal.analysis.causes.codes import code_text, engine_outcome, injector_of, injector_outcome
from journal.analysis.causes.evidence import describe
from journal.analysis.findings import Standing
from journal.facts import Check, Condition, Quantity, Subject, TroubleCode
from tests.analysis.test_between import HEALTHY, SETTINGS, conditions, repaired, with_


@pytest.mark.parametrize(("rpm", "alike"), [(900.0, True), (899.0, False), (1111.0, True), (1112.0, False)])
def test_speeds_a_tenth_of_the_higher_apart_are_alike(rpm: float, alike: bool) -> None:
    one, other = (conditions(Condition(Quantity.ENGINE_SPEED, each, "rpm")) for each in (1000.0, rpm))
    assert one.like(other, SETTINGS) is other.like(one, SETTINGS) is alike


@pytest.mark.parametrize(("celsius", "alike"), [(80.0, True), (80.1, False), (20.0, True), (19.9, False)])
def test_temperatures_thirty_degrees_apart_are_alike(celsius: float, alike: bool) -> None:
    one, other = (conditions(Condition(Quantity.COOLANT_TEMPERATURE, each, "degC")) for each in (50.0, celsius))
    assert one.like(other, SETTINGS) is other.like(one, SETTINGS) is alike


@pytest.mark.parametrize(("mpa", "same"), [(20.4, True), (20.41, False), (19.6, True), (19.59, False)])
def test_pressures_a_fiftieth_of_the_higher_apart_are_the_same(mpa: float, same: bool) -> None:
    one, other = Pressure(True, 0, 20.0), Pressure(True, 0, mpa)
    assert one.same(other) is other.same(one) is same
    assert one.above(other) is (None if same else mpa < 20)
    assert other.above(one) is (None if same else mpa > 20)


def two(first: Standing, second: Standing) -> dict[int, tuple[Standing, float]]:
    strength = {Standing.DEAD: 0.0, Standing.WEAK: 0.6, Standing.UNCLEAR: 0.8, Standing.EVEN: 1.0}
    return {**HEALTHY, 3: (first, strength[first]), 5: (second, strength[second])}


DEAD, WEAK, EVEN, UNCLEAR = Standing.DEAD, Standing.WEAK, Standing.EVEN, Standing.UNCLEAR


@pytest.mark.parametrize(
    ("was", "now", "said"),
    [
        (two(DEAD, EVEN), HEALTHY, "Mended: Cylinder 3 pulls as the others again."),
        (two(DEAD, WEAK), HEALTHY, "Mended: Cylinders 3 and 5 pull as the others again."),
        (two(DEAD, EVEN), two(DEAD, EVEN), "Not mended: cylinder 3 is still low."),
        (two(DEAD, WEAK), two(DEAD, WEAK), "Not mended: cylinders 3 and 5 are still low."),
        (
            two(DEAD, EVEN), two(EVEN, WEAK),
            "Not mended: cylinder 3 pulls as the others again and cylinder 5 is now low and was not before.",
        ),
        (HEALTHY, two(WEAK, WEAK), "Not mended: cylinders 3 and 5 are now low and were not before."),
        (
            two(DEAD, EVEN), two(UNCLEAR, EVEN),
            "Not yet shown to be mended: cylinder 3 cannot be judged yet: repeat the reading.",
        ),
        (
            two(DEAD, EVEN), {c: s for c, s in HEALTHY.items() if c != 6},
            "Not yet shown to be mended: cylinder 3 pulls as the others again and cylinder 6 not read yet.",
        ),
        (
            two(DEAD, EVEN), {c: s for c, s in HEALTHY.items() if c not in (3, 6)},
            "Not yet shown to be mended: cylinder 3 cannot be judged yet: repeat the reading.",
        ),
        (HEALTHY, HEALTHY, "The run after the repair shows no cylinder low, and neither did the one before."),
    ],
)  # fmt: skip
def test_a_repair_is_told_cylinder_by_cylinder(
    was: dict[int, tuple[Standing, float]], now: dict[int, tuple[Standing, float]], said: str
) -> None:
    assert repair_sentence(repaired(was, now)) == said


def test_what_became_of_each_cylinder_is_told_with_what_it_was() -> None:
    found = repaired(two(DEAD, WEAK), {**two(EVEN, WEAK), 2: (WEAK, 0.6)})
    assert repaired_cylinder(found, 3).startswith("cylinder 3 was dead (0 %) and is even (100 %): mended, a change ")
    assert repaired_cylinder(found, 5) == "cylinder 5 was weak (60 %) and is weak (60 %): not mended"
    assert repaired_cylinder(found, 2) == "cylinder 2 was even (100 %) and is weak (60 %): low now and not before"
    assert repaired_cylinder(found, 1) == ""
    unsure = repaired(with_(3, DEAD, 0.0), with_(3, UNCLEAR, 0.8))
    assert "not shown to be mended yet, a change by " in repaired_cylinder(unsure, 3)


def test_codes_of_injectors_one_to_twenty_are_told_from_all_others() -> None:
    """SPN 651 is injector 1 and SPN 670 injector 20 in SAE J1939 (from memory)."""
    assert [injector_of(TroubleCode(spn, 5)) for spn in (650, 651, 670, 671)] == [None, 1, 20, None]
    assert [injector_outcome(TroubleCode(651, fmi)) for fmi in (2, 3, 4, 5, 6, 7, 8)] == [
        None, "electrical", "electrical", "electrical", "electrical", "mechanical", None,
    ]  # fmt: skip
    assert [engine_outcome(TroubleCode(94, fmi)) for fmi in (0, 1, 2, 16, 17, 18, 19)] == [
        None, "fuel supply low", None, None, "fuel supply low", "fuel supply low", None,
    ]  # fmt: skip
    assert code_text(TroubleCode(653, 5)) == "SPN 653 FMI 5: injector 3, current below normal, or open circuit"
    assert code_text(TroubleCode(94, 1)) == "SPN 94 FMI 1: fuel delivery pressure, below the normal range, most severe"
    assert code_text(TroubleCode(200, 31)) == "SPN 200 FMI 31: condition exists"


@pytest.mark.parametrize(
    ("check", "said"),
    [
        (Check(Subject.LEAK_DOWN, "measured", 3, value=35.0, unit="%"), "measured"),
        (Check(Subject.LEAK_DOWN, "high", 3, value=35.0, unit="%"), "high at 35 %"),
        (Check(Subject.INJECTOR_SWAP, "swapped", 3, other_cylinder=5), "swapped with cylinder 5"),
    ],
)
def test_a_result_is_told_with_its_number_where_it_was_judged(check: Check, said: str) -> None:
    assert describe(check) == said
