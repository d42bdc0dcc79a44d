"""What was made of speech before a pause in, whether it can hardly go on after it out."""

from __future__ import annotations

from collections.abc import Sequence

from journal.facts import Cut
from journal.wording.types import Command, CommandWord, Context, Decision, Verdict

_MAY_GO_ON = (CommandWord.SCRATCH, CommandWord.READ_BACK, CommandWord.CORRECT)
"""Commands that a cylinder or a number may follow."""


def complete(decisions: Sequence[Decision], context: Context) -> bool:
    """Whether every thing said is certain and the last of them is said to its end.

    A reading is, when it has as many decimals as the run's baseline: "thirty eight" may still become "thirty eight
    point two" where the scanner shows tenths, and "thirty" may become "thirty eight" where it shows whole numbers.

    Args:
        decisions: what was made of the speech before the pause.
        context: the job so far.
    """
    if not decisions or any(d.verdict is not Verdict.TAKE for d in decisions):
        return False
    match decisions[-1].meaning:
        case Cut(_, None):
            return True
        case Cut(_, float(value)) if context.baseline is not None:
            wanted, said = _decimals(context.baseline), _decimals(value)
            return said == wanted and (said > 0 or value % 10 != 0)
        case Command(word):
            return word not in _MAY_GO_ON
        case _:
            return False


def _decimals(value: float) -> int:
    text = f"{value:.6f}".rstrip("0")
    return len(text.partition(".")[2])
