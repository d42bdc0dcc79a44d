"""What hearing hands on: utterances, candidate texts, and the little a recogniser must know of what can be said."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Protocol, runtime_checkable

import numpy as np
import numpy.typing as npt

RATE = 16_000
"""Samples per second of all sound inside the journal."""

Sound = npt.NDArray[np.float32]
"""Mono sound at `RATE`, shape (samples,), full scale at -1 to 1."""


class Expect(StrEnum):
    """What kind of speech is likely now; recognisers may narrow their search to it."""

    ANYTHING = "anything"
    """Any phrase, a bare number among them."""
    NUMBER = "number"
    """A bare number, or a command."""


@dataclass(frozen=True)
class Utterance:
    """One stretch of speech between silences."""

    start: float
    """Where it begins in its source, seconds."""
    end: float
    """Where it ends, seconds."""
    sound: Sound = field(repr=False, compare=False)
    """Its raw sound with a little before and after."""


@dataclass(frozen=True)
class Candidate:
    """One text an utterance may have been."""

    text: str
    """Words, lower case or as the recogniser writes them."""
    score: float
    """Natural log of how likely the recogniser holds it, 0 or less; comparable within one recogniser only."""
    listener: str
    """The recogniser's name."""


@dataclass(frozen=True)
class Hearing:
    """What one recogniser made of an utterance."""

    candidates: tuple[Candidate, ...]
    """Best first; empty when it took it for no speech at all."""
    free_text: str = ""
    """The best unconstrained text of the same sound, where the recogniser makes one."""


@dataclass(frozen=True)
class Speakable:
    """What can be said, in the forms recognisers take; made by `journal.wording` from its phrase grammar."""

    words: tuple[str, ...]
    """Every word of the grammar, lower case, sorted."""
    graph: dict[Expect, WordGraph]
    """A word graph for each expectation."""
    any_order: WordGraph | None = None
    """The words that people talk of the engine with, in any order, for a recogniser that writes well by itself."""
    openers: frozenset[str] = frozenset()
    """First words of phrases whose rest is free text: "note …"."""
    fillers: frozenset[str] = frozenset()
    """Words that may come before any phrase and mean nothing."""
    attention: str = ""
    """The word that every phrase must begin with; empty for none."""


@dataclass(frozen=True)
class WordGraph:
    """A finite automaton over words, deterministic and without empty arcs."""

    arcs: tuple[tuple[tuple[str, int], ...], ...]
    """For each state, its arcs as (word, next state)."""
    finals: frozenset[int]
    """States in which a sentence may end."""
    start: int = 0
    """The first state."""


class Recogniser(Protocol):
    """Turns one utterance's sound into candidate texts."""

    name: str
    """Short name, as `--listener` takes it."""

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        """Candidates for one utterance.

        Args:
            sound: shape (samples,), float32, mono at `RATE`.
            expect: what is likely to have been said.

        Raises:
            HearingError: when the recogniser cannot go on.
        """
        ...


@runtime_checkable
class Follower(Protocol):
    """A recogniser that can take in an utterance while it is being said."""

    name: str
    """Short name, as `--listener` takes it."""

    def follow(self, sound: Sound) -> str:
        """Takes in an utterance so far; `hear` of a sound that begins with it makes the same of it, only sooner.

        Args:
            sound: all of the utterance up to now, as `hear` takes it.

        Returns:
            What it makes of it so far; empty where it does not say.

        Raises:
            HearingError: when the recogniser cannot go on.
        """
        ...


@runtime_checkable
class Weigher(Protocol):
    """A recogniser that can say how likely it holds texts that others have heard."""

    name: str
    """Short name, as `--listener` takes it."""

    def weigh(self, sound: Sound, texts: Sequence[str]) -> Hearing:
        """What `hear` gave for this sound, with these texts among the candidates.

        Args:
            sound: what `hear` was last called with, the same object.
            texts: words of the phrase grammar, parted by spaces.

        Raises:
            HearingError: when the recogniser cannot go on.
        """
        ...
