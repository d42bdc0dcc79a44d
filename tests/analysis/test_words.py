"""Weights, chances, lists and differences at the bounds where their words change."""

from __future__ import annotations

import pytest

from journal.analysis.words import capital, cylinders_in_words, listed, percent, wander, weight_in_words


@pytest.mark.parametrize(
    ("factor", "words"),
    [
        (0.0, "more than 100 times less likely"), (-1.0, "more than 100 times less likely"),
        (0.0099, "more than 100 times less likely"), (0.01, "100 times less likely"), (100.0, "100 times likelier"),
        (100.5, "more than 100 times likelier"), (1.0, "says little"), (1.24, "says little"), (0.81, "says little"),
        (1.25, "somewhat likelier"), (0.8, "somewhat less likely"), (1.74, "somewhat likelier"),
        (1.75, "about twice as likely"), (0.55, "about half as likely"), (2.49, "about twice as likely"),
        (2.5, "2 times likelier"), (3.5, "4 times likelier"), (0.25, "4 times less likely"),
    ],
)  # fmt: skip
def test_a_weight_is_said_in_the_words_of_its_size(factor: float, words: str) -> None:
    assert weight_in_words(factor) == words


@pytest.mark.parametrize(
    ("chance", "words"),
    [(0.0, "under 1 %"), (0.0099, "under 1 %"), (0.01, "1 %"), (0.5, "50 %"), (0.99, "99 %"), (0.991, "over 99 %")],
)
def test_no_chance_is_said_to_be_none_or_certain(chance: float, words: str) -> None:
    assert percent(chance) == words


def test_lists_are_read_aloud_as_people_do() -> None:
    assert [listed(words) for words in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
    assert listed(["a", "b"], "or") == "a or b"
    assert (cylinders_in_words([3]), cylinders_in_words([3, 5])) == ("cylinder 3", "cylinders 3 and 5")
    assert (capital("no change"), capital("")) == ("No change", "")


@pytest.mark.parametrize(
    ("z", "words"),
    [
        (0.99, "no more than what the readings wander"), (-0.99, "no more than what the readings wander"),
        (1.0, "1.0 times what the readings wander"), (-2.52, "2.5 times what the readings wander"),
        (9.94, "9.9 times what the readings wander"), (9.95, "10 times what the readings wander"),
    ],
)  # fmt: skip
def test_a_difference_is_said_against_what_the_readings_wander(z: float, words: str) -> None:
    assert wander(z) == words
