"""Judged runs in; what they say of each low cylinder and of the engine, as results that enter inference, out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from journal.analysis.between.compare import Between
from journal.analysis.between.conditions import Judged
from journal.analysis.between.pressure import Answer, pressed, series_of
from journal.analysis.between.swaps import Swap, Went, place_now
from journal.analysis.causes.inference import Observation
from journal.analysis.findings import Contribution, RunFinding, Standing
from journal.analysis.run.find import LOW
from journal.analysis.settings import Settings
from journal.facts import RunKind, RunStarted
from journal.record.job import Job, Run

_WORST_FIRST = (Standing.DEAD, Standing.WEAK, Standing.UNCLEAR, Standing.EVEN, Standing.STRONG)

Pair = tuple[Run, RunFinding]
"""A run and what it says."""


@dataclass(frozen=True)
class Item:
    """One result with the words and entries it rests on."""

    observation: Observation
    """What enters inference."""
    words: str
    """What was found, in few words, e.g. `blow-by light`."""
    entries: tuple[str, ...]
    """Identifiers of the entries it rests on."""


def paired(job: Job, runs: Sequence[RunFinding]) -> list[Pair]:
    """Every run with what it says, in order."""
    by_id = {run.id: run for run in job.runs}
    return [(by_id[finding.run], finding) for finding in runs if finding.run in by_id]


def followed(pairs: Sequence[Pair], swaps: Sequence[Swap]) -> list[Pair]:
    """The runs with what they say told of the cylinder where it would be seen now: a miss may have gone elsewhere."""
    return [(run, _told_now(finding, swaps, run.started_at)) for run, finding in pairs]


def _told_now(finding: RunFinding, swaps: Sequence[Swap], at_utc: datetime) -> RunFinding:
    if not any(swap.went is Went.MOVED and swap.at_utc > at_utc for swap in swaps):
        return finding
    told = [replace(c, cylinder=place_now(swaps, c.cylinder, at_utc)) for c in finding.contributions]
    return replace(finding, contributions=tuple(sorted(told, key=lambda c: c.cylinder)))


def as_it_is_now(pairs: Sequence[Pair]) -> list[Pair]:
    """The runs that say how the engine is now: those after the repair once one of them has readings."""
    after = [(run, finding) for run, finding in pairs if run.start.after_repair and finding.contributions]
    return after or list(pairs)


def standings_over(pairs: Sequence[Pair]) -> dict[int, Standing]:
    """The worst standing each cylinder was given in any of the runs, by cylinder."""
    found: dict[int, Standing] = {}
    for _, finding in pairs:
        for contribution in finding.contributions:
            both = (contribution.standing, found.get(contribution.cylinder, Standing.STRONG))
            found[contribution.cylinder] = min(both, key=_WORST_FIRST.index)
    return dict(sorted(found.items()))


def run_items(
    pairs: Sequence[Pair], low: Sequence[int], standing: Mapping[int, Standing], between: Between
) -> list[Item]:
    """What the runs say of each low cylinder, and of the engine."""
    now = as_it_is_now(pairs)
    judged = [replace(j, finding=found) for j in between.judged for _, found in now if j.finding.run == found.run]
    items = []
    for cylinder in low:
        read = _readings_of(cylinder, now)
        dead = standing[cylinder] is Standing.DEAD
        words = "dead, no rise when cut" if dead else "weak, a small rise when cut"
        entries = tuple(entry for _, found in read for entry in found.entries)
        items.append(Item(Observation("how low", (1 if dead else 0,), cylinder), words, entries))
        features = (
            _under_load(cylinder, read),
            _with_pressure(cylinder, judged, between.settings),
            _again(cylinder, judged, between.settings),
        )
        items += [item for item in features if item is not None]
    return [*items, *_of_engine(now, judged, between.settings)]


def _readings_of(cylinder: int, pairs: Sequence[Pair]) -> list[tuple[Run, Contribution]]:
    """The runs that judged a cylinder, with what they say of it."""
    return [
        (run, found)
        for run, finding in pairs
        for found in finding.contributions
        if found.cylinder == cylinder and found.standing is not Standing.UNCLEAR
    ]


def _under_load(cylinder: int, read: Sequence[tuple[Run, Contribution]]) -> Item | None:
    """Low at idle against low with half the engine held out."""
    idle = [f for run, f in read if run.start.run is not RunKind.HALF_ENGINE and not _was_set(run.start)]
    half = [f for run, f in read if run.start.run is RunKind.HALF_ENGINE]
    if not idle or not half or not {idle[-1].standing, half[-1].standing} & LOW:
        return None
    at_idle, loaded = idle[-1].standing in LOW, half[-1].standing in LOW
    outcome = 0 if at_idle and loaded else 1 if loaded else 2
    words = ("low at idle and under load", "low only under load", "low at idle, pulls under load")[outcome]
    return Item(Observation("under load", (outcome,), cylinder), words, (*idle[-1].entries, *half[-1].entries))


def _with_pressure(cylinder: int, judged: Sequence[Judged], settings: Settings) -> Item | None:
    """A run at higher injection pressure against one at lower, or at the pressure the engine chose."""
    for series in reversed(series_of(_clear(cylinder, judged), settings)):
        taken = pressed(cylinder, series, settings)
        if taken is None:
            continue
        before, after = taken.levels[0].found, taken.levels[-1].found
        if not {before.standing, after.standing} & LOW:
            continue
        turned = (before.standing in LOW) != (after.standing in LOW)
        if taken.answer is Answer.VARIES or (taken.answer is Answer.SAME and turned):
            return None  # What the readings do not settle says nothing of a cause.
        outcome = _PRESSED[taken.answer]
        words = _PRESSED_WORDS[outcome]
        return Item(Observation("injection pressure", (outcome,), cylinder), words, (*before.entries, *after.entries))
    return None


_PRESSED = {Answer.SAME: 0, Answer.FALLS: 0, Answer.RISES: 1, Answer.RECOVERS: 2}
_PRESSED_WORDS = (
    "no better at high injection pressure",
    "rises a little at high injection pressure",
    "comes back at high injection pressure",
)


def _clear(cylinder: int, judged: Sequence[Judged]) -> list[Judged]:
    """The runs that judged a cylinder."""
    return [j for j in judged if (c := j.of(cylinder)) is not None and c.standing is not Standing.UNCLEAR]


def _again(cylinder: int, judged: Sequence[Judged], settings: Settings) -> Item | None:
    """Low in a run and low, or not, when the same run was made again."""
    read = _clear(cylinder, judged)
    for place, run in enumerate(read):
        found = run.of(cylinder)
        later = [j for j in read[place + 1 :] if j.conditions.like(run.conditions, settings, but=("swapped",))]
        now = later[-1].of(cylinder) if later else None
        if found is not None and now is not None and found.standing in LOW:
            again = now.standing in LOW
            words = "low again when the run was repeated" if again else "not low when the run was repeated"
            entries = (*found.entries, *now.entries)
            return Item(Observation("same run again", (0 if again else 1,), cylinder), words, entries)
    return None


def _of_engine(pairs: Sequence[Pair], judged: Sequence[Judged], settings: Settings) -> list[Item]:
    """Whether the shares add up, and whether half the cylinders or more are low."""
    items = []
    summed = [finding for _, finding in pairs if finding.total is not None]
    if summed:
        fits = all(finding.trusted for finding in summed)
        words = "the shares add up" if fits else "the shares do not add up"
        items.append(Item(Observation("sum of shares", (0 if fits else 1,), None), words, ()))
        many = [j for j in judged if j.finding.half_low]
        back = any(_back_with_pressure(series) for series in series_of(judged, settings))
        outcome = 2 if back else 1 if many else 0
        words = (
            "few cylinders low",
            "half the cylinders or more low",
            "half the cylinders or more low until injection pressure is raised",
        )[outcome]
        items.append(Item(Observation("how many", (outcome,), None), words, ()))
    return items


def _back_with_pressure(series: Sequence[Judged]) -> bool:
    """Whether half the cylinders or more are low at the lowest pressure of a series, and not at the highest."""
    return bool(series[0].finding.half_low) and not series[-1].finding.half_low


def _was_set(start: RunStarted) -> bool:
    return start.pressure is not None or start.pressure_value is not None
