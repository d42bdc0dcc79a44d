"""Every number from 0 to 9,999 is understood however it is said; num2words is the outside reference for the words."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words

from journal.facts import Cut, Engine
from journal.wording import Context, decide_text, spell
from journal.wording.numbers import cardinal, readings
from journal.wording.tokens import tokenise

FIGURE_WORDS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")

# How figures are said by radiotelephone: ICAO Annex 10 volume II, 5.2.1.4.3.1, "pronunciation of numbers" (as
# quoted at flightcrewguide.com, "Transmission of numbers in radiotelephony", read 2026-11-26): zero, wun, too, tree,
# fow-er, fife, six, sev-en, ait, nin-er.
RADIO_WORDS = ("zero", "wun", "too", "tree", "fower", "fife", "six", "seven", "ait", "niner")


def understood(text: str) -> set[float]:
    """Every value that the whole text can have."""
    words = [token.text for token in tokenise(text)]
    return {r.value for r in readings(words, 0) if r.end == len(words)}


def outside(number: float) -> str:
    return str(num2words(number))


def without_and(number: int) -> str:
    return outside(number).replace(" and ", " ")


def figure_by_figure(number: int) -> str:
    return " ".join(FIGURE_WORDS[int(f)] for f in str(number))


def with_oh(number: int) -> str:
    return figure_by_figure(number).replace("zero", "oh") if number > 9 else figure_by_figure(number)


def by_radio(number: int) -> str:
    return " ".join(RADIO_WORDS[int(f)] for f in str(number))


def hundreds(number: int) -> str:
    """ "thirty three hundred and five"."""
    tops, rest = divmod(number, 100)
    if not 11 <= tops <= 99 or tops % 10 == 0:
        return outside(number)
    return f"{outside(tops)} hundred" + (f" and {outside(rest)}" if rest else "")


def hundreds_unsaid(number: int) -> str:
    """ "nineteen fifty", "seven oh five", "one ninety"."""
    tops, rest = divmod(number, 100)
    if tops == 0 or rest == 0:
        return outside(number)
    return f"{outside(tops)} {outside(rest) if rest > 9 else 'oh ' + FIGURE_WORDS[rest]}"


def in_figures(number: int) -> str:
    return str(number)


def with_comma(number: int) -> str:
    return f"{number:,}"


def with_double(number: int) -> str:
    """ "double two five"."""
    return re.sub(r"\b(\w+) \1\b", r"double \1", figure_by_figure(number))


STYLES: list[Callable[[int], str]] = [
    outside,
    without_and,
    figure_by_figure,
    with_oh,
    by_radio,
    hundreds,
    hundreds_unsaid,
    in_figures,
    with_comma,
    with_double,
]


@pytest.mark.parametrize("style", STYLES, ids=lambda s: s.__name__)
def test_every_number_is_understood_and_as_nothing_else(style: Callable[[int], str]) -> None:
    wrong = {style(n): understood(style(n)) for n in range(10_000) if understood(style(n)) != {n}}
    assert not wrong


def test_the_usual_words_are_those_of_the_outside_reference() -> None:
    for number in range(10_000):
        assert list(cardinal(number)) == re.findall("[a-z]+", without_and(number))


@pytest.mark.parametrize("tail", ["point", "decimal", "dot"])
def test_decimals_are_understood(tail: str) -> None:
    for tenths in range(0, 4000, 3):
        value = tenths / 10
        words = outside(value).replace("point", tail)
        assert understood(words) == {value}, words


def test_two_and_three_decimals_are_understood() -> None:
    for thousandths in range(1, 3000, 7):
        value = thousandths / 1000
        assert understood(outside(value)) == {value}, outside(value)


@pytest.mark.parametrize(
    ("said", "value"),
    [
        ("thirty eight and a half", 38.5),
        ("thirty eight and a quarter", 38.25),
        ("thirty eight and three quarters", 38.75),
        ("point five", 0.5),
        ("oh point oh one two", 0.012),
        ("twelve point twenty five", 12.25),
        ("a hundred", 100),
        ("a thousand", 1000),
        ("a hundred and five", 105),
        ("thirty three hundred", 3300),
        ("three thousand three hundred", 3300),
        ("three thousand two fifty", 3250),
        ("thirty two five oh", 3250),
        ("double two", 22),
        ("triple nine", 999),
        ("seven double oh", 700),
        ("31 point 5", 31.5),
        ("31 point five", 31.5),
        ("3, 8", 38),
        ("30 8", 38),
        ("40 3", 43),
        ("30-8", 38),
        ("7 hundred", 700),
        ("7 hundred and 50", 750),
        ("12 hundred", 1200),
        ("3 thousand 300", 3300),
        ("19 50", 1950),
        ("1 90", 190),
        ("thirty 8", 38),
        ("3 eight", 38),
        ("fourty", 40),
        (".5", 0.5),
        ("thirty-eight point five", 38.5),
    ],
)
def test_other_ways_of_saying_and_writing_a_number(said: str, value: float) -> None:
    assert value in understood(said)
    assert len(understood(said)) == 1


def said_aloud(value: float) -> Iterator[str]:
    yield spell(value)
    yield " ".join(cardinal(value))
    yield outside(value)


@given(st.integers(0, 9_999_999).map(lambda n: n / 1000))
def test_speaking_any_number_and_understanding_it_gives_it_back(value: float) -> None:
    for text in said_aloud(value):
        assert understood(text) == {value}


@given(st.text())
def test_no_text_is_too_strange_to_look_for_a_number_in(text: str) -> None:
    words = [token.text for token in tokenise(text)]
    for at in range(len(words)):
        for reading in readings(words, at):
            assert at < reading.end <= len(words)


def test_a_number_in_figures_may_be_contracted() -> None:
    assert [token.text for token in tokenise("5's 31.6")] == ["5", "is", "31.6"]
    [decision] = decide_text("5's 31.6", Context(engine=Engine(6), baseline=26.4))
    assert decision.meaning == Cut(5, 31.6)
