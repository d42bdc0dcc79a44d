"""What was made of speech before a pause in, whether it can hardly go on after it out."""

from __future__ import annotations

from collections.abc import Sequence

from journal.facts import Baseline, Cut
from journal.wording.expect import decimals
from journal.wording.network import ending
from journal.wording.tokens import tokenise
from journal.wording.types import Command, CommandWord, Context, Decision, Verdict

_READ = frozenset({"value", "reading", "signed"})
"""Slots filled by what a display shows."""


def certain(decisions: Sequence[Decision]) -> bool:
    """Whether something was said and all of it is taken."""
    return bool(decisions) and all(d.verdict is Verdict.TAKE for d in decisions)


def complete(decisions: Sequence[Decision], context: Context) -> bool:
    """Whether every thing said is certain and the last of them is said to its end.

    It is where no phrase of its words has further words to come and no number at its end may become another one:
    "thirty eight" may still become "thirty eight point two" where the scanner shows tenths, "thirty" may become
    "thirty eight" where it shows whole numbers.

    Args:
        decisions: what was made of the speech before the pause.
        context: the job so far.
    """
    if not certain(decisions):
        return False
    *_, last = decisions
    words = [token.text for token in tokenise(last.heard)]
    how = ending(words)
    if how is None or not isinstance(last.meaning, Cut | Baseline | Command):
        # After anything else it may still be said where, or what is thought of it: "fifteen thou, too tight".
        return False
    if last.meaning == Command(CommandWord.SCRATCH):
        # "Scratch that baseline" is not the last thing said.
        return False
    if how.slots & _READ:
        # A unit may follow: nobody changes it within a run.
        return _to_the_last_figure(last.meaning.value, context.baseline)
    # A cylinder at the end may be the next reading's: "broken bridge; cylinder three, no change".
    return not how.more and not how.slots


def _to_the_last_figure(value: float | None, baseline: float | None) -> bool:
    """Whether a reading has as many decimals as its run's are told with."""
    if value is None:
        return False
    said = decimals(value)
    if baseline is None:
        return said > 0
    return said >= decimals(baseline) and (said > 0 or value % 10 != 0)
