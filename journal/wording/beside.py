"""A typed text in, whether each number in it is written in a way that is understood in full out."""

from __future__ import annotations

import re
from collections.abc import Collection

from journal.wording.cylinders import MOST_CYLINDERS, ORDINALS
from journal.wording.lexicon import lexicon
from journal.wording.numbers import DIGITS, TEENS, TENS, readings
from journal.wording.tokens import tokenise

_NUMBER = r"(?:[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?|[0-9]+(?:[.,][0-9]+)?|\.[0-9]+)"
_FRACTION = r"[0-9]+(?:\s?[½¼¾]|\s+(?:1/2|1/4|3/4))(?![0-9/])"
_OPENS = r"[(\[\"'“‘]*(?:#|no\.|=|~|≈|[-−–])?"
"""What may stand right before a figure; a minus must be found again in what is entered."""
_CLOSES = r"[)\]\"'”’,.;:!%°…]*"
_GLUED = re.compile(rf"{_NUMBER}(?:-|°)?(?P<letters>[a-z]+(?:[/-][a-z]+)*|mm[3³]|'s|’s)", re.IGNORECASE)
"""Letters right behind a figure: a unit, an ordinal's, another word that is known."""
_NAMED = re.compile(rf"(?P<name>[a-z]+)[-.:=]?#?(?P<number>{_NUMBER})(?:[:=;]{_NUMBER})?", re.IGNORECASE)
"""Letters right before it: "cyl4", "P0301"."""
_JOINED = re.compile(rf"{_NUMBER}(?:[-–/&+,;:=]{_NUMBER})+")
_DASHED = re.compile(r"(?<=[0-9])\s+([-–—])\s+(?=[0-9])")
_CODE = re.compile(r"[0-9]+[-/](?:[0-9]+|fmi)", re.IGNORECASE)
_OF_A_CODE = re.compile(r"\b(?:spn|fmi|codes?|faults?)\b", re.IGNORECASE)
_UNIT = re.compile(r"[a-z/]+[²³]", re.IGNORECASE)
_KNOWN_LETTERS = {"st", "nd", "rd", "th", "ish", "'s", "’s", "c", "f", "mm3", "mm³"}
_KNOWN_MARKS = {",", ".", ";", ":", "=", "#", "&", "%", "/", "…", "->", "=>", "→"}

_WORD = rf"(?:{_NUMBER}|\b(?:{'|'.join((*DIGITS, *TEENS, *TENS, 'hundred', 'thousand', 'point'))})\b)"
_SAID = rf"{_WORD}(?:[ -]{_WORD})*"
_BEFORE = (
    "over|under|above|below|beyond|at least|at most|nearly|almost|not quite|barely|close to|shy of|short of"
    "|negative|more than|less than|fewer than|greater than|higher than|lower than|half|half of|third of"
    "|quarter of|twice|double of|between|down from|up from|instead of|times|plus"
)
_AFTER = "or less|or more|or lower|or higher|and up|plus|minus|times|squared|cubed|and a bit|and change|odd"
_CHANGED = (
    re.compile(rf"\b(?:{_BEFORE})\s+(?:a\s+|the\s+|about\s+)?({_SAID})", re.IGNORECASE),
    re.compile(rf"({_SAID})\s*(?:{_AFTER})\b", re.IGNORECASE),
    re.compile(rf"({_SAID}),?\s+(?:or|was|formerly|to|till|until|through|thru)\s+{_WORD}", re.IGNORECASE),
    re.compile(rf"\b{_WORD}\s+or\s+({_SAID})", re.IGNORECASE),
)
"""A number with words beside it that make another of it, or one of several."""
_TWO_POINTS = re.compile(rf"\b(?:point|dot)\s+{_WORD}\s+(?:point|dot)\b", re.IGNORECASE)
_RANGE = re.compile(rf"({_SAID})\s+(?:to|till|until|through|thru)\s+({_SAID})", re.IGNORECASE)
_MOVES = re.compile(
    r"\b(?:from|up|down|ris(?:es|ing)|rose|go(?:es|ing)?|went|drop(?:s|ped)?|correct|changed?)\b", re.IGNORECASE
)
"""What shows that "to" is a way from one number to the next, of which the last is read."""
_TO_FOR_TWO = re.compile(
    r"(?:\b(?:cylinder|cyl|number|no)\s+|^\s*)to\s+(?:cut|out|off|dead|no change|\W*[0-9])", re.IGNORECASE
)
_MINUS = re.compile(r"(?<![\w.,])[-−–]\.?[0-9]|\bminus\b", re.IGNORECASE)


def understood_in_full(text: str, values: Collection[float]) -> bool:
    """Whether every number is clean: what stands beside it is known, and it is entered as it is written.

    Args:
        text: as it was typed.
        values: the numbers that would be entered from it.
    """
    if _TWO_POINTS.search(text) or _TO_FOR_TWO.search(text):
        return False
    if any(_among(found[1], values) for each in _CHANGED for found in each.finditer(text)):
        return False
    ranges = (found[2] for found in _RANGE.finditer(text) if _values(found[1]) - _CYLINDERS)
    if not _MOVES.search(text) and any(_among(last, values) for last in ranges):
        return False
    if _MINUS.search(text) and not any(value < 0 for value in values):
        return False
    written = re.sub(_FRACTION, "1", _DASHED.sub(r"\1", text))
    chunks = written.split()
    return all(_clean(chunks, at, values) for at, chunk in enumerate(chunks))


def told_plainly(text: str) -> str:
    """A text without the words that make another number of the one they stand before."""
    return re.sub(rf"\b(?:{_BEFORE})\s+(?=(?:a\s+|the\s+|about\s+)?{_SAID})", "", text, flags=re.IGNORECASE)


_CYLINDERS = frozenset(map(float, range(1, MOST_CYLINDERS + 1)))


def _values(said: str) -> set[float]:
    """What a number in words or figures can be."""
    words = [token.text for token in tokenise(said)]
    return {found.value for found in readings(words, 0) if found.end == len(words)}


def _among(said: str, values: Collection[float]) -> bool:
    return not _values(said).isdisjoint(values)


def _clean(chunks: list[str], at: int, values: Collection[float]) -> bool:
    chunk = chunks[at]
    if not any(map(_is_figure, chunk)):
        beside = (*chunks[max(0, at - 1) : at], *chunks[at + 1 : at + 2])
        marks = not any(map(str.isalnum, chunk)) and chunk not in _KNOWN_MARKS
        alone = marks and not (set(chunk) <= set("-–—") and at + 1 < len(chunks))
        return not (alone and any(_is_figure(sign) for other in beside for sign in other))
    found = re.fullmatch(rf"{_OPENS}(?P<inside>.*?){_CLOSES}", chunk)
    inside = found.group("inside") if found else chunk
    if re.fullmatch(_NUMBER, inside) or _UNIT.fullmatch(inside):
        return True
    if named := _NAMED.fullmatch(inside):
        return _known(named.group("name").lower()) or not _among(named.group("number"), values)
    if glued := _GLUED.fullmatch(inside):
        return _known(glued.group("letters").lower())
    if _CODE.fullmatch(inside) and _OF_A_CODE.search(" ".join(chunks)):
        return True
    return bool(_JOINED.fullmatch(inside)) and _joined(inside, values)


def _is_figure(sign: str) -> bool:
    return sign.isnumeric()


def _known(letters: str) -> bool:
    return letters in _KNOWN_LETTERS or letters in ORDINALS or any(lexicon().at(tuple(letters.split("-")), 0))


def _joined(inside: str, values: Collection[float]) -> bool:
    """Whether figures with a sign between are cylinders, the last perhaps a reading, and none is made of several."""
    numbers = [float(each.replace(",", ".")) for each in re.findall(r"[0-9]+(?:\.[0-9]+)?", inside)]
    cylinders = all(each <= MOST_CYLINDERS and each % 1 == 0 for each in numbers[:-1])
    return cylinders and all(value in numbers for value in values)
