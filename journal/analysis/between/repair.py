"""The same run before and after the repair to one verdict on every cylinder, from which every sentence is made."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from journal.analysis.between.conditions import Judged
from journal.analysis.findings import Contribution, Mended, Standing
from journal.analysis.run.find import LOW
from journal.analysis.settings import Settings

_MAY_DIFFER = ("after_repair", "swapped")


@dataclass(frozen=True)
class Repair:
    """What became of every cylinder between the last run before a repair and the last one after it."""

    before: Judged | None
    """The run before, under the same conditions; none without one."""
    after: Judged
    """The run after."""
    back: tuple[int, ...] = ()
    """Low before, and shown to pull more and not to be low now."""
    still_low: tuple[int, ...] = ()
    """Low before and now."""
    new_low: tuple[int, ...] = ()
    """Low now and not before."""
    unsettled: tuple[int, ...] = ()
    """Low before, and not read, not judged, or not shown to pull more now."""

    @property
    def verdict(self) -> Mended:
        """All of it in one word."""
        if self.before is None:
            return Mended.NOT_COMPARED
        if self.still_low or self.new_low:
            return Mended.NO
        if self.unsettled or self.after.finding.missing:
            return Mended.OPEN
        return Mended.YES if self.back else Mended.NEVER_LOW


def difference(a: Contribution, b: Contribution) -> float:
    """How many standard uncertainties b's strength stands above a's."""
    return (b.strength - a.strength) / max(math.hypot(a.strength_u, b.strength_u), 1e-6)


def repair_of(judged: Sequence[Judged], settings: Settings) -> Repair | None:
    """What the last run after a repair shows against the last one before it; none without such a run."""
    after = [run for run in judged if run.conditions.after_repair]
    if not after:
        return None
    now = after[-1]
    alike = [
        run
        for run in judged
        if not run.conditions.after_repair
        and run.conditions.like(now.conditions, settings, but=("after_repair", "swapped"))
    ]
    if not alike:
        return Repair(None, now)
    before = alike[-1]
    back: list[int] = []
    still: list[int] = []
    new: list[int] = []
    open_: list[int] = []
    for cylinder in sorted({c.cylinder for run in (before, now) for c in run.finding.contributions}):
        was, is_now = before.of(cylinder), now.of(cylinder)
        was_low = was is not None and was.standing in LOW
        if is_now is not None and is_now.standing in LOW:
            (still if was_low else new).append(cylinder)
        elif was is not None and was_low:
            settled = is_now is not None and is_now.standing is not Standing.UNCLEAR
            shown = settled and is_now is not None and difference(was, is_now) > settings.changed_z
            (back if shown else open_).append(cylinder)
    return Repair(before, now, tuple(back), tuple(still), tuple(new), tuple(open_))
