"""Judged runs in; what they say of each low cylinder and of the engine, as results that enter inference, out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from journal.analysis.findings import Contribution, RunFinding, Standing
from journal.analysis.inference import Observation
from journal.facts import PressureLevel, RunKind
from journal.record.job import Job, Run

LOW = frozenset({Standing.DEAD, Standing.WEAK})
"""Standings of a cylinder that does not pull as its peers do."""

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


def same_conditions(one: Run, other: Run) -> bool:
    """Whether two runs were made in the same way, whether or not one was said to repeat the other."""
    plain = (replace(run.start, repeat=False, after_repair=False, idle_fuel=None) for run in (one, other))
    return next(plain) == next(plain)


def run_items(pairs: Sequence[Pair], low: Sequence[int], standing: Mapping[int, Standing]) -> list[Item]:
    """What the runs say of each low cylinder, and of the engine."""
    now = as_it_is_now(pairs)
    items = []
    for cylinder in low:
        read = _readings_of(cylinder, now)
        dead = standing[cylinder] is Standing.DEAD
        words = "dead, no rise when cut" if dead else "weak, a small rise when cut"
        entries = tuple(entry for _, found in read for entry in found.entries)
        items.append(Item(Observation("how low", (1 if dead else 0,), cylinder), words, entries))
        features = (_under_load(cylinder, read), _with_pressure(cylinder, read), _again(cylinder, read))
        items += [item for item in features if item is not None]
    return [*items, *_of_engine(now)]


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
    idle = [f for run, f in read if run.start.run is not RunKind.HALF_ENGINE and not _pressure_was_set(run)]
    half = [f for run, f in read if run.start.run is RunKind.HALF_ENGINE]
    if not idle or not half or not {idle[-1].standing, half[-1].standing} & LOW:
        return None
    at_idle, loaded = idle[-1].standing in LOW, half[-1].standing in LOW
    outcome = 0 if at_idle and loaded else 1 if loaded else 2
    words = ("low at idle and under load", "low only under load", "low at idle, pulls under load")[outcome]
    return Item(Observation("under load", (outcome,), cylinder), words, (*idle[-1].entries, *half[-1].entries))


def _with_pressure(cylinder: int, read: Sequence[tuple[Run, Contribution]]) -> Item | None:
    """A run at higher injection pressure against one at lower, or at the pressure the engine chose."""
    runs = [run for run, _ in read]
    raised = [f for run, f in read if is_high(run, runs)]
    lower = [f for run, f in read if is_low(run, runs)] or [
        f for run, f in read if not _pressure_was_set(run) and run.start.run is not RunKind.HALF_ENGINE
    ]
    if not raised or not lower or not {lower[-1].standing, raised[-1].standing} & LOW:
        return None
    before, after = lower[-1], raised[-1]
    if before.standing in LOW and after.standing not in LOW:
        outcome, words = 2, "comes back at high injection pressure"
    elif after.low > before.high and after.strength > before.strength:
        outcome, words = 1, "rises a little at high injection pressure"
    else:
        outcome, words = 0, "no better at high injection pressure"
    return Item(Observation("injection pressure", (outcome,), cylinder), words, (*before.entries, *after.entries))


def _again(cylinder: int, read: Sequence[tuple[Run, Contribution]]) -> Item | None:
    """Low in a run and low, or not, when the same run was made again."""
    for place, (run, found) in enumerate(read):
        later = [(r, f) for r, f in read[place + 1 :] if same_conditions(run, r)]
        if found.standing in LOW and later:
            again = later[-1][1].standing in LOW
            words = "low again when the run was repeated" if again else "not low when the run was repeated"
            entries = (*found.entries, *later[-1][1].entries)
            return Item(Observation("same run again", (0 if again else 1,), cylinder), words, entries)
    return None


def _of_engine(pairs: Sequence[Pair]) -> list[Item]:
    """Whether the shares add up, and whether half the cylinders or more are low."""
    items = []
    summed = [finding for _, finding in pairs if finding.total is not None]
    if summed:
        fits = all(finding.trusted for finding in summed)
        words = "the shares add up" if fits else "the shares do not add up"
        items.append(Item(Observation("sum of shares", (0 if fits else 1,), None), words, ()))
        runs = [run for run, _ in pairs]
        many = [run for run, finding in pairs if finding.half_low]
        raised = [run for run, finding in pairs if is_high(run, runs) and finding.contributions]
        back = bool(many) and bool(raised) and not any(run in many for run in raised)
        outcome = 2 if back else 1 if many else 0
        words = (
            "few cylinders low",
            "half the cylinders or more low",
            "half the cylinders or more low until injection pressure is raised",
        )[outcome]
        items.append(Item(Observation("how many", (outcome,), None), words, ()))
    return items


def _pressure_was_set(run: Run) -> bool:
    return run.start.pressure is not None or run.start.pressure_value is not None


def is_high(run: Run, others: Sequence[Run]) -> bool:
    """Whether injection pressure was set high, by word or by being the highest of several values in one unit."""
    return run.start.pressure is PressureLevel.HIGH or _extreme(run, others, highest=True)


def is_low(run: Run, others: Sequence[Run]) -> bool:
    """Whether injection pressure was set low, by word or by being the lowest of several values in one unit."""
    return run.start.pressure is PressureLevel.LOW or _extreme(run, others, highest=False)


def _extreme(run: Run, others: Sequence[Run], *, highest: bool) -> bool:
    value = run.start.pressure_value
    values = {
        other.start.pressure_value
        for other in others
        if other.start.pressure_value is not None and other.start.pressure_unit == run.start.pressure_unit
    }
    if value is None or run.start.pressure is not None or len(values) < 2:
        return False
    return value == (max(values) if highest else min(values))
