"""Values just at a bound, words that are numbers in the trade and elsewhere, and what is read back of a request."""

from __future__ import annotations

import math

import pytest

from journal.facts import UNITS, Condition, Engine, Quantity
from journal.wording.expect import expected, usual_range
from journal.wording.numbers import HOMOPHONES, RADIO, atoms, readings
from journal.wording.say import read_back
from journal.wording.types import Command, CommandWord, Context
from journal.wording.unit_sense import possible

BOUNDED = [q for q in Quantity if q in UNITS and math.isfinite(usual_range(q, UNITS[q][0])[0])]


@pytest.mark.parametrize("quantity", BOUNDED)
def test_a_value_at_the_very_bound_is_usual_and_one_past_it_is_not(quantity: Quantity) -> None:
    unit, context = UNITS[quantity][0], Context(engine=Engine(6))
    low, high = usual_range(quantity, unit)
    for value in (low, high):
        assert expected(Condition(quantity, value, unit), context)
        assert possible(quantity, value, unit)
    assert not expected(Condition(quantity, math.nextafter(high, math.inf), unit), context)
    assert not possible(quantity, math.nextafter(high, math.inf), unit)
    assert not expected(Condition(quantity, math.nextafter(low, -math.inf), unit), context)


def test_numerals_of_the_radio_cost_nothing_and_words_that_mean_something_else_do() -> None:
    for word in RADIO:
        assert [atom.cost for atom in atoms(word)] == [0.0]
    for word in ("for", "to", "too", "ate", "won"):
        assert word in HOMOPHONES and all(atom.cost > 0 for atom in atoms(word))
    assert all(atom.cost == 0 for word in ("oh", "nought", "fourty") for atom in atoms(word))


def test_figures_said_one_by_one_are_dearer_with_a_nought_in_front() -> None:
    costs = {}
    for words in (("zero", "four"), ("two", "four"), ("zero", "four", "five"), ("two", "zero", "five")):
        costs[words] = min(r.cost for r in readings(words, 0) if r.end == len(words))
    assert costs["zero", "four"] > costs["two", "four"]
    assert costs["zero", "four", "five"] > costs["two", "zero", "five"]


@pytest.mark.parametrize(
    ("command", "said"),
    [
        (Command(CommandWord.SCRATCH, 4), "scratch four"),
        (Command(CommandWord.SCRATCH), "scratch"),
        (Command(CommandWord.CORRECT, 4, 38.0), "correct four thirty-eight"),
        (Command(CommandWord.CORRECT, None, 0.0), "correct zero"),
    ],
)
def test_a_request_is_read_back_with_the_number_it_holds(command: Command, said: str) -> None:
    assert read_back(command) == said
