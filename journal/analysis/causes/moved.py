"""Injectors that changed places, in; what that says of the cylinder where the miss sits now, out."""

from __future__ import annotations

from collections.abc import Sequence

from journal.analysis.between.swaps import Swap, Went, miss_now
from journal.analysis.causes.inference import Observation
from journal.analysis.causes.runs import Item
from journal.analysis.causes.tables import Tables
from journal.analysis.words import cylinders_in_words
from journal.facts import Subject
from journal.record.job import Job

Remarks = list[tuple[str, tuple[str, ...]]]


def swap_items(tables: Tables, swaps: Sequence[Swap], low: Sequence[int]) -> list[Item]:
    """Whether the miss of each low cylinder went with its injector; of several swaps the last counts."""
    outcomes = tables.checks[Subject.INJECTOR_SWAP].outcomes
    found: dict[int, Item] = {}
    for swap in swaps:
        place = _place(swaps, swap)
        if place is None or place not in low:
            continue
        words = {
            Went.MOVED: f"the miss went with its injector from cylinder {swap.cylinder} to cylinder {swap.other}",
            Went.STAYED: f"the miss stayed when its injector went to cylinder {swap.other}",
        }[swap.went]
        found[place] = Item(
            Observation(Subject.INJECTOR_SWAP, (outcomes.index(swap.went),), place), words, swap.entries
        )
    return list(found.values())


def said_against_shown(swaps: Sequence[Swap]) -> dict[int | None, tuple[str, ...]]:
    """Swaps whose result was said otherwise than the runs show it, in words, by where the miss is."""
    named: dict[int | None, tuple[str, ...]] = {}
    for swap in swaps:
        if Went.OPEN in (swap.said, swap.shown) or swap.said is swap.shown:
            continue
        place = _place(swaps, swap)
        words = f"{swap.said} was said of the injector swap, but the runs show {swap.shown}; make sure of both"
        named[place] = (*named.get(place, ()), words)
    return named


def not_settled(job: Job, swaps: Sequence[Swap]) -> Remarks:
    """Swaps of which something must still be said or run."""
    remarks: Remarks = []
    for swap in swaps:
        if swap.went is Went.OPEN:
            which = cylinders_in_words(sorted(swap.pair))
            said = f"The injectors of {which} changed places: run the cut-out again to see whether the miss went along."
            remarks.append((said, swap.entries))
    for fact in job.checks:
        check = fact.body
        if (check.subject, check.outcome) == (Subject.INJECTOR_SWAP, Went.MOVED) and check.other_cylinder is None:
            said = (
                f"The miss of cylinder {check.cylinder} moved with its injector, but nobody said to which cylinder: "
                f"say, for example, swapped injectors {check.cylinder} and the other's number, miss moved."
            )
            remarks.append((said, (fact.entry.id,)))
    return remarks


def _place(swaps: Sequence[Swap], swap: Swap) -> int | None:
    """Where the miss that a swap was about sits now; none while nobody knows."""
    if swap.went is Went.MOVED:
        return miss_now(swaps, swap.other, swap.at_utc)
    return miss_now(swaps, swap.cylinder, swap.at_utc) if swap.went is Went.STAYED else None
