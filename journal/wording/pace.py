"""A text and the time it took to say in, how well the two fit out: a long utterance is not "seven"."""

from __future__ import annotations

import math
import re

from journal.wording.numbers import cardinal
from journal.wording.tokens import tokenise

_ONSET_S = 0.19
_SYLLABLE_S = 0.236
# Least-squares fit of voiced time on syllables, over command phrases in six synthetic voices of the hearing benchmark;
# the scatter of its logarithm is 0.14 to 0.21 within a voice. People differ more, and pause.
_SLOWER = 0.4
_FASTER = 0.3
_LEAST = -12.0
_TOO_LONG = 1.85
"""Times the time expected beyond which more was said than the text has.

Of 1,026 phrases of the benchmark's tuning voices that were heard rightly, 6 took so long."""
_VOWELS = re.compile(r"[aeiouy]+")


def pace(text: str, seconds: float) -> float:
    """Natural log of how well a text fits the time it took to say, 0 for exactly, never below -12.

    The logarithm of the time over the time expected for so many syllables is taken as normal, wider on the slow side
    for pauses.

    Args:
        text: words and figures; a figure counts as it is said.
        seconds: from the first to the last speech of the utterance.
    """
    count = syllables(text)
    if count == 0 or seconds <= 0:
        return 0.0
    off = math.log(seconds / _expected(count))
    return max(_LEAST, -0.5 * (off / (_SLOWER if off > 0 else _FASTER)) ** 2)


def too_long(text: str, seconds: float) -> bool:
    """Whether more was said in this time than a text has; see `pace`."""
    count = syllables(text)
    return count > 0 and seconds > _TOO_LONG * _expected(count)


def _expected(count: int) -> float:
    """Seconds that so many syllables take."""
    return _ONSET_S + _SYLLABLE_S * count


def syllables(text: str) -> int:
    """About how many syllables a text has when it is said."""
    words: list[str] = []
    for token in tokenise(text):
        if token.text[0].isdigit() or token.text[0] == ".":
            value = float(re.sub(r"[^0-9.].*", "", token.text) or 0)
            words += cardinal(value) if value < 10_000 else ("number",)
        else:
            words.append(token.text)
    return sum(_in_word(word) for word in words)


def _in_word(word: str) -> int:
    groups = len(_VOWELS.findall(word))
    silent_end = groups > 1 and word.endswith("e") and not word.endswith(("le", "ee", "ye"))
    return max(1, groups - silent_end)
