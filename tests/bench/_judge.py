"""What a decision is worth: right, asked, lost or wrong, and what that costs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from journal.facts import Body, JobFact, Note, RepairDone
from journal.wording import Command, Decision, Number, Verdict

RIGHT, ASKED, UNNAMED, LOST, WRONG = "right", "asked, named", "asked, not named", "lost", "wrong"
COSTS = {RIGHT: 0.0, ASKED: 1.0, UNNAMED: 1.0, LOST: 3.0, WRONG: 50.0}
ENTERED, ACTED, NONE = "entered", "acted on", "let go"
CHAT_COSTS = {ENTERED: 50.0, ACTED: 50.0, ASKED: 1.0, NONE: 0.0}


@dataclass
class Tally:
    """How a system did."""

    counts: Counter[str] = field(default_factory=Counter)

    @property
    def count(self) -> int:
        return sum(self.counts.values())

    def share(self, *names: str) -> float:
        """How many of a hundred."""
        return 100 * sum(self.counts[name] for name in names) / max(1, self.count)

    def cost(self) -> float:
        """What a hundred utterances cost, in questions."""
        costs = COSTS | CHAT_COSTS
        return 100 * sum(costs[name] * count for name, count in self.counts.items()) / max(1, self.count)


def said_so(meant: Sequence[object], expected: Sequence[object]) -> bool:
    """Whether these are the things said; of a note and the like only that it is one: its words are dictation."""
    return len(meant) == len(expected) and all(map(same, meant, expected))


def judged(decisions: Sequence[Decision], expected: Sequence[object]) -> str:
    """What became of a phrase for the tool; a command wrongly acted on is as wrong as an entry."""
    taken = [d.meaning for d in decisions if d.verdict is Verdict.TAKE]
    if any(not any(same(meaning, each) for each in expected) for meaning in taken):
        return WRONG
    if said_so(taken, expected):
        return RIGHT
    asked = [d for d in decisions if d.verdict is Verdict.ASK]
    if asked:
        named = [*taken, *(m for d in asked for m in (d.meaning, *d.alternatives))]
        return ASKED if all(any(same(m, each) for m in named) for each in expected) else UNNAMED
    return LOST


def judged_chat(decisions: Sequence[Decision]) -> str:
    """What became of speech that is not for the tool; a number that nothing waits for is nothing."""
    taken = [d.meaning for d in decisions if d.verdict is Verdict.TAKE]
    if any(isinstance(meaning, Body) for meaning in taken):
        return ENTERED
    if any(isinstance(meaning, Command | Number) for meaning in taken):
        return ACTED
    return ASKED if any(d.verdict is Verdict.ASK for d in decisions) else NONE


def same(one: object, other: object) -> bool:
    """Whether two meanings are the same; see `said_so`."""
    if isinstance(one, Note | RepairDone | JobFact):
        return type(one) is type(other) and getattr(one, "field", "") == getattr(other, "field", "")
    return one == other
