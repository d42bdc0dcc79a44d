"""Texts in, entries out, and back: spoken numbers, the phrase grammar, doubt, and read-back."""

from journal.wording.cheatsheet import (
    HelpGroup,
    HelpLine,
    cheat_sheet,
    how_to_say,
    phrases,
)
from journal.wording.decide import decide, decide_text
from journal.wording.numbers import spell
from journal.wording.say import describe, read_back
from journal.wording.speakable import speakable
from journal.wording.types import (
    Command,
    CommandWord,
    Context,
    Decision,
    Meaning,
    Number,
    Range,
    Verdict,
)

__all__ = [
    "Command", "CommandWord", "Context", "Decision", "HelpGroup", "HelpLine", "Meaning", "Number", "Range", "Verdict",
    "cheat_sheet", "decide", "decide_text", "describe", "how_to_say", "phrases", "read_back", "speakable", "spell",
]  # fmt: skip
