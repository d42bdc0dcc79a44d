"""A text and the time it took to say in, how far the two are apart out: a long utterance is not "seven"."""

from __future__ import annotations

import math
import re

from journal.wording.figures import fitted
from journal.wording.numbers import cardinal
from journal.wording.tokens import tokenise

_VOWELS = re.compile(r"[aeiouy]+")


def pace(text: str, seconds: float) -> float:
    """Natural log of the time a text took over the time that it usually takes; 0 where either is not known.

    Args:
        text: words and figures; a figure counts as it is said.
        seconds: from the first to the last speech of the utterance.
    """
    count = syllables(text)
    usual = fitted()["pace"]
    return math.log(seconds / (usual["onset"] + usual["syllable"] * count)) if count and seconds > 0 else 0.0


def syllables(text: str) -> int:
    """About how many syllables a text has when it is said."""
    return sum(map(_in_word, as_said(text)))


def as_said(text: str) -> list[str]:
    """The words of a text, its figures as they are said."""
    words: list[str] = []
    for token in tokenise(text):
        if token.text[0].isdigit() or token.text[0] == ".":
            value = float(re.sub(r"[^0-9.].*", "", token.text) or 0)
            words += cardinal(value) if value < 10_000 else ("number",)
        else:
            words.append(token.text)
    return words


def _in_word(word: str) -> int:
    groups = len(_VOWELS.findall(word))
    silent_end = groups > 1 and word.endswith("e") and not word.endswith(("le", "ee", "ye"))
    return max(1, groups - silent_end)
