"""Words that no entry comes of in, whether they are for the journal all the same out."""

from __future__ import annotations

from enum import StrEnum

from journal.wording.lexicon import Part, lexicon, said_words
from journal.wording.numbers import atoms
from journal.wording.tokens import tokenise


class Near(StrEnum):
    """What words that were not understood are."""

    NOTHING = "nothing"
    """Talk that is not for the journal."""
    SAYING = "saying"
    """A statement about the engine that no kind of entry holds: worth keeping as a note."""
    LOST = "lost"
    """Most of something for the journal, with a part that could not be made out."""


_FEWEST = 3
"""Words from which something is a statement."""

_MOSTLY = 0.5
"""Share of the words that must be known for something to be for the journal."""

_READ = frozenset({"act", "next", "baseline", "quantity", "no_change", "run", "cut_out"})
"""Roles that with a number or a cylinder are most of a reading."""

_NAMED = frozenset({"subject", "quantity", "part", "fixable", "wanted", "engine_thing", "quality", "half"})
_STATED = frozenset({"quality", "damage", "dead", "no_change", "engine_state", "act", "fixed"})


def near(text: str) -> Near:
    """How near a text is to something for the journal.

    Args:
        text: what was said or typed, of which no entry came.
    """
    words = said_words(tokenise(text))
    said = [w.text for w in words]
    if len(said) < _FEWEST:
        return Near.NOTHING
    at, roles, known, numbers = 0, set[str](), 0, 0
    named = stated = False
    while at < len(said):
        matches = [
            (end, found) for end, found in lexicon().at(said, at) if any(p.role != "quantity_word" for p in found)
        ]
        end, parts = max(matches, key=lambda pair: pair[0], default=(at + 1, ()))
        found = {p.role for p in parts}
        if found & {"veto", "intend"} or (at == 0 and "asking" in found):
            return Near.NOTHING
        number = any(a.cost < 0.5 for a in atoms(said[at]))
        known += (end - at) if parts or number else 0
        numbers += number
        if not _only_links(parts):
            # One word cannot be both the thing and what is said of it.
            if found & _NAMED and not named:
                named = True
            elif found & _STATED:
                stated = True
            roles |= found
        at = end
    if named and stated:
        return Near.SAYING
    mostly = known >= _MOSTLY * len(said)
    return Near.LOST if numbers and mostly and roles & _READ else Near.NOTHING


def _only_links(parts: tuple[Part, ...]) -> bool:
    return any(p.role in ("link", "hesitation", "aside", "fix") for p in parts) or not parts
