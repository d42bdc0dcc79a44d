"""A text is weighed by whether it can have been said in the time that it took."""

from __future__ import annotations

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
    whole = pace("cylinder 4 cut 38.7", seconds)
    assert whole > pace("cylinder 4 cut 38", seconds) > pace("7", seconds)


def test_a_pause_costs_less_than_words_that_cannot_have_been_said_so_fast() -> None:
    usual = 0.19 + 0.236 * 8
    assert pace("cylinder four cut thirty eight", usual * 1.5) > pace("cylinder four cut thirty eight", usual / 1.5)


@given(st.text(max_size=40), st.floats(-1, 60))
def test_no_text_and_no_time_breaks_it(text: str, seconds: float) -> None:
    assert -12.0 <= pace(text, seconds) <= 0.0
