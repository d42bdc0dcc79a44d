"""Spoken and written numbers in, values out: every way a number from 0 to 9,999 with decimals is said, and back."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TEENS = (
    "ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen",
)  # fmt: skip
TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")

# How figures are said by radiotelephone (ICAO Annex 10, volume II, 5.2.1.4.3.1, "pronunciation of numbers"):
# "zero, wun, too, tree, fower, fife, six, seven, ait, niner".
RADIO: dict[str, float] = {"wun": 1, "tree": 3, "fower": 4, "fife": 5, "ait": 8, "niner": 9}

HOMOPHONES: dict[str, float] = {
    "won": 1, "to": 2, "too": 2, "free": 3, "for": 4, "fore": 4, "sex": 6, "sics": 6, "ate": 8, "o": 0, "oh": 0,
    "nought": 0, "naught": 0, "tin": 10, "fourty": 40, "forteen": 14, "fiveteen": 15, "nine'r": 9,
}  # fmt: skip
"""Words written for a digit that sounds the same; `oh`, `nought` and misspellings cost nothing."""

_FREE = {"oh", "nought", "naught", "fourty", "forteen", "fiveteen"}
_HOMOPHONE_COST = 0.3
# Words that mostly mean themselves.
_SMALL_WORDS = {"to": 1.0, "too": 0.8, "for": 0.8, "free": 0.8, "o": 0.2}
_PIECES_COST = 0.25
_LEADING_ZERO = 0.5
_POINTLESS = 0.3

_WRITTEN = re.compile(r"\d+(?:[.,]\d+)?|\.\d+")


@dataclass(frozen=True)
class Atom:
    """One word, or one written figure, of a number."""

    value: float
    """What it is worth."""
    size: str
    """`digit` 0 to 9, `teen` 10 to 19, `tens` 20 to 90, `pair` other two figures, `long` three and more, `part`."""
    cost: float = 0.0
    """How far from certain the word is for it; 0 for the word itself."""
    written: bool = False
    """True when it was written in figures."""
    figures: str = ""
    """Its figures, where it was written so."""


@dataclass(frozen=True)
class Reading:
    """A number found in a sequence of tokens."""

    end: int
    """Index of the first token after it."""
    value: float
    """The number."""
    cost: float
    """How unusual this way of saying it is; 0 for a usual one."""
    figures: str = ""
    """Its figures as said, for numbers whose leading zeros count."""


POINTS = ("point", "decimal")
"""What is said between the figures of a number."""


def only_figures(text: str) -> bool:
    """Whether a text says figures and nothing else."""
    words = text.replace("-", " ").replace(",", " ").split()
    figures = (word.rstrip(".").replace(".", "", 1).isdigit() or atoms(word.lower()) for word in words)
    return bool(words) and all(figure or word in POINTS for figure, word in zip(figures, words, strict=True))


@cache
def atoms(token: str) -> tuple[Atom, ...]:
    """What a token can be as part of a number; nothing when it can be none."""
    if _WRITTEN.fullmatch(token):
        return (_written(token),)
    for words, size, first, step in ((DIGITS, "digit", 0, 1), (TEENS, "teen", 10, 1), (TENS, "tens", 20, 10)):
        if token in words:
            return (Atom(float(first + step * words.index(token)), size),)
    value = RADIO.get(token, HOMOPHONES.get(token))
    if value is None:
        return ()
    cost = 0.0 if token in RADIO or token in _FREE else _SMALL_WORDS.get(token, _HOMOPHONE_COST)
    size = "digit" if value < 10 else "teen" if value < 20 else "tens"
    return (Atom(value, size, cost),)


def _written(token: str) -> Atom:
    value = float(token.replace(",", "."))
    if "." in token or "," in token:
        return Atom(value, "part", written=True, figures=token)
    if len(token) == 1:
        return Atom(value, "digit", written=True, figures=token)
    if len(token) == 2 and token[0] != "0":
        size = "teen" if value < 20 else "tens" if value % 10 == 0 else "pair"
        return Atom(value, size, written=True, figures=token)
    return Atom(value, "long", written=True, figures=token)


def readings(tokens: Sequence[str], at: int, *, most_figures: int = 4, signed: bool = False) -> list[Reading]:
    """Every number that begins at token `at`, the cheapest for each end and value.

    Args:
        tokens: lower-case words and figures.
        at: index of the first token of the number.
        most_figures: longest number, in figures; more than four also lets hundreds of thousands be said.
        signed: whether "minus" may stand before it.
    """
    if signed and _is(tokens, at, "minus", "negative"):
        positive = readings(tokens, at + 1, most_figures=most_figures)
        return [Reading(r.end, -r.value, r.cost, r.figures) for r in positive]
    best: dict[tuple[int, float], Reading] = {}
    for reading in _with_parts(tokens, at, most_figures):
        key = (reading.end, reading.value)
        if key not in best or reading.cost < best[key].cost:
            best[key] = reading
    return list(best.values())


def _with_parts(tokens: Sequence[str], at: int, most: int) -> Iterator[Reading]:
    for atom in _at(tokens, at):
        if atom.size == "part":
            yield Reading(at + 1, atom.value, 0.0, atom.figures)
    for whole in _wholes(tokens, at, most):
        yield whole
        yield from _parts(tokens, whole)
    yield from _tenths(tokens, at)
    yield from _parts(tokens, Reading(at, 0.0, 0.1))


def _parts(tokens: Sequence[str], whole: Reading) -> Iterator[Reading]:
    """A whole number's continuations by "point five", "and a half" and the like."""
    at = whole.end
    if _is(tokens, at, "point", "dot", "decimal", "comma"):
        for digits in _digit_strings(tokens, at + 1, 4):
            part = float("0." + digits.figures)
            yield Reading(digits.end, _sum(whole.value, part), whole.cost + digits.cost)
        for pair in _pairs(tokens, at + 1):
            yield Reading(pair.end, _sum(whole.value, pair.value / 100), whole.cost + pair.cost)
        for atom in _at(tokens, at + 1):
            if atom.size == "long" and len(atom.figures) <= 4:
                yield Reading(at + 2, _sum(whole.value, float("0." + atom.figures)), whole.cost)
    if at > 0 and _is(tokens, at, "and"):
        at += 1
        article = _is(tokens, at, "a")
        if _is(tokens, at + article, "half"):
            yield Reading(at + article + 1, whole.value + 0.5, whole.cost)
        if _is(tokens, at + article, "quarter"):
            yield Reading(at + article + 1, whole.value + 0.25, whole.cost)
        if _is(tokens, at, "three") and _is(tokens, at + 1, "quarters"):
            yield Reading(at + 2, whole.value + 0.75, whole.cost)


def _tenths(tokens: Sequence[str], at: int) -> Iterator[Reading]:
    """Tenths whose point is left unsaid, where no figure can lengthen the number: "thirty seven five", "ten nine"."""
    written = any(atom.written for atom in _at(tokens, at))
    for whole in _smalls(tokens, at):
        if whole.value < 10 or (whole.value % 10 == 0 and whole.value != 10):
            continue
        for digit in _at(tokens, whole.end):
            if digit.size == "digit" and digit.value and digit.written == written:
                cost = whole.cost + digit.cost + _POINTLESS + (_PIECES_COST if written else 0.0)
                yield Reading(whole.end + 1, _sum(whole.value, digit.value / 10), cost)


def _sum(whole: float, part: float) -> float:
    return round(whole + part, 6)


def _wholes(tokens: Sequence[str], at: int, most: int) -> Iterator[Reading]:
    smalls = list(_smalls(tokens, at))
    yield from smalls
    for atom in _at(tokens, at):
        if atom.size == "long":
            yield Reading(at + 1, atom.value, 0.0, atom.figures)
    if _is(tokens, at, "a") and _is(tokens, at + 1, "hundred", "thousand"):
        smalls = [Reading(at + 1, 1.0, 0.0)]
    for small in smalls:
        if _is(tokens, small.end, "hundred") and 1 <= small.value <= 99:
            hundreds = Reading(small.end + 1, small.value * 100, small.cost)
            yield from _rest(tokens, hundreds, 100)
        if _is(tokens, small.end, "thousand") and 1 <= small.value <= (9 if most <= 4 else 99):
            yield from _thousands(tokens, Reading(small.end + 1, small.value * 1000, small.cost))
        if most > 4 and _is(tokens, small.end, "hundred") and 1 <= small.value <= 9:
            for hundreds in _rest(tokens, Reading(small.end + 1, small.value * 100, small.cost), 100):
                if _is(tokens, hundreds.end, "thousand"):
                    yield from _thousands(tokens, Reading(hundreds.end + 1, hundreds.value * 1000, hundreds.cost))
    yield from _shortened(tokens, at)
    for string in _digit_strings(tokens, at, most):
        if len(string.figures) > 1:
            yield replace(string, cost=string.cost + (_LEADING_ZERO if string.figures[0] == "0" else 0.0))


def _thousands(tokens: Sequence[str], base: Reading) -> Iterator[Reading]:
    """ "three thousand", with what may follow: hundreds, "and five", "two fifty"."""
    yield from _rest(tokens, base, 100)
    for digit in _smalls(tokens, base.end):
        if _is(tokens, digit.end, "hundred") and 1 <= digit.value <= 9:
            value = base.value + digit.value * 100
            yield from _rest(tokens, Reading(digit.end + 1, value, base.cost + digit.cost), 100)
    for atom in _at(tokens, base.end):
        if atom.size == "long" and atom.value < 1000:
            yield Reading(base.end + 1, base.value + atom.value, base.cost)
    for short in _shortened(tokens, base.end):
        if short.value < 1000:
            yield Reading(short.end, base.value + short.value, base.cost + short.cost + 0.1)


def _rest(tokens: Sequence[str], base: Reading, below: int) -> Iterator[Reading]:
    yield base
    joined = _is(tokens, base.end, "and")
    for small in _smalls(tokens, base.end + joined):
        if 1 <= small.value < below:
            yield Reading(small.end, base.value + small.value, base.cost + small.cost)


def _smalls(tokens: Sequence[str], at: int) -> Iterator[Reading]:
    """Numbers below one hundred, said as such."""
    for atom in _at(tokens, at):
        if atom.size in ("digit", "teen", "tens", "pair"):
            yield Reading(at + 1, atom.value, atom.cost, atom.figures)
        if atom.size == "tens":
            for unit in _at(tokens, at + 1):
                if unit.size == "digit" and unit.value > 0:
                    pieces = _PIECES_COST if atom.written else 0.0
                    yield Reading(at + 2, atom.value + unit.value, atom.cost + unit.cost + pieces)


def _pairs(tokens: Sequence[str], at: int) -> Iterator[Reading]:
    """Two figures said as one number, 10 to 99."""
    yield from (small for small in _smalls(tokens, at) if small.value >= 10)


def _shortened(tokens: Sequence[str], at: int) -> Iterator[Reading]:
    """Hundreds left unsaid: "one ninety", "nineteen fifty", "nineteen oh five", "thirty two five oh"."""
    extra = _PIECES_COST if any(atom.written for atom in _at(tokens, at)) else 0.0
    for first in _smalls(tokens, at):
        if first.value < 1:
            continue
        for second in _pairs(tokens, first.end):
            yield Reading(second.end, first.value * 100 + second.value, first.cost + second.cost + 0.1 + extra)
        if first.value >= 10:
            for string in _digit_strings(tokens, first.end, 2):
                if len(string.figures) == 2 and not (first.value % 10 == 0 and string.figures[0] != "0"):
                    value = first.value * 100 + int(string.figures)
                    yield Reading(string.end, value, first.cost + string.cost + 0.2)


def _digit_strings(tokens: Sequence[str], at: int, most: int) -> Iterator[Reading]:
    """Figures said one by one, "double two" and "triple two" among them."""
    figures, cost, written = "", 0.0, 0
    while len(figures) < most:
        times = 2 if _is(tokens, at, "double") else 3 if _is(tokens, at, "triple") else 1
        at += times > 1
        digit = next((a for a in _at(tokens, at) if a.size == "digit"), None)
        if digit is None or len(figures) + times > most:
            return
        figures += str(int(digit.value)) * times
        cost += digit.cost
        written += digit.written
        at += 1
        extra = _PIECES_COST if written and len(figures) > 1 else 0.0
        yield Reading(at, float(figures), cost + extra, figures)


def _at(tokens: Sequence[str], at: int) -> tuple[Atom, ...]:
    return atoms(tokens[at]) if 0 <= at < len(tokens) else ()


def _is(tokens: Sequence[str], at: int, *words: str) -> bool:
    return 0 <= at < len(tokens) and tokens[at] in words


def spell(number: float) -> str:
    """A number in few words for speaking: up to 99 as one, longer ones figure by figure.

    Args:
        number: any finite number; its sign and up to three decimals are spoken.
    """
    text = plain(abs(number))
    whole, _, part = text.partition(".")
    sign = "minus " if number < 0 and text != "0" else ""
    words = " ".join(DIGITS[int(figure)] for figure in whole) if len(whole) > 2 else _spell_small(int(whole))
    if part:
        words += " point " + " ".join(DIGITS[int(figure)] for figure in part)
    return sign + words


def _spell_small(number: int) -> str:
    if number < 10:
        return DIGITS[number]
    if number < 20:
        return TEENS[number - 10]
    tens, unit = divmod(number, 10)
    return TENS[tens - 2] + (f"-{DIGITS[unit]}" if unit else "")


def plain(number: float) -> str:
    """A number in figures without needless zeros, at most three decimals."""
    return f"{number:.3f}".rstrip("0").rstrip(".")


def cardinal(number: float) -> tuple[str, ...]:
    """The words of a number as it is usually said: ("seven", "hundred", "fifty", "point", "five").

    Args:
        number: 0 to 9,999.999; three decimals are kept.
    """
    whole, _, part = plain(number).partition(".")
    words: list[str] = []
    thousands, rest = divmod(int(whole), 1000)
    hundreds, rest = divmod(rest, 100)
    if thousands:
        words += [*_spell_small(thousands).split("-"), "thousand"]
    if hundreds:
        words += [DIGITS[hundreds], "hundred"]
    if rest or not words:
        words += _spell_small(rest).split("-")
    if part:
        words += ["point", *(DIGITS[int(figure)] for figure in part)]
    return tuple(words)
