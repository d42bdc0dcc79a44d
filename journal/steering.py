"""A word that steers the journal while it leads in, what it comes to out."""

from __future__ import annotations

from journal.answering import what
from journal.facts import Withdrawal
from journal.outcome import Acting, Outcome, let_go
from journal.record.job import Job, Reading
from journal.wording.types import CommandWord, Decision, Verdict


def steer(acting: Acting, decision: Decision, word: CommandWord, job: Job, clip: str) -> Outcome:
    """What steers the journal while it leads."""
    if acting.lead is None:
        return let_go(decision, "said only while the journal leads")
    if word is CommandWord.BACK:
        back = acting.lead.back(job)
        if isinstance(back, Reading):
            entry = acting.enter(Withdrawal(back.entry), heard=decision.heard, clip=clip, certainty=decision.certainty)
            text = f"taken back: {what(entry, acting.job)}"
            return Outcome(Verdict.TAKE, text, text, entry, decision)
        text = back
    else:
        text = acting.lead.skip(job, acting.clock()) if word is CommandWord.SKIP else acting.lead.again(job)
    if not text:
        return let_go(decision, "there is nothing that this could be about")
    # What comes next is asked for by itself: "four again" says it already.
    return Outcome(Verdict.TAKE, text, "" if word is CommandWord.AGAIN else text, None, decision)
