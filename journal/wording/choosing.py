"""The options of a question and words in, the option that they name by what only it says out."""

from __future__ import annotations

from collections.abc import Sequence

from journal.facts import Body, Check, Condition, Correction, RunStarted
from journal.wording.lexicon import Part, lexicon, outcomes, said_words
from journal.wording.tokens import tokenise

_OF_TWO = frozenset({"one", "of", "two", "number", "value", "reading", "it", "is", "that", "was"})
_SIZES = {"higher": True, "bigger": True, "larger": True, "lower": False, "smaller": False}
"""Words for one of two numbers, and whether it is the greater."""
_SAYS_NOTHING = frozenset({"link", "hesitation", "aside", "fix"})


def option_named(options: Sequence[Body], text: str) -> int | None:
    """Which option some words name: "it's heavy" of "light, or heavy?".

    Args:
        options: what the question may mean.
        text: what was said or typed.

    Returns:
        Its index; none where a word has another meaning, or what they say fits no option or several.
    """
    words = [word.text for word in said_words(tokenise(text))]
    if (place := _by_size(options, words)) is not None:
        return place
    fitting, named, at = set(range(len(options))), False, 0
    while at < len(words):
        end, parts = max(lexicon().at(words, at), key=lambda pair: pair[0], default=(at, ()))
        if not parts:
            return None
        if not any(part.role in _SAYS_NOTHING for part in parts):
            fitting &= {index for index, option in enumerate(options) if any(_says(option, part) for part in parts)}
            named = True
        at = end
    return fitting.pop() if named and len(fitting) == 1 else None


def _by_size(options: Sequence[Body], words: Sequence[str]) -> int | None:
    """Which of two numbers is meant by "the higher one", "lower of the two"."""
    said_of = [option.body if isinstance(option, Correction) else option for option in options]
    values = [value for body in said_of if isinstance(value := getattr(body, "value", None), float | int)]
    said = [word for word in words if word not in _OF_TWO]
    if len(options) != 2 or len(values) != 2 or values[0] == values[1] or len(said) != 1 or said[0] not in _SIZES:
        return None
    return values.index((max if _SIZES[said[0]] else min)(values))


def _says(option: Body, part: Part) -> bool:
    """Whether a part is one of what an option says."""
    match option.body if isinstance(option, Correction) else option:
        case Check(subject, outcome):
            found = outcomes().get((subject, part.value)) if part.role == "quality" else None
            return found == (outcome, False) or part == Part("subject", subject)
        case Condition(quantity):
            return part == Part("quantity", quantity)
        case RunStarted(run):
            return part == Part("run", run)
    return False
