"""The phrase grammar in, what a person needs to know of it out: a printed page, help by group, an example to say."""

from __future__ import annotations

from dataclasses import dataclass

from journal.facts import PER_CYLINDER, Subject
from journal.wording.numbers import spell
from journal.wording.vocabulary import vocabulary

_WHOLE_ENGINE = frozenset(
    {Subject.FUEL_SUPPLY, Subject.AIR_IN_FUEL, Subject.OIL, Subject.SMOKE, Subject.COOLANT, Subject.AIR_PATH}
)
"""Subjects that are said of the engine, never of a cylinder."""


@dataclass(frozen=True)
class HelpLine:
    """One thing that can be said."""

    say: str
    """An example, as it is said."""
    means: str
    """What comes of it, in a few words."""


@dataclass(frozen=True)
class HelpGroup:
    """Things that can be said about one matter."""

    title: str
    """The matter."""
    lines: tuple[HelpLine, ...]
    """What can be said."""


def phrases() -> tuple[HelpGroup, ...]:
    """What can be said, by group, in the vocabulary's order."""
    groups: dict[str, list[HelpLine]] = {}
    for phrase in vocabulary().phrases:
        if phrase.example:
            groups.setdefault(phrase.group, []).append(HelpLine(phrase.example, phrase.means))
    return tuple(HelpGroup(title, tuple(lines)) for title, lines in groups.items())


def cheat_sheet() -> str:
    """One page of what can be said, for printing."""
    lines = []
    for group in phrases():
        lines.append(group.title.upper())
        lines += [f"  {line.say:<46} {line.means}" for line in group.lines]
    return "\n".join(lines) + "\n"


def how_to_say(subject: Subject, outcome: str | None = None, cylinder: int | None = None) -> str:
    """An example of how a check's outcome is said; the subject's first where no outcome is given.

    Args:
        subject: what was looked at.
        outcome: one of the subject's outcomes.
        cylinder: the cylinder; 3 where the subject needs one and none is given, left out where it takes none.
    """
    if subject in _WHOLE_ENGINE:
        cylinder = None
    if cylinder is None and subject in PER_CYLINDER:
        cylinder = 3
    table = vocabulary().outcome_words[str(subject)]
    said = table[outcome or next(iter(table))]
    where = f", cylinder {spell(cylinder)}" if cylinder else ""
    return f"{said}{where}"
