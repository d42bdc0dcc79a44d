"""What wording takes and gives: the context of an utterance, commands, and a decision for each thing said in it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from journal.facts import Baseline, Body, Condition, Cut, Engine, PartAnswer, PartWanted, Quantity, RunStarted

LONGEST_LINE = 300
"""Characters of words that are typed at once: nobody says more in a breath."""


class Verdict(StrEnum):
    """What becomes of something heard."""

    TAKE = "take"
    ASK = "ask"
    LET_GO = "let go"


class CommandWord(StrEnum):
    """A request to the journal itself; nothing to enter by its words alone."""

    SCRATCH = "scratch"
    CORRECT = "correct"
    REPEAT = "say again"
    READ_BACK = "read back"
    MISSED = "what is missing"
    OUTLOOK = "how does it look"
    HOLD = "hold on"
    CARRY_ON = "carry on"
    YES = "yes"
    NO = "no"
    FIRST = "the first"
    SECOND = "the second"
    NEITHER = "neither"
    SKIP = "skip"
    AGAIN = "again"
    BACK = "back"


@dataclass(frozen=True)
class Command:
    """A request to the journal itself."""

    word: CommandWord
    """Which one."""
    cylinder: int | None = None
    """The cylinder it is about, for scratch and read back."""
    value: float | None = None
    """The number, for a correction."""
    about: str = ""
    """What it is about besides a cylinder: `baseline`, a quantity, `part wanted`; `cylinder` when that itself is put
    right; or empty."""
    instead_of: int | None = None
    """The cylinder that was said wrongly, where it is named."""


@dataclass(frozen=True)
class Number:
    """A bare number, as an answer to a question; means nothing when none is waiting."""

    value: float
    """The number said."""


Meaning = Body | Command | Number
"""What a phrase can mean."""


@dataclass(frozen=True)
class Range:
    """Where a quantity is expected to lie in this job."""

    quantity: Quantity
    """Which."""
    low: float
    """Not likely below, in `unit`."""
    high: float
    """Not likely above, in `unit`."""
    unit: str = ""
    """Unit of the two; empty for the quantity's first."""


@dataclass(frozen=True)
class Context:
    """What the job so far leads one to expect; it may raise a question, never choose a number."""

    engine: Engine | None = None
    """The engine's layout; without it cylinders 1 to 20 are allowed."""
    run: RunStarted | None = None
    """How the run in progress was announced; none where there is none, or its readings came unannounced."""
    run_id: str = ""
    """The identifier of the entry that announced it."""
    quantity: Quantity = Quantity.FUEL_PER_STROKE
    """What the run in progress watches."""
    unit: str = ""
    """Its unit; empty for the quantity's first."""
    baseline: float | None = None
    """The run's latest baseline in its unit."""
    already_cut: tuple[tuple[int, float], ...] = ()
    """Cylinders already cut in this run with their readings, in order."""
    done: tuple[int, ...] = ()
    """Cylinders already cut in this run, in order, whatever was read."""
    held_out: tuple[int, ...] = ()
    """Cylinders held out in this run."""
    next_cylinder: int | None = None
    """The cylinder `next` means."""
    question_options: tuple[Body, ...] = ()
    """The options of the question that is waiting, most likely first."""
    question_doubt: float = 1.0
    """The chance, by its sound alone, that the first of them was not what was said; 1 where that is not what made it a
    question."""
    awaits: Cut | Baseline | Condition | None = None
    """What a number alone is taken for, where the journal itself has asked for it; its own number means nothing."""
    expects_number: bool = False
    """True when a bare number is what is wanted now, whether or not a question is waiting."""
    ranges: tuple[Range, ...] = ()
    """Further expectations by quantity."""
    last: Body | None = None
    """What the last entry says, which "and one for five" goes on from."""
    last_id: str = ""
    """The identifier of that entry."""
    parts: tuple[tuple[PartWanted, PartAnswer], ...] = ()
    """The parts wanted, each with what is known of it."""
    units: tuple[tuple[Quantity, str], ...] = ()
    """What a number without a unit means in this shop; a quantity that is not there is in its first unit."""
    speaker: float = 0.0
    """How much better than others who speaks is understood: natural log, added to the odds of what they read out."""


@dataclass(frozen=True)
class Decision:
    """What becomes of one thing heard; an utterance gives one or more, in the order said."""

    verdict: Verdict
    """Take it, ask, or let it go."""
    meaning: Meaning | None
    """The most likely meaning; none when let go, and when a question asks for the same words again."""
    alternatives: tuple[Meaning, ...] = ()
    """Other meanings it may have had, most likely first."""
    certainty: float = 1.0
    """Probability, 0 to 1, that `meaning` is what was said."""
    heard: str = ""
    """The words it was made from."""
    prompt: str = ""
    """The question to put, when the verdict is ask."""
    reason: str = ""
    """Why it is asked or let go, in a few words."""
