"""Text as typed or as a recogniser writes it in, words and figures out, each with its place in the text."""

from __future__ import annotations

import re
from dataclasses import dataclass

_TOKEN = re.compile(
    r"""[a-z]+/h\b | mm3 | \#                       # units and marks that are said
    | [0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]+)?         # 1,950
    | (?<![0-9.,/]) [0-9]+ (?:\s+(?:1/2|1/4|3/4)|\s?[½¼¾]) (?![0-9/])  # 38 1/2
    | (?<![0-9.,]) (?:2[1-9]|[3-9][0-9]|[0-9]{3,4}),[0-9]{1,2} (?![0-9.,])   # 37,5; no cylinder before a reading
    | (?<![0-9.,]) [0-9]{1,2},[0-9]{1,3} (?=\s?(?:ohm|mm|bar|psi|kpa|mpa|mbar|mg|kw|%|l/h|degrees|volt)) # 1,1 ohm
    | [0-9]*\.?[0-9]+                              # 38, 38.5, .5
    | [^\W\d_]+(?:'[^\W\d_]+)*                     # words
    | − | \S""",
    re.IGNORECASE | re.VERBOSE,
)
_NUMBER_SIGN = re.compile(r"\bno\.(?=\s?[0-9])", re.IGNORECASE)
_IS = re.compile(r"(?<=[0-9])'s\b", re.IGNORECASE)
"""What is said of a number in figures: "5's 38"."""
_MINUS = re.compile(r"(?<![\w.,])(?:[-–‑－﹣](?=\.?[0-9])|[−–](?=\s?\.?[0-9]))")
"""A sign before a number, which is no dash between words or figures."""
_FRACTION = re.compile(r"([0-9]+)\s*(1/2|1/4|3/4|[½¼¾])")
_PARTS = {"1/2": ".5", "½": ".5", "1/4": ".25", "¼": ".25", "3/4": ".75", "¾": ".75"}
_THOUSANDS = re.compile(r",(?=[0-9]{3})")
_QUOTES = str.maketrans({"’": "'", "‘": "'", "`": "'", "–": "-", "—": ",", "³": "3", "-": " ", "…": ","})
_WHOLE = {"−": "minus", "%": "percent", "#": "number", "/": "slash", "ok": "okay"}


@dataclass(frozen=True)
class Token:
    """One word or figure of an utterance."""

    text: str
    """Lower case."""
    start: int
    """Where it begins in the text."""
    pause: bool = False
    """Whether a comma, full stop or the like stands before it."""


def _num(sign: re.Match[str]) -> str:
    """ "No. 2" with the sign as a word of the same length, so that places in the text stay."""
    return "num"


def tokenise(text: str) -> tuple[Token, ...]:
    """The words and figures of a text; marks that are not said only leave a pause."""
    tokens = []
    pause = False
    signed = _MINUS.sub("−", text)
    for match in _TOKEN.finditer(_NUMBER_SIGN.sub(_num, _IS.sub("is", signed.translate(_QUOTES)))):
        word = match.group().lower()
        if not (word[0].isalnum() or word[-1].isnumeric() or word in "%=#/−"):
            pause = True
            continue
        if fraction := _FRACTION.fullmatch(word):
            word = fraction.group(1) + _PARTS[fraction.group(2)]
        elif word[-1].isdigit():
            word = _THOUSANDS.sub("", word).replace(",", ".")
        tokens.append(Token(_WHOLE.get(word, word), match.start(), pause))
        pause = False
    return tuple(tokens)
