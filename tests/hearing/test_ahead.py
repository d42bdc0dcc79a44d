"""Sound is cut up while it is recognised, and nothing of it is lost."""

from __future__ import annotations

import threading
from collections.abc import Iterator

import pytest

from journal.errors import HearingError
from journal.hearing.ahead import ahead


def test_every_item_comes_in_order() -> None:
    assert list(ahead(iter(range(1000)))) == list(range(1000))


def test_items_are_made_while_the_first_is_still_in_hand() -> None:
    second_made = threading.Event()

    def items() -> Iterator[int]:
        yield 1
        second_made.set()
        yield 2

    coming = ahead(items())
    assert next(coming) == 1
    assert second_made.wait(5)
    assert list(coming) == [2]


def test_what_goes_wrong_is_raised_after_what_came_before_it() -> None:
    def items() -> Iterator[int]:
        yield 1
        raise HearingError("unplugged")

    coming = ahead(items())
    assert next(coming) == 1
    with pytest.raises(HearingError, match="unplugged"):
        next(coming)
