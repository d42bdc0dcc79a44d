"""Injectors that changed places to whether the miss went along, and where the miss of a cylinder sits now."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from journal.analysis.between.conditions import Judged
from journal.analysis.findings import Standing
from journal.analysis.run.find import LOW
from journal.facts import Check, Subject
from journal.record.job import Fact, Job


class Went(StrEnum):
    """What became of the miss when two injectors changed places."""

    MOVED = "miss moved"
    """It went along with the injector."""
    STAYED = "miss stayed"
    """It stayed with the cylinder."""
    GONE = "miss gone"
    """Neither cylinder is low any more."""
    OPEN = "not known yet"
    """Nobody said, and no run tells."""


@dataclass(frozen=True)
class Swap:
    """Two injectors that changed places."""

    cylinder: int
    """Where the suspect one sat."""
    other: int
    """Where it sits since."""
    at_utc: datetime
    """From when on."""
    said: Went = Went.OPEN
    """What was said of the miss."""
    shown: Went = Went.OPEN
    """What the runs before and after show."""
    runs: tuple[str, str] | None = None
    """Identifiers of the runs before and after that show it."""
    entries: tuple[str, ...] = ()
    """Identifiers of the entries that tell of it."""

    @property
    def went(self) -> Went:
        """What counts: what the runs show, else what was said."""
        return self.said if self.shown is Went.OPEN else self.shown

    @property
    def pair(self) -> frozenset[int]:
        """Both cylinders."""
        return frozenset((self.cylinder, self.other))


def swaps_of(job: Job, judged: Sequence[Judged]) -> tuple[Swap, ...]:
    """The swaps of a job whose two places are known, in order.

    What is said again of the same two is the result of the swap already known, unless the runs between show that the
    miss has changed places since: then they were swapped before the first run that shows it, as a result is said
    after its run.
    """
    swaps: list[Swap] = []
    for fact in job.checks:
        places = {fact.body.cylinder, fact.body.other_cylinder}
        if fact.body.subject is not Subject.INJECTOR_SWAP or None in places or len(places) < 2:
            continue
        now = _said(fact)
        since = swaps[-1].at_utc if swaps else None
        runs = [j for j in judged if j.started_at < now.at_utc and (since is None or j.started_at >= since)]
        changed = _changed(now, runs) if now.said is Went.MOVED else None
        if changed is not None:
            swaps.append(replace(now, at_utc=changed))
        elif swaps and swaps[-1].pair == now.pair and (now.said is not Went.OPEN or _again(swaps[-1], runs)):
            swaps[-1] = replace(swaps[-1], said=now.said, entries=(*swaps[-1].entries, *now.entries))
        else:
            swaps.append(now)
    if not swaps:
        return ()
    ends = [swap.at_utc for swap in swaps[1:]]
    return tuple(_shown(swap, judged, until) for swap, until in zip(swaps, [*ends, None], strict=True))


def place_now(swaps: Sequence[Swap], cylinder: int, at_utc: datetime) -> int:
    """Where what was low, or not, at a cylinder then sits now: it goes with its injector where the miss did."""
    for swap in swaps:
        if swap.went is Went.MOVED and swap.at_utc > at_utc and cylinder in swap.pair:
            (cylinder,) = swap.pair - {cylinder}
    return cylinder


def miss_now(swaps: Sequence[Swap], cylinder: int, at_utc: datetime) -> int:
    """Where a miss that was looked into at a cylinder then sits now; of the other cylinder nothing goes along."""
    for swap in swaps:
        if swap.went is Went.MOVED and swap.at_utc > at_utc and cylinder == swap.cylinder:
            cylinder = swap.other
    return cylinder


def seats(swaps: Sequence[Swap], at_utc: datetime) -> tuple[tuple[int, int], ...]:
    """Cylinders whose injector came from another one by then, with that one, in number order."""
    home: dict[int, int] = {}
    for swap in swaps:
        if swap.at_utc <= at_utc:
            a, b = swap.cylinder, swap.other
            home[a], home[b] = home.get(b, b), home.get(a, a)
    return tuple(sorted((c, h) for c, h in home.items() if c != h))


def came_from(swaps: Sequence[Swap], cylinder: int) -> int | None:
    """The cylinder from which the miss of this one came with its injector; none where it did not."""
    home = cylinder
    for swap in reversed(swaps):
        if swap.went is Went.MOVED and home == swap.other:
            home = swap.cylinder
    return None if home == cylinder else home


def _said(fact: Fact[Check]) -> Swap:
    check = fact.body
    assert check.cylinder is not None and check.other_cylinder is not None
    said = Went(check.outcome) if check.outcome in list(Went) else Went.OPEN
    return Swap(check.cylinder, check.other_cylinder, fact.entry.at_utc, said, entries=(fact.entry.id,))


def _again(swap: Swap, runs: Sequence[Judged]) -> bool:
    """Whether a swap told of once more is still the same: nothing came of it yet."""
    return swap.said is Went.OPEN and not runs


def _changed(swap: Swap, runs: Sequence[Judged]) -> datetime | None:
    """When the first run began that shows the other one of the two low instead of the one that was; none without."""
    was: int | None = None
    for run in runs:
        low = [c for c in swap.pair if _low(run, c)]
        if len(low) != 1:
            continue
        if was is not None and low[0] != was and _low(run, was) is False:
            return run.started_at
        was = low[0]
    return None


def _shown(swap: Swap, judged: Sequence[Judged], until: datetime | None) -> Swap:
    """The swap with what the runs on both sides of it show, the one that was low before as the suspect.

    The last two that were made in the same way and tell count: a cylinder may pull at one pressure and not at another.
    """
    runs = [j for j in judged if not j.conditions.after_repair]
    before = [j for j in runs if j.started_at < swap.at_utc]
    after = [j for j in runs if j.started_at >= swap.at_utc and (until is None or j.started_at < until)]
    for now in reversed(after):
        for was in reversed(before):
            if _made_alike(was, now) and (told := _told(swap, was, now)) is not None:
                return told
    return swap


def _made_alike(one: Judged, other: Judged) -> bool:
    a, b = one.conditions, other.conditions
    return (a.kind, a.quantity, a.held_out) == (b.kind, b.quantity, b.held_out) and a.pressure.same(b.pressure)


_SHOWS: dict[tuple[bool | None, bool | None], Went] = {
    (False, True): Went.MOVED,
    (True, False): Went.STAYED,
    (False, False): Went.GONE,
}
"""What became of a miss, by whether its own cylinder and the other one are low after the swap."""


def _told(swap: Swap, was: Judged, now: Judged) -> Swap | None:
    """What two runs show of a swap; none where they do not tell."""
    low = [c for c in swap.pair if _low(was, c)]
    if len(low) != 1:
        return None
    suspect = low[0]
    (other,) = swap.pair - {suspect}
    shown = _SHOWS.get((_low(now, suspect), _low(now, other)))
    if shown is None:
        return None
    return replace(swap, cylinder=suspect, other=other, shown=shown, runs=(was.finding.run, now.finding.run))


def _low(run: Judged, cylinder: int) -> bool | None:
    found = run.of(cylinder)
    if found is None or found.standing is Standing.UNCLEAR:
        return None
    return found.standing in LOW
