"""Speech before a pause is complete only where it could hardly go on."""

from __future__ import annotations

import pytest

from journal.facts import Engine
from journal.wording import Context, decide_text
from journal.wording.complete import complete

TENTHS = Context(engine=Engine(6), baseline=31.5, next_cylinder=3)
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
        ("cylinder four cut, thirty eight point two", Context(engine=Engine(6)), False),
        ("what have I missed", TENTHS, True),
        ("scratch", TENTHS, False),
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
