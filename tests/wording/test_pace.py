"""A text is held against the time that it took to say."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from journal.wording.pace import pace, syllables


@pytest.mark.parametrize(
    ("text", "count"),
    [("seven", 2), ("38", 3), ("38.7", 6), ("cylinder four cut, thirty eight", 8), ("blow-by light", 3), ("", 0)],
)
def test_figures_count_as_they_are_said(text: str, count: int) -> None:
    assert syllables(text) == count


def test_the_whole_reading_fits_its_time_better_than_a_piece_of_it() -> None:
    seconds = 2.7
    whole = abs(pace("cylinder 4 cut 38.7", seconds))
    assert whole < pace("cylinder 4 cut 38", seconds) < pace("7", seconds)


def test_twice_the_usual_time_is_as_far_off_as_half_of_it() -> None:
    usual = 0.19 + 0.236 * 8
    text = "cylinder four cut thirty eight"
    assert pace(text, 2 * usual) == pytest.approx(math.log(2))
    assert pace(text, usual / 2) == pytest.approx(-math.log(2))


@given(st.text(max_size=40), st.floats(-1, 60))
def test_no_text_and_no_time_breaks_it(text: str, seconds: float) -> None:
    assert math.isfinite(pace(text, seconds))
