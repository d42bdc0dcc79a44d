"""The same run before and after the repair, in; one plain sentence whether it is mended, out."""

from __future__ import annotations

from collections.abc import Sequence

from journal.analysis.causes_words import capital, cylinders_in_words, listed
from journal.analysis.findings import RunFinding, Standing
from journal.record.job import Job, Run

LOW = frozenset({Standing.DEAD, Standing.WEAK})


def mended_sentence(job: Job, runs: Sequence[RunFinding]) -> str:
    """Whether the run after the repair shows it mended; empty when there is none with readings."""
    facts = {run.id: run for run in job.runs}
    pairs = [(facts[found.run], found) for found in runs if found.run in facts and found.contributions]
    after = [pair for pair in pairs if pair[0].start.after_repair]
    if not after:
        return ""
    run, now = after[-1]
    before = [found for earlier, found in pairs if not earlier.start.after_repair and _same(earlier, run)]
    if not before:
        return "No run under the same conditions was made before the repair: there is nothing to compare with."
    was = {c.cylinder for c in before[-1].contributions if c.standing in LOW}
    is_low = {c.cylinder for c in now.contributions if c.standing in LOW}
    unclear = {c.cylinder for c in now.contributions if c.standing is Standing.UNCLEAR}
    unread = was - {c.cylinder for c in now.contributions}
    still, new, back = sorted(was & is_low), sorted(is_low - was), sorted(was - is_low - unclear - unread)
    parts = []
    if back:
        parts.append(f"{cylinders_in_words(back)} pull{'s' if len(back) == 1 else ''} as the others again")
    if still:
        parts.append(f"{cylinders_in_words(still)} {'is' if len(still) == 1 else 'are'} still low")
    if new:
        verb, was_verb = ("is", "was") if len(new) == 1 else ("are", "were")
        parts.append(f"{cylinders_in_words(new)} {verb} now low and {was_verb} not before")
    doubtful = sorted((was & unclear) | unread)
    if doubtful:
        parts.append(f"{cylinders_in_words(doubtful)} cannot be judged yet: repeat the reading")
    if still or new:
        return f"Not mended: {listed(parts)}."
    if doubtful or now.missing:
        more = [] if doubtful else [f"{cylinders_in_words(now.missing)} not read yet"]
        return f"Not yet shown to be mended: {listed([*parts, *more])}."
    if not was:
        return "The run after the repair shows no cylinder low, and neither did the one before."
    return f"Mended: {capital(listed(parts))}."


def _same(earlier: Run, later: Run) -> bool:
    """Whether two runs were made under the same conditions."""
    a, b = earlier.start, later.start
    return (a.run, a.held_out, a.pressure, a.pressure_value) == (b.run, b.held_out, b.pressure, b.pressure_value)
