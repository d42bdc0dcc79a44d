"""Which option of a question some words name: by what only it says, or by which of two numbers is the greater."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from journal.facts import Body, Check, Condition, Correction, Cut, Note, Quantity, RunKind, RunStarted, Subject
from journal.wording.choosing import option_named

LIGHT, HEAVY = Check(Subject.BLOW_BY, "light"), Check(Subject.BLOW_BY, "heavy")
LESS, MORE = Cut(4, 37.0), Cut(4, 38.0)
WATER, OIL = (Condition(q, 80.0) for q in (Quantity.COOLANT_TEMPERATURE, Quantity.OIL_TEMPERATURE))


@pytest.mark.parametrize(
    ("options", "words", "place"),
    [
        ((LIGHT, HEAVY), "light", 0),
        ((LIGHT, HEAVY), "it's heavy", 1),
        ((Correction("x", LIGHT), Correction("x", HEAVY)), "heavy", 1),
        ((LIGHT, Check(Subject.WIRING, "sound", 3)), "wiring", 1),
        ((LIGHT, Note("x")), "light", 0),
        ((WATER, OIL), "coolant", 0),
        ((RunStarted(RunKind.IDLE), RunStarted(RunKind.HALF_ENGINE)), "half engine", 1),
        ((LESS, MORE), "the higher one", 1),
        ((LESS, MORE), "lower of the two", 0),
        ((MORE, LESS), "smaller", 1),
        ((MORE, LESS), "it is the bigger number", 0),
        ((Correction("x", LESS), Correction("x", MORE)), "the larger", 1),
    ],
)
def test_an_option_is_named_by_what_only_it_says(options: Sequence[Body], words: str, place: int) -> None:
    assert option_named(options, words) == place


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ((LIGHT, HEAVY), "blow by"),
        ((LIGHT, HEAVY), "heavy or light"),
        ((LIGHT, HEAVY), "purple"),
        ((LIGHT, HEAVY), "heavy purple"),
        ((LIGHT, HEAVY), "um"),
        ((LIGHT, HEAVY), ""),
        ((LESS, MORE), "higher lower"),
        ((LESS, MORE), "bigger number please"),
        ((MORE, MORE), "smaller"),
        ((MORE,), "higher"),
        ((LESS, MORE, Cut(4, 39.0)), "higher"),
        ((LESS, Note("x")), "higher"),
        ((LESS, Cut(4, None, True)), "higher"),
    ],
)
def test_none_is_where_the_words_fit_several_or_none_or_say_something_else(options: Sequence[Body], words: str) -> None:
    assert option_named(options, words) is None
