"""A picture of a scanner's screen in; its numbers with label, unit and quantity out, each with how sure that is."""

from journal.seeing.pairing import paired
from journal.seeing.screen import read_screen
from journal.seeing.texts import NOT_READ, can_see, seen_texts
from journal.seeing.types import Labelled, SeenText

__all__ = ["NOT_READ", "Labelled", "SeenText", "can_see", "paired", "read_screen", "seen_texts"]
