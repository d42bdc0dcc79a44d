"""Weights, chances, differences and lists in plain words, so that every sentence of a finding reads the same way."""

from __future__ import annotations

from collections.abc import Sequence

SAYS_LITTLE = 1.25
"""A result that makes a cause less than this much likelier or less likely is not worth a line."""

STRONG = 2.5
"""A result that makes a cause at least this much likelier or less likely counts as strong when results are at odds."""


def weight_in_words(factor: float) -> str:
    """How a result moved a cause, e.g. `10 times less likely`, `about twice as likely`."""
    if factor <= 0 or 1 / factor > 100:
        return "more than 100 times less likely"
    if factor > 100:
        return "more than 100 times likelier"
    size, direction = (factor, "likelier") if factor >= 1 else (1 / factor, "less likely")
    if size < SAYS_LITTLE:
        return "says little"
    if size < 1.75:
        return f"somewhat {direction}"
    if size < 2.5:
        return "about twice as likely" if factor >= 1 else "about half as likely"
    return f"{round(size)} times {direction}"


def percent(chance: float) -> str:
    """A chance for reading: `97 %`, `under 1 %`, `over 99 %`."""
    if chance < 0.01:
        return "under 1 %"
    if chance > 0.99:
        return "over 99 %"
    return f"{round(100 * chance)} %"


def listed(words: Sequence[str], joint: str = "and") -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {joint} {words[-1]}"


def cylinders_in_words(cylinders: Sequence[int]) -> str:
    """`cylinder 3`, `cylinders 3 and 5`."""
    return f"cylinder{'s' if len(cylinders) != 1 else ''} {listed([str(c) for c in cylinders])}"


def capital(sentence: str) -> str:
    """The sentence with its first letter large."""
    return sentence[:1].title() + sentence[1:]


def wander(z: float) -> str:
    """A difference, in standard uncertainties, against what readings wander by themselves; its sign is left out."""
    size = abs(z)
    if size < 1:
        return "no more than what the readings wander"
    return f"{size:.1f} times what the readings wander" if size < 9.95 else f"{size:.0f} times what the readings wander"
