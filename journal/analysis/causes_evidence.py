"""A job and its judged runs in; the results that enter inference out, one for each check and cylinder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from journal.analysis.causes_tables import CheckRow, Tables
from journal.analysis.findings import Contribution, RunFinding, Standing
from journal.analysis.inference import Observation
from journal.facts import MEASURED, Check, PressureLevel, RunKind, Subject
from journal.record.job import Fact, Job, Run

LOW = frozenset({Standing.DEAD, Standing.WEAK})
"""Standings of a cylinder that does not pull as its peers do."""

_ELECTRICAL_FMI = frozenset({3, 4, 5, 6, 8, 9, 11, 12, 19})
_MECHANICAL_FMI = frozenset({0, 1, 7, 10, 15, 16, 17, 18, 20, 21})
_FIRST_INJECTOR_SPN = 651
"""SPN 651 is injector 1 and 670 injector 20 in SAE J1939 (from memory)."""


@dataclass(frozen=True)
class Item:
    """One result with the words and entries it rests on."""

    observation: Observation
    """What enters inference."""
    words: str
    """What was found, in few words, e.g. `blow-by light`."""
    entries: tuple[str, ...]
    """Identifiers of the entries it rests on."""


@dataclass(frozen=True)
class Gathered:
    """Everything a job holds about its low cylinders."""

    low: tuple[int, ...]
    """The low cylinders, worst first."""
    standing: Mapping[int, Standing]
    """Standing over all runs, by cylinder, of every cylinder with a reading."""
    items: tuple[Item, ...]
    """Results that enter inference."""
    contradictions: Mapping[int | None, tuple[str, ...]]
    """Results that contradict earlier ones, in words, by cylinder; none for the whole engine."""
    unjudged: tuple[str, ...]
    """Checks that gave a number and no judgement, in words."""


def gather(tables: Tables, job: Job, runs: Sequence[RunFinding]) -> Gathered:
    """What a job's runs, codes and checks say, the last of the same check and cylinder counting."""
    facts = {run.id: run for run in job.runs}
    pairs = [(facts[finding.run], finding) for finding in runs if finding.run in facts]
    relevant = _relevant(pairs)
    standing = _standings(relevant)
    low = tuple(sorted((c for c, s in standing.items() if s in LOW), key=lambda c: (standing[c], c)))
    items = [*_run_items(pairs, relevant, low, standing), *_code_items(job, low)]
    checked, contradictions, unjudged = _check_items(tables, job, low)
    return Gathered(low, standing, (*items, *checked), contradictions, unjudged)


Pair = tuple[Run, RunFinding]


def _relevant(pairs: Sequence[Pair]) -> list[Pair]:
    """The runs that say how the engine is now: those after the repair once there are any."""
    after = [pair for pair in pairs if pair[0].start.after_repair and pair[1].contributions]
    return after or list(pairs)


def _standings(pairs: Sequence[Pair]) -> dict[int, Standing]:
    """The worst standing each cylinder was given in any run."""
    worst = [Standing.DEAD, Standing.WEAK, Standing.UNCLEAR, Standing.EVEN, Standing.STRONG]
    found: dict[int, Standing] = {}
    for _, finding in pairs:
        for contribution in finding.contributions:
            before = found.get(contribution.cylinder)
            if before is None or worst.index(contribution.standing) < worst.index(before):
                found[contribution.cylinder] = contribution.standing
    return dict(sorted(found.items()))


def _of(finding: RunFinding, cylinder: int) -> Contribution | None:
    return next((c for c in finding.contributions if c.cylinder == cylinder), None)


def _pressure(run: Run) -> PressureLevel | None:
    return run.start.pressure


def _run_items(
    pairs: Sequence[Pair], relevant: Sequence[Pair], low: Sequence[int], standing: Mapping[int, Standing]
) -> list[Item]:
    items = []
    for cylinder in low:
        read = [(run, found) for run, finding in relevant if (found := _of(finding, cylinder)) is not None]
        entries = tuple(entry for _, found in read for entry in found.entries)
        dead = standing[cylinder] is Standing.DEAD
        items.append(
            Item(
                Observation("how low", (1 if dead else 0,), cylinder),
                "dead, no rise when cut" if dead else "weak, a small rise when cut",
                entries,
            )
        )
        every = [(run, found) for run, finding in pairs if (found := _of(finding, cylinder)) is not None]
        items += [item for item in (_load_item(cylinder, every), _pressure_item(cylinder, every)) if item]
    untrusted = [finding for _, finding in relevant if finding.total is not None and not finding.trusted]
    summed = [finding for _, finding in relevant if finding.total is not None]
    if summed:
        outcome = 1 if untrusted else 0
        words = "the shares do not add up" if untrusted else "the shares add up"
        items.append(Item(Observation("sum of shares", (outcome,), None), words, ()))
    return items


def _load_item(cylinder: int, read: Sequence[tuple[Run, Contribution]]) -> Item | None:
    """Low at idle against low with half the engine held out."""
    judged = [(run, found) for run, found in read if found.standing is not Standing.UNCLEAR]
    idle = [f for run, f in judged if run.start.run is not RunKind.HALF_ENGINE and _pressure(run) is None]
    half = [f for run, f in judged if run.start.run is RunKind.HALF_ENGINE]
    if not idle or not half:
        return None
    at_idle, loaded = idle[-1].standing in LOW, half[-1].standing in LOW
    if not at_idle and not loaded:
        return None
    outcome = 0 if at_idle and loaded else 1 if loaded else 2
    words = ("low at idle and under load", "low only under load", "low at idle, pulls under load")[outcome]
    return Item(Observation("under load", (outcome,), cylinder), words, (*idle[-1].entries, *half[-1].entries))


def _pressure_item(cylinder: int, read: Sequence[tuple[Run, Contribution]]) -> Item | None:
    """A run at high injection pressure against one at low, or at the pressure the engine chose."""
    high = [f for run, f in read if _pressure(run) is PressureLevel.HIGH]
    lower = [f for run, f in read if _pressure(run) is PressureLevel.LOW] or [
        f for run, f in read if _pressure(run) is None and run.start.run is not RunKind.HALF_ENGINE
    ]
    if not high or not lower:
        return None
    before, after = lower[-1], high[-1]
    if before.standing not in LOW and after.standing not in LOW:
        return None
    apart = after.low > before.high
    if before.standing in LOW and after.standing in (Standing.EVEN, Standing.STRONG):
        outcome, words = 2, "comes back at high injection pressure"
    elif apart and after.strength > before.strength:
        outcome, words = 1, "rises a little at high injection pressure"
    else:
        outcome, words = 0, "no better at high injection pressure"
    return Item(Observation("injection pressure", (outcome,), cylinder), words, (*before.entries, *after.entries))


def _code_items(job: Job, low: Sequence[int]) -> list[Item]:
    items = []
    for cylinder in low:
        codes = [fact for fact in job.codes if fact.body.spn == _FIRST_INJECTOR_SPN - 1 + cylinder]
        electrical = [fact for fact in codes if fact.body.fmi in _ELECTRICAL_FMI]
        mechanical = [fact for fact in codes if fact.body.fmi in _MECHANICAL_FMI]
        chosen = electrical or mechanical
        if chosen:
            outcome = 2 if electrical else 1
            words = ", ".join(f"trouble code SPN {f.body.spn} FMI {f.body.fmi}" for f in chosen)
            items.append(
                Item(Observation("trouble code", (outcome,), cylinder), words, tuple(fact.entry.id for fact in chosen))
            )
    return items


def _check_items(
    tables: Tables, job: Job, low: Sequence[int]
) -> tuple[list[Item], dict[int | None, tuple[str, ...]], tuple[str, ...]]:
    latest: dict[tuple[Subject, int | None], tuple[Fact[Check], tuple[int, ...]]] = {}
    contradictions: dict[int | None, tuple[str, ...]] = {}
    unjudged = []
    for fact in job.checks:
        check, row = fact.body, tables.checks[fact.body.subject]
        if check.outcome == MEASURED:
            unjudged.append(f"{_where(check)} {check.value:g} {check.unit}".strip())
            continue
        cylinder = check.cylinder if row.of_cylinder else None
        outcomes = outcomes_of(row, check)
        before = latest.get((check.subject, cylinder))
        if before is not None and not set(before[1]) & set(outcomes):
            said = f"{_where(check)}: first {describe(before[0].body)}, later {describe(check)}; the later counts"
            contradictions[cylinder] = (*contradictions.get(cylinder, ()), said)
        latest[(check.subject, cylinder)] = (fact, outcomes)
    items = []
    for (subject, cylinder), (fact, outcomes) in latest.items():
        row = tables.checks[subject]
        words = f"{subject} {describe(fact.body)}"
        if cylinder is None and row.of_cylinder and outcomes == (0,):
            # Said of the whole engine and nothing found: it holds for every low cylinder without a result of its own.
            items += [
                Item(Observation(subject, outcomes, c), words, (fact.entry.id,))
                for c in low
                if (subject, c) not in latest
            ]
        elif cylinder in low:
            items.append(Item(Observation(subject, outcomes, cylinder), words, (fact.entry.id,)))
        elif cylinder is None and low:
            only = low[0] if row.of_cylinder and len(low) == 1 else None
            items.append(Item(Observation(subject, outcomes, only), words, (fact.entry.id,)))
    return items, contradictions, tuple(unjudged)


def outcomes_of(row: CheckRow, check: Check) -> tuple[int, ...]:
    """Which of a check's outcomes a result may be, as places in `row.outcomes`."""
    refined = row.refine.get(check.outcome)
    if refined is None:
        return (row.outcomes.index(check.outcome),)
    detail = check.part or check.place or ""
    if detail in refined:
        return (row.outcomes.index(refined[detail]),)
    return tuple(sorted({row.outcomes.index(name) for name in refined.values()}))


def describe(check: Check) -> str:
    """A result in words: outcome, part, place and number."""
    words = [check.outcome]
    if check.part:
        words.append(f"({check.part})")
    if check.place:
        words.append(f"to the {check.place}")
    if check.value is not None and check.outcome != MEASURED:
        words.append(f"at {check.value:g} {check.unit}".strip())
    return " ".join(words)


def _where(check: Check) -> str:
    return f"{check.subject} cylinder {check.cylinder}" if check.cylinder else str(check.subject)
