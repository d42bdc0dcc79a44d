"""Speech before a pause is complete only where it could hardly go on."""

from __future__ import annotations

import pytest

from journal.facts import Engine
from journal.wording import Context, decide_text
from journal.wording.complete import complete
from journal.wording.network import network
from journal.wording.types import Verdict
from tests.wording.gold_typed import CHECKS, CONDITIONS, CONTROL, PHOTOS, RUNS

TENTHS = Context(engine=Engine(6), baseline=31.5, next_cylinder=3)
UNITS = ("bar", "kilopascal", "kilopascals", "megapascal", "megapascals", "psi", "percent")
WHOLE = Context(engine=Engine(6), baseline=31.0, next_cylinder=3)


@pytest.mark.parametrize(
    ("said", "context", "over"),
    [
        ("cylinder four cut, thirty eight point two", TENTHS, True),
        ("cylinder four cut, thirty eight", TENTHS, False),
        ("cylinder four cut, thirty eight", WHOLE, True),
        ("cylinder four cut, thirty", WHOLE, False),
        ("four no change", TENTHS, True),
        ("four, thirty eight point two, five, thirty nine", TENTHS, False),
        ("cylinder four cut, thirty eight point two", Context(engine=Engine(6)), True),
        ("cylinder four cut, thirty eight", Context(engine=Engine(6)), False),
        ("baseline thirty one", Context(engine=Engine(6)), False),
        ("baseline thirty one point five", Context(engine=Engine(6)), True),
        ("correction thirty nine", WHOLE, True),
        ("correction thirty nine", TENTHS, False),
        ("what have I missed", TENTHS, True),
        ("scratch", TENTHS, False),
        ("scratch that", TENTHS, False),
        ("read back cylinder four", TENTHS, False),
        ("lash tight, cylinder two", TENTHS, False),
        ("port temperature cylinder three cold", TENTHS, False),
        ("compression cylinder three, twenty eight bar", TENTHS, False),
        ("compression cylinder three, twenty eight", TENTHS, False),
        ("engine speed seven hundred", TENTHS, False),
        ("engine speed six hundred fifty two", TENTHS, False),
        ("injection pressure twenty one point five", WHOLE, False),
        ("injection pressure twenty one megapascals", WHOLE, False),
        ("half engine, four five six", TENTHS, False),
        ("note water in the", TENTHS, False),
        ("end of run", TENTHS, False),
        ("blow-by light", TENTHS, False),
        ("cylinder four cut", TENTHS, False),
        ("cylinder four cut, eighty eight point two", TENTHS, False),
        ("the weather is fine", TENTHS, False),
    ],
)
def test_complete(said: str, context: Context, over: bool) -> None:
    assert complete(decide_text(said, context), context) is over


def test_nothing_is_never_complete() -> None:
    assert not complete((), TENTHS)


def test_no_word_after_what_is_complete_makes_it_something_else() -> None:
    """Every word of the grammar, and every digit, said after a complete phrase, by the parser itself.

    A second unit is left out: nobody says two.
    """
    words = [*sorted(network().vocabulary_words()), *"123456789", "point five", "hundred"]
    texts = [text for group in (CHECKS, CONDITIONS, RUNS, CONTROL, PHOTOS) for text, *_ in group][::4]
    over = [text for text in texts if complete(decide_text(text, TENTHS), TENTHS)]
    assert len(over) > 3
    wrong = []
    for text in over:
        before = decide_text(text, TENTHS)[-1].meaning
        for word in words:
            taken = [d.meaning for d in decide_text(f"{text} {word}", TENTHS) if d.verdict is Verdict.TAKE]
            if before not in taken and any(isinstance(meaning, type(before)) for meaning in taken):
                wrong.append((text, word))
    assert not [(text, word) for text, word in wrong if not (text.endswith(UNITS) and word in UNITS)]
